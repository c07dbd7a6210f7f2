"""A file that comes in pieces from another computer: each piece is proved, put down, flushed, before the next one."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from takeup.errors import CopyDiffers, NotPossible
from takeup.files.beside import PART, cannot_write, discard_part_folder, flush_folder
from takeup.files.copy import open_quietly

PIECE_BYTES = 4 << 20


def part_of(folder: Path, name: str) -> Path:
    """Where the pieces of a file are gathered; ``name`` is ours, never the sender's."""
    return folder / f"{name}{PART}" / "pieces"


def whole_of(folder: Path, name: str, called: str) -> Path:
    """Where the file lies once it is whole, under the name it is ``called``: a safe one."""
    return folder / f"{name}{PART}" / "whole" / called


def lie_here(part: Path, stated: int) -> int:
    """How many proved bytes lie here: what was noted after each flush, and never more than there is."""
    try:
        return min(stated, part.stat().st_size)
    except OSError:
        return 0


def add_piece(part: Path, at: int, piece: bytes, sha256: str) -> int:
    """Put one piece at its place, flushed; how many bytes lie here then. What lay behind its place was never proved.

    Raises
    ------
    CopyDiffers
        ``piece.differs``: it is not what was sent; nothing is written.
    NotPossible
        ``piece.out-of-place``: pieces before it are missing; ``disk.full``, ``disk.cannot-write``.
    """
    if hashlib.sha256(piece).hexdigest() != sha256:
        raise CopyDiffers("piece.differs", at_bytes=at)
    try:
        part.parent.mkdir(parents=True, exist_ok=True)
        flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
        handle = os.open(part, flags, 0o600)
        try:
            if os.fstat(handle).st_size < at:
                raise NotPossible("piece.out-of-place", at_bytes=at)
            os.ftruncate(handle, at)
            os.lseek(handle, at, os.SEEK_SET)
            view = memoryview(piece)
            while view:
                view = view[os.write(handle, view) :]
            os.fsync(handle)
        finally:
            os.close(handle)
        if not at:
            flush_folder(part.parent)
    except OSError as error:
        raise cannot_write(part, error) from error
    return at + len(piece)


def piece_at(path: Path, at: int, most: int = PIECE_BYTES) -> bytes:
    """A piece of a station's file, read without leaving a trace on it.

    Raises
    ------
    Unreadable
        ``capture.cannot-open``.
    OSError
        When it cannot be read there.
    """
    handle = open_quietly(path)
    try:
        os.lseek(handle, at, os.SEEK_SET)
        found = bytearray()
        while len(found) < most and (some := os.read(handle, most - len(found))):
            found += some
        return bytes(found)
    finally:
        os.close(handle)


def into_place(part: Path, target: Path) -> Path:
    """Give a file that came whole its name in a folder of its own."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(part, target)
        flush_folder(target.parent)
        flush_folder(part.parent)
    except OSError as error:
        raise cannot_write(target, error) from error
    return target


def let_go(folder: Path, name: str) -> None:
    """Take away what was gathered of a file that is in its box now, or begins again: ours, in our own folder."""
    discard_part_folder(folder / f"{name}{PART}")
