"""Fetches rows of a still into room that stands ready, for one thread alone: straight from a TIFF where its pixels lie
in it as they are, else through libvips.

Straight from the file is ten times faster: libvips hands out each piece in memory of its own, 16 rows at a time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyvips

from takeup.media import still_tiff

ROWS = 16  # at a time through libvips: for more, it makes new room each time, which costs more than the reading itself
PLANAR, NUMBERS, ORDER_OF_BITS = 284, 339, 266
Fill = Callable[[int, np.ndarray], None]  # the first row, and the room that it and those below it are read into


class EndsEarly(Exception):
    """The file has become shorter since it was opened."""


def filler(path: Path, tiff: bool, page: int, image: pyvips.Image) -> Fill:
    """What reads rows of an opened picture. Raises ``pyvips.Error`` or ``EndsEarly`` where a row cannot be read.

    Parameters
    ----------
    tiff : bool
        Whether it is a TIFF with all its bytes; one that is cut is libvips's own business.
    image : pyvips.Image
        The picture as libvips opened it: its channels and depth are what is read.
    """
    start = _plain_start(path, page, image) if tiff else None
    if start is not None:
        return _straight(path, start, image)
    region = pyvips.Region.new(image)

    def fill(top: int, room: np.ndarray) -> None:
        for first in range(0, len(room), ROWS):
            last = min(first + ROWS, len(room))
            raw = region.fetch(0, top + first, image.width, last - first)
            room[first:last] = np.frombuffer(raw, room.dtype).reshape(room[first:last].shape)

    return fill


def _straight(path: Path, start: int, image: pyvips.Image) -> Fill:
    row_bytes = image.width * image.bands * (2 if image.format == "ushort" else 1)

    def fill(top: int, room: np.ndarray) -> None:
        left = memoryview(room).cast("B")
        with path.open("rb", buffering=0) as file:
            file.seek(start + top * row_bytes)
            while left:
                got = file.readinto(left)
                if not got:
                    raise EndsEarly("the file has become shorter")
                left = left[got:]

    return fill


def _plain_start(path: Path, page: int, image: pyvips.Image) -> int | None:
    """Where the first pixel of a TIFF lies whose rows follow each other as they are shown; None for any other.

    Grey or RGB of 8 or 16 bits, in this machine's order of bytes, in strips without a gap (TIFF 6.0, sections 4, 6, 8).
    """
    with path.open("rb") as file:
        here = file.read(2) == (b"II" if sys.byteorder == "little" else b"MM")
        file.seek(0)
        one = still_tiff.read_directories(file, path.stat().st_size)[page] if here else None
    depth = {"uchar": 8, "ushort": 16}.get(image.format)
    if one is None or depth is None or image.bands not in (1, 3) or not one.whole:
        return None
    wanted = {
        still_tiff.WIDTH: image.width, still_tiff.HEIGHT: image.height, still_tiff.SAMPLES: image.bands,
        still_tiff.COMPRESSION: 1, still_tiff.PHOTOMETRIC: 2 if image.bands == 3 else 1, PLANAR: 1, ORDER_OF_BITS: 1,
    }  # fmt: skip
    usual = {still_tiff.SAMPLES: 1, still_tiff.COMPRESSION: 1, PLANAR: 1, ORDER_OF_BITS: 1}
    as_shown = all(one.number(tag, usual.get(tag)) == value for tag, value in wanted.items())
    kinds = set(one.tags.get(NUMBERS, (1,))), set(one.tags.get(still_tiff.BITS, (1,)))
    if not as_shown or kinds != ({1}, {depth}):
        return None
    starts, lengths = one.tags.get(still_tiff.STRIP_AT, ()), one.tags.get(still_tiff.STRIP_BYTES, ())
    follow = all(at + long == following for at, long, following in zip(starts, lengths, starts[1:], strict=False))
    if not starts or not follow or sum(lengths) != image.width * image.height * image.bands * depth // 8:
        return None
    return int(starts[0])
