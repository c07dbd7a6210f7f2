"""Checksums of files, streamed."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from takeup.files.fresh import open_fresh

ALGORITHMS = (
    "md5", "sha1", "sha224", "sha256", "sha384", "sha512", "sha3_224", "sha3_256", "sha3_384", "sha3_512",
    "blake2b", "blake2s",
)  # fmt: skip
BLOCK = 1 << 20
Hear = Callable[[int], None]  # told the bytes of every block


@dataclass(frozen=True, slots=True)
class Hashed:
    """A file as it was read: checksums as lower-case hexadecimal text, bytes, and how it was read."""

    digests: dict[str, str]
    bytes: int
    how: str = "memory"

    @property
    def sha256(self) -> str:
        return self.digests["sha256"]


def known_algorithm(spelled: str) -> str | None:
    """Our name of an algorithm as packages spell it (``SHA-256``, ``sha3-256``); None when this computer has none."""
    plain = spelled.casefold().replace("-", "").replace("_", "")
    return next((name for name in ALGORITHMS if name.replace("_", "") == plain), None)


def hash_file(path: Path, algorithms: Sequence[str] = ("sha256",), hear: Hear = lambda count: None) -> Hashed:
    """Checksums of a file, through the computer's memory (fast). Symbolic links are not followed, devices not read.

    Raises
    ------
    OSError
        As the system gives it; also for anything that is not a regular file.
    """
    digesting = _Digests(algorithms)
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    handle = os.open(path, flags)
    try:
        buffer = memoryview(bytearray(BLOCK))
        with digesting, os.fdopen(handle, "rb", buffering=0, closefd=False) as file:
            while count := file.readinto(buffer):
                digesting.add(buffer[:count])
                hear(count)
    finally:
        os.close(handle)
    return Hashed(digesting.hex(), digesting.bytes)


def hash_bytes(data: bytes) -> str:
    """The SHA-256 of a few bytes."""
    return hashlib.sha256(data).hexdigest()


def hash_fresh(path: Path, algorithms: Sequence[str] = ("sha256",), hear: Hear = lambda count: None) -> Hashed:
    """Checksums of a file as its disk holds it (see :mod:`takeup.files.fresh`)."""
    digesting = _Digests(algorithms)
    with open_fresh(path) as file, digesting:
        for block in file.blocks():
            digesting.add(block)
            hear(len(block))
        return Hashed(digesting.hex(), digesting.bytes, file.how)


class _Digests:
    """Several checksums of one stream; with more than one, each on its own thread (hashlib lets them run at once)."""

    def __init__(self, algorithms: Sequence[str]) -> None:
        self.running = {name: hashlib.new(name, usedforsecurity=False) for name in algorithms}
        self.bytes = 0
        self.pool = ThreadPoolExecutor(len(algorithms)) if len(algorithms) > 1 else None

    def __enter__(self) -> _Digests:
        return self

    def __exit__(self, *error: object) -> None:
        if self.pool:
            self.pool.shutdown()

    def add(self, block: memoryview) -> None:
        self.bytes += len(block)
        if self.pool and len(block) > 4096:
            list(self.pool.map(lambda digest: digest.update(block), self.running.values()))
        else:
            for digest in self.running.values():
                digest.update(block)

    def hex(self) -> dict[str, str]:
        return {name: digest.hexdigest() for name, digest in self.running.items()}
