"""A MOV without its index, walked along: where each picture and each piece of sound lies.

The same walk serves a file that is still growing (its program writes the index when it closes it) and one that was
never closed (its program crashed).
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Literal

from takeup.media.moving_between import Before, Unclear, ends_as_picture, find_picture, hue_of, picture_at
from takeup.media.moving_layout import learn
from takeup.media.moving_marks import Layout

PASSED_OVER = (b"ftyp", b"wide", b"free", b"skip", b"pnot", b"uuid")
ATOMS = (*PASSED_OVER, b"moov", b"mdat", b"meta", b"udta", b"moof", b"mfra")
TAIL = 16384  # bytes past a place that are wanted before what begins there is told
REMEMBERED = 6  # lengths that pieces of sound had
WRONG_IN_A_ROW = 3


@dataclass(frozen=True, slots=True)
class MediaData:
    """Where the media data of a file lie. ``end`` is None while no size, or one beyond the file, is written."""

    begin: int
    end: int | None


@dataclass(frozen=True, slots=True)
class Piece:
    """One picture, or one piece of sound."""

    kind: Literal["picture", "sound"]
    at: int
    length: int


def media_data(path: Path) -> MediaData | None:
    """Where the media data of a MOV begin, if its index does not come before them; None for any other file."""
    with path.open("rb") as file:
        size, at = os.fstat(file.fileno()).st_size, 0
        while at + 8 <= size:
            file.seek(at)
            head = file.read(16)
            length, name = struct.unpack(">I4s", head[:8])
            skip = 8
            if length == 1 and len(head) == 16:
                length, skip = struct.unpack(">Q", head[8:])[0], 16
            if name == b"mdat":
                end = at + length if length > skip and at + length <= size else None
                return MediaData(at + skip, end)
            if name not in PASSED_OVER or length < skip:
                return None
            at += length
    return None


def learn_layout(path: Path, system: str | None = None) -> Layout | None:
    """The layout of the media data of a MOV without an index in front; None where it cannot be told."""
    data = media_data(path)
    if data is None:
        return None
    with path.open("rb") as file:
        size = data.end or os.fstat(file.fileno()).st_size
        return learn(
            lambda at, many: os.pread(file.fileno(), max(0, min(many, size - at)), at), data.begin, size, system
        )


@dataclass(slots=True)
class Pieces:
    """Walks along the media data; iterate it. ``lost``: it came to bytes that it cannot tell, and ended there.

    Parameters
    ----------
    wait : callable
        Told how long the file must be; returns how long it is when it is so long, or will grow no more.
    """

    file: BinaryIO
    layout: Layout
    wait: Callable[[int], int]
    lost: bool = False
    cut: bool = False  # ends in mid picture
    at: int = 0
    lengths: list[int] = field(default_factory=list)
    samples: int = 0
    hue: tuple[float, float] | None = None

    def __iter__(self) -> Iterator[Piece]:
        layout, wrong = self.layout, 0
        self.at = layout.begin
        while True:
            size = self.wait(self.at + TAIL)
            if self._atom_at(self.at, size):
                return
            if picture_at(layout, self.read, self.at):
                end = self.at + layout.picture_bytes
                if self.wait(end) < end:
                    self.cut = True
                    return
                wrong = 0 if ends_as_picture(layout, self.read, end) else wrong + 1
                if wrong == WRONG_IN_A_ROW:
                    self.lost = True
                    return
                if layout.codec != "dvvideo":
                    self.hue = hue_of(layout, self.read, self.at)
                yield Piece("picture", self.at, layout.picture_bytes)
                self.at = end
                continue
            found = self._after_sound() if layout.sound else None
            if found is None:
                yield from self._rest()
                return
            if not picture_at(layout, self.read, found):
                self.cut = True
                yield Piece("sound", self.at, found - self.at)
                return
            yield Piece("sound", self.at, found - self.at)
            self.at = found

    def read(self, at: int, many: int) -> bytes:
        """Bytes of the file; fewer at its end."""
        return os.pread(self.file.fileno(), max(0, many), at) if at >= 0 else b""

    def _after_sound(self) -> int | None:
        """Where the next picture begins; None when the file ends before one does."""
        layout, sound = self.layout, self.layout.sound
        assert sound is not None
        wanted = TAIL
        while True:
            size = self.wait(self.at + wanted + layout.picture_bytes)
            before = Before(tuple(self.lengths), self.samples, self.hue)
            try:
                found = find_picture(layout, self.read, self.at, sound.frame_bytes, size, before)
            except Unclear:
                self.lost = True
                return None
            if found is not None:
                return self._remember(found)
            if size < self.at + wanted + layout.picture_bytes:
                return None
            wanted = size - self.at - layout.picture_bytes + (1 << 16)

    def _remember(self, found: int) -> int:
        length = found - self.at
        assert self.layout.sound is not None
        self.samples += length // self.layout.sound.frame_bytes
        self.lengths = [length, *(one for one in self.lengths if one != length)][:REMEMBERED]
        return found

    def _rest(self) -> Iterator[Piece]:
        """What lies behind the last picture: sound, up to the end of the file or the index."""
        if self.lost or self.layout.sound is None:
            self.lost = self.lost or self.wait(self.at + 1) > self.at
            return
        size = self.wait(self.at + 1)
        length = self._until_atom(size) - self.at
        length -= length % self.layout.sound.frame_bytes
        if length:
            yield Piece("sound", self.at, length)
            self.at += length

    def _until_atom(self, size: int) -> int:
        """Where the media data end: the file's end, or the atom that begins before it."""
        rest = self.read(self.at, min(size - self.at, 1 << 22))
        places = [rest.find(name) for name in (b"moov", b"free", b"udta", b"wide")]
        found = [place - 4 for place in places if place >= 4 and self._atom_at(self.at + place - 4, size)]
        return self.at + min(found) if found else size

    def _atom_at(self, at: int, size: int) -> bool:
        """Whether one of a MOV's atoms begins here and does not end beyond the file."""
        head = self.read(at, 8)
        if len(head) < 8 or head[4:8] not in ATOMS:
            return False
        (length,) = struct.unpack(">I", head[:4])
        return length == 1 or 8 <= length <= size - at
