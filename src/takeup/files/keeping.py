"""Keeps a capture's very bytes under another name in the box, and says what bytes a file holds."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

from takeup.errors import CopyDiffers
from takeup.files.beside import beside

STEP = 1 << 22  # bytes read at a time


def keep_bytes(source: Path, target: Path, hear: Callable[[int], None] = lambda _: None) -> str:
    """Write a file's bytes to ``target`` (whole or not at all), read them back, and give their SHA-256.

    Parameters
    ----------
    hear : callable
        Told how many bytes are done.

    Raises
    ------
    CopyDiffers
        ``finish.bytes-differ`` when what was read back is not what was read.
    """
    digest, done = sha256(), 0
    with beside(target) as part:
        with source.open("rb") as file, part.open("wb") as out:
            while block := file.read(STEP):
                digest.update(block)
                out.write(block)
                done += len(block)
                hear(done)
        if sha256_of(part) != digest.hexdigest():
            raise CopyDiffers("finish.bytes-differ", path=str(source))
    return digest.hexdigest()


def sha256_of(path: Path, hear: Callable[[int], None] = lambda _: None) -> str:
    """SHA-256 of a file, read in blocks."""
    digest, done = sha256(), 0
    with path.open("rb") as file:
        while block := file.read(STEP):
            digest.update(block)
            done += len(block)
            hear(done)
    return digest.hexdigest()
