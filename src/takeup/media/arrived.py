"""A few seconds of a capture that has not come whole yet: from the bytes that lie here, up to a place and no further.

WAVE and AIFF: the place is arithmetic. Matroska: the clusters before the place are stepped over by their sizes, and
libav is handed the head and what follows. AVI and DV are walked without decoding, within bounds. MP4 and MOV keep their
index at the end mostly: then nothing can be said before they are whole.
"""

from __future__ import annotations

import io
import os
import wave
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, BinaryIO

import av
import numpy as np

from takeup.errors import Unreadable
from takeup.media import excerpt
from takeup.media.matroska_edit import CLUSTER, SEGMENT, CannotEdit, children
from takeup.media.sound_growing import HELD_BACK
from takeup.media.wave import Layout, layout_of, unpack

INFO, SCALE, CLUSTER_TIME = 0x1549A966, 0x2AD7B1, 0xE7  # Matroska: RFC 9559
EARLIER_S = 6.0  # handed out so much earlier than the place: a key picture lies within that
FARTHEST = 4 << 30  # [bytes] a container without sizes to step over is not walked farther


class Arrived(io.RawIOBase):
    """The bytes of an open file up to a place, some of them left out: what libav is to take for the whole file."""

    def __init__(self, file: BinaryIO, spans: list[tuple[int, int]]) -> None:
        self.file, self.spans, self.at = file, spans, 0
        self.length = sum(end - begin for begin, end in spans)

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self.at

    def seek(self, offset: int, whence: int = 0) -> int:
        self.at = max(0, offset + (self.at if whence == os.SEEK_CUR else self.length if whence == os.SEEK_END else 0))
        return self.at

    def read(self, size: int = -1) -> bytes:
        left = self.length - self.at if size < 0 else min(size, self.length - self.at)
        passed = 0
        for begin, end in self.spans:
            if self.at < passed + end - begin and left > 0:
                self.file.seek(begin + self.at - passed)
                piece = self.file.read(min(left, passed + end - begin - self.at))
                self.at += len(piece)
                return piece
            passed += end - begin
        return b""


def seconds_of_wave(path: Path, upto: int, *, open_end: bool) -> float | None:
    """How many seconds of a WAVE or AIFF file lie in its first ``upto`` bytes; None for other files or half a header.

    Parameters
    ----------
    open_end : bool
        It is still being written: its last bytes may become a text chunk and are not counted.
    """
    try:
        with path.open("rb") as file:
            layout = _layout(file, path, upto)
    except (OSError, Unreadable):
        return None
    return _samples_here(layout, upto, open_end=open_end) / layout.rate_hz if layout else None


def write_arrived_sound(
    path: Path, upto: int, target: Path, from_s: float, seconds: float, *, open_end: bool = False
) -> float:
    """Write some seconds of sound as 16-bit WAV out of the first ``upto`` bytes of a file; the seconds written.

    Raises
    ------
    Unreadable
        ``excerpt.not-here-yet`` when those bytes do not hold the place.
    """
    with path.open("rb") as file:
        layout = _layout(file, path, upto)
        if layout is not None:
            samples = _from_wave(file, layout, upto, from_s, seconds, open_end=open_end)
        else:
            samples = _from_container(file, upto, from_s, seconds)
    if not len(samples):
        raise Unreadable("excerpt.not-here-yet", name=path.name)
    with target.open("wb") as held, wave.open(held, "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(2)
        out.setframerate(excerpt.SOUND_HZ)
        out.writeframes(samples.astype("<i2").tobytes())
    return len(samples) / excerpt.SOUND_HZ


def write_arrived_pictures(path: Path, upto: int, target: Path, from_s: float, seconds: float) -> float:
    """Write some seconds of moving pictures as MP4 out of the first ``upto`` bytes of a file; the seconds written.

    Raises
    ------
    Unreadable
        ``excerpt.not-here-yet`` when those bytes do not hold the place.
    """
    with path.open("rb") as file:
        try:
            return excerpt.write_moving_piece(arrived_from(file, upto, from_s), target, from_s, seconds)
        except Unreadable as error:
            raise Unreadable("excerpt.not-here-yet", name=path.name) from error


def write_arrived_stills(path: Path, upto: int, target: Path, times_s: Sequence[float], widest_px: int) -> int:
    """Write pictures of some moments side by side as JPEG out of the first ``upto`` bytes of a file; how many.

    Raises
    ------
    Unreadable
        ``excerpt.not-here-yet`` when those bytes hold none of them.
    """
    with path.open("rb") as file:
        try:
            stills = excerpt.stills_at(arrived_from(file, upto, times_s[0]), times_s, widest_px=widest_px)
            excerpt.write_strip(stills, target)
        except Unreadable as error:
            raise Unreadable("excerpt.not-here-yet", name=path.name) from error
    return len(stills)


def arrived_from(file: BinaryIO, upto: int, from_s: float) -> Arrived:
    """What libav needs of a container to show a place: all of it, or its head and what lies from just before it on.

    Raises
    ------
    Unreadable
        ``excerpt.not-here-yet`` when it would have to be walked through for longer than a page waits.
    """
    file.seek(0)
    if file.read(4) == b"\x1aE\xdf\xa3":
        with suppress(CannotEdit):
            return Arrived(file, _spans(file, upto, from_s))
    if upto > FARTHEST:
        raise Unreadable("excerpt.not-here-yet", name=Path(getattr(file, "name", "")).name)
    return Arrived(file, [(0, upto)])


def _layout(file: BinaryIO, path: Path, upto: int) -> Layout | None:
    """Where the samples lie; None when this is another kind of file."""
    file.seek(0)
    if file.read(4) not in (b"RIFF", b"RF64", b"BW64", b"FORM"):
        return None
    try:
        layout = layout_of(file, path, text=False)
    except Unreadable:
        return None  # an AVI, or half a header
    return layout if layout.form != "coded" and layout.data_at < upto else None


def _samples_here(layout: Layout, upto: int, *, open_end: bool) -> int:
    there = upto - layout.data_at
    if layout.data_bytes is not None and (not open_end or not layout.unclosed):
        there = min(there, layout.data_bytes)
    elif open_end:
        there -= HELD_BACK
    return max(0, there) // layout.frame_bytes


def _from_wave(
    file: BinaryIO, layout: Layout, upto: int, from_s: float, seconds: float, *, open_end: bool
) -> np.ndarray:
    first, here = round(from_s * layout.rate_hz), _samples_here(layout, upto, open_end=open_end)
    count = min(round(seconds * layout.rate_hz), here - first)
    if count <= 0:
        return np.zeros((0, 2), np.int16)
    file.seek(layout.data_at + first * layout.frame_bytes)
    raw = file.read(count * layout.frame_bytes)
    samples = unpack(raw[: len(raw) // layout.frame_bytes * layout.frame_bytes], layout)
    pair = np.ascontiguousarray(samples[:, [0, min(1, layout.channels - 1)]].T)
    if layout.rate_hz == excerpt.SOUND_HZ:
        return np.round(pair.T * 2.0**15).clip(-(2**15), 2**15 - 1).astype(np.int16)
    frame = av.AudioFrame.from_ndarray(pair, "fltp", "stereo")
    frame.sample_rate = layout.rate_hz
    turn = av.AudioResampler(format="s16", layout="stereo", rate=excerpt.SOUND_HZ)
    made = [*turn.resample(frame), *turn.resample(None)]
    return np.concatenate([block.to_ndarray().reshape(-1, 2) for block in made])[: round(seconds * excerpt.SOUND_HZ)]


def _from_container(file: BinaryIO, upto: int, from_s: float, seconds: float) -> np.ndarray:
    try:
        blocks = list(excerpt.sound_blocks(arrived_from(file, upto, from_s), from_s, seconds))
    except (Unreadable, av.FFmpegError, OSError):
        blocks = []
    return np.concatenate(blocks) if blocks else np.zeros((0, 2), np.int16)


def _spans(file: BinaryIO, upto: int, from_s: float) -> list[tuple[int, int]]:
    """The head of a Matroska file with its first cluster, by which libav tells when the file begins, and its bytes from
    the last cluster on that begins well before the place.

    Raises
    ------
    CannotEdit
        When clusters do not say how long they are.
    """
    segment = next((one for one in children(file, 0, upto) if one.id == SEGMENT), None)
    if segment is None:
        raise CannotEdit("no segment")
    tick_s, first, chosen = 1e-3, 0, 0
    for element in children(file, segment.body, upto):
        if element.id == INFO:
            tick_s = _scale_s(file, element.body, element.end)
        if element.id != CLUSTER:
            continue
        if element.open_size:
            raise CannotEdit("a cluster without size")
        first, chosen = first or element.end, chosen or element.end
        if _cluster_s(file, element.body, element.end, tick_s) > from_s - EARLIER_S:
            break
        chosen = element.at
    if not first:
        raise CannotEdit("no cluster yet")
    return [(0, first), (max(first, chosen), upto)]


def _scale_s(file: BinaryIO, start: int, end: int) -> float:
    for part in children(file, start, end):
        if part.id == SCALE:
            return _number(file, part.body, part.end) / 1e9
    return 1e-3


def _cluster_s(file: BinaryIO, start: int, end: int, tick_s: float) -> float:
    first: Iterator[Any] = children(file, start, end)
    for part in (one for _, one in zip(range(3), first)):
        if part.id == CLUSTER_TIME:
            return _number(file, part.body, part.end) * tick_s
    return 0.0


def _number(file: BinaryIO, start: int, end: int) -> int:
    file.seek(start)
    return int.from_bytes(file.read(min(8, end - start)), "big")
