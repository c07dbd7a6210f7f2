"""A folder of pieces that can be made again at any time: the oldest go when there are too many, all go when told."""

from __future__ import annotations

import os
import re
from pathlib import Path

PIECE = re.compile(r"piece-[A-Za-z0-9._-]+\.(wav|mp4|jpg|svg)")


def touch(path: Path) -> None:
    """Note that a piece was wanted just now."""
    try:
        os.utime(path)
    except OSError:
        return  # it went a moment ago; who asked for it makes it again


def keep_within(folder: Path, *, most_bytes: int, most_files: int) -> int:
    """Take the pieces away that were not wanted for the longest time, until the rest fit; how many went.

    Only files with a piece's name, in the folder itself or one folder below, are touched.
    """
    found = sorted(_pieces(folder), key=lambda one: one[0], reverse=True)
    room, gone = most_bytes, 0
    for place, (_, size, path) in enumerate(found):
        room -= size
        if place >= most_files or room < 0:
            path.unlink(missing_ok=True)
            gone += 1
    return gone


def forget_pieces(folder: Path) -> int:
    """Take all pieces of a folder away, because what they were made of is no longer anybody's here; how many went."""
    found = list(_pieces(folder))
    for _, _, path in found:
        path.unlink(missing_ok=True)
    return len(found)


def _pieces(folder: Path) -> list[tuple[int, int, Path]]:
    pieces = []
    for path in [*folder.glob("*"), *folder.glob("*/*")]:
        try:
            about = path.lstat()
        except OSError:
            continue
        if PIECE.fullmatch(path.name) and not path.is_symlink() and path.is_file():
            pieces.append((about.st_mtime_ns, about.st_size, path))
    return pieces
