"""Where the samples lie in a WAV, RF64, BW64, AIFF or AIFC file, closed or not; and how its bytes become numbers.

WAVE chunks: RIFF; RF64/BW64 with their ``ds64`` chunk (EBU Tech 3306 v2, ITU-R BS.2088: field order read only in works
that repeat them); AIFF/AIFC: big-endian chunks, 80-bit rate. Odd chunks are padded by one byte; chunks we do not know
are stepped over.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np

from takeup.errors import Unreadable

Unpack24 = Callable[[np.ndarray, np.ndarray], None]
ALL_ONES = 0xFFFFFFFF
ENDLESS = 0x7FFFF000  # writers into a pipe state this or more when they cannot know the size
PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
AIFC_FORMS = {b"NONE": ("int", True), b"twos": ("int", True), b"sowt": ("int", False), b"in24": ("int", True)}
AIFC_FORMS |= {b"in32": ("int", True), b"raw ": ("uint", True)}
AIFC_FORMS |= dict.fromkeys((b"fl32", b"FL32", b"fl64", b"FL64"), ("float", True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The samples of one PCM file."""

    container: str
    form: Literal["int", "uint", "float", "coded"]  # coded: not PCM, libav decodes it
    big_endian: bool
    rate_hz: int
    channels: int
    bits: int  # that carry sound
    sample_bytes: int  # as stored
    data_at: int  # first byte of the samples
    data_bytes: int | None  # as the header states; None when it was never closed
    unclosed: bool = False
    cut_short: bool = False  # the header states more than the file holds

    @property
    def frame_bytes(self) -> int:
        return self.sample_bytes * self.channels


def read_layout(path: Path) -> Layout:
    """Read the chunks up to the samples.

    Raises
    ------
    Unreadable
        ``sound.unfinished`` while the header is not all there; ``capture.broken`` when it contradicts itself.
    """
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            file.seek(0)
            head = file.read(12)
            return _aiff(file, size, path, head) if head[:4] == b"FORM" else _wave(file, size, path, head)
    except OSError as error:
        raise Unreadable("capture.cannot-open", path=str(path), error=error.strerror or str(error)) from error


def _wave(file: BinaryIO, size: int, path: Path, head: bytes) -> Layout:
    container = {b"RF64": "rf64", b"BW64": "bw64"}.get(head[:4], "wav")
    long_size: int | None = None
    form: dict | None = None
    while True:
        chunk = file.read(8)
        if len(chunk) < 8:
            raise _broken(path, "no samples in it") if form and file.tell() >= 4096 else _unfinished(path)
        name, stated = chunk[:4], struct.unpack("<I", chunk[4:])[0]
        at = file.tell()
        if name == b"data":
            if form is None:
                raise _broken(path, "samples before their format")
            if long_size is not None and (stated == ALL_ONES or container != "wav"):
                stated = long_size or 0
            return _placed(file, size, at, stated, container, form)
        body = file.read(min(stated, 64)) if name in (b"ds64", b"fmt ") else b""
        if name == b"ds64" and len(body) >= 16:
            long_size = struct.unpack("<Q", body[8:16])[0]
            long_size = 0 if long_size == 2**64 - 1 else long_size
        elif name == b"fmt ":
            form = _wave_format(body, path)
        file.seek(at + stated + (stated & 1))


def _wave_format(body: bytes, path: Path) -> dict:
    if len(body) < 16:
        raise _unfinished(path)
    tag, channels, rate, _, align, bits = struct.unpack("<HHIIHH", body[:16])
    carrying = bits
    if tag == EXTENSIBLE and len(body) >= 40:
        carrying, tag = struct.unpack("<H", body[18:20])[0] or bits, struct.unpack("<H", body[24:26])[0]
    if not channels or not rate:
        raise _broken(path, "no channels or no rate")
    stored = align // channels if align and align % channels == 0 else (bits + 7) // 8
    form = {PCM: "uint" if stored == 1 else "int", FLOAT: "float"}.get(tag, "coded")
    if (form == "float" and stored not in (4, 8)) or (form == "int" and stored not in (2, 3, 4)):
        form = "coded"
    return {
        "form": form,
        "big_endian": False,
        "rate_hz": rate,
        "channels": channels,
        "bits": min(carrying, 8 * stored) or 8 * stored,
        "sample_bytes": stored,
    }


def _aiff(file: BinaryIO, size: int, path: Path, head: bytes) -> Layout:
    form: dict | None = None
    placed: tuple[int, int] | None = None
    while True:
        chunk = file.read(8)
        if len(chunk) < 8:
            if form and placed:
                return _placed(file, size, *placed, "aiff", form)
            raise _unfinished(path)
        name, stated = chunk[:4], struct.unpack(">I", chunk[4:])[0]
        at = file.tell()
        if name == b"COMM":
            form = _aiff_format(file.read(min(stated, 64)), path, head[8:12] == b"AIFC")
        elif name == b"SSND":
            offset = struct.unpack(">I", file.read(8)[:4].ljust(4, b"\0"))[0]
            placed = at + 8 + offset, 0 if stated in (0, ALL_ONES) else max(0, stated - 8 - offset)
        if form and placed:
            return _placed(file, size, *placed, "aiff", form)
        file.seek(at + stated + (stated & 1))


def _aiff_format(body: bytes, path: Path, compressed: bool) -> dict:
    if len(body) < 18:
        raise _unfinished(path)
    channels, _, bits = struct.unpack(">hIh", body[:8])
    exponent, mantissa = struct.unpack(">HQ", body[8:18])
    rate = round(mantissa * 2.0 ** ((exponent & 0x7FFF) - 16383 - 63))
    form, big = AIFC_FORMS.get(body[18:22], ("coded", True)) if compressed else ("int", True)
    if channels < 1 or rate < 1:
        raise _broken(path, "no channels or no rate")
    stored = {b"fl64": 8, b"FL64": 8, b"fl32": 4, b"FL32": 4}.get(body[18:22], (bits + 7) // 8)
    return {
        "form": form,
        "big_endian": big,
        "rate_hz": rate,
        "channels": channels,
        "bits": bits,
        "sample_bytes": stored,
    }


def _placed(file: BinaryIO, size: int, at: int, stated: int, container: str, form: dict) -> Layout:
    """Decide whether the stated size of the samples is to be believed."""
    there = size - at
    never = stated in (0, ALL_ONES) or (stated >= ENDLESS and there < stated and container != "rf64")
    beyond = not never and there > stated + 8 and not _chunk_follows(file, at + stated, size)
    cut = not never and stated > there
    return Layout(
        container=container,
        data_at=at,
        data_bytes=None if never or beyond else stated,
        unclosed=never or beyond or cut,
        cut_short=cut,
        **form,
    )


def _chunk_follows(file: BinaryIO, at: int, size: int) -> bool:
    """Whether what comes after the stated samples looks like another chunk: the header was then closed."""
    file.seek(at + (at & 1))
    chunk = file.read(8)
    if len(chunk) < 8 or not any(chunk):
        return True  # padding at the end of a file that is otherwise whole
    return all(0x20 <= byte < 0x7F for byte in chunk[:4])


def unpack(raw: bytes | memoryview, layout: Layout, quick_24: Unpack24 | None = None) -> np.ndarray:
    """Whole frames of stored bytes as float32, shape (n, channels), full scale 1.0.

    Parameters
    ----------
    quick_24 : callable, optional
        Unpacks 24-bit samples where somebody has a quicker way (``measure.sound.unpack``): 32-bit words, lowest
        byte first, and the array to fill.

    Notes
    -----
    Integers up to 24 bits come out exactly; 32-bit integers and doubles are rounded to 24 significant bits.
    """
    order = ">" if layout.big_endian else "<"
    width = layout.sample_bytes
    if layout.form == "float":
        values = np.frombuffer(raw, f"{order}f{width}").astype(np.float32)
        return np.nan_to_num(values, copy=False, nan=0.0, posinf=1.0, neginf=-1.0).reshape(-1, layout.channels)
    if layout.form == "uint":
        values = (np.frombuffer(raw, np.uint8).astype(np.float32) - 128) / np.float32(128)
    elif width == 1:
        values = np.frombuffer(raw, np.int8) / np.float32(128)
    elif width == 3 and quick_24 is not None and not layout.big_endian and len(raw) % 12 == 0:
        values = np.empty(len(raw) // 3, np.float32)
        quick_24(np.frombuffer(raw, "<u4"), values)
    elif width == 3:
        values = _from_24_bits(raw, layout.big_endian)
    else:
        values = np.frombuffer(raw, f"{order}i{width}").astype(np.float32)
        values *= np.float32(2.0 ** (1 - 8 * width))
    return values.reshape(-1, layout.channels)


def _from_24_bits(raw: bytes | memoryview, big_endian: bool) -> np.ndarray:
    """Four packed samples are three 32-bit words: shifts on whole words, far faster than picking bytes."""
    scale = np.float32(2.0**-31)
    count = len(raw) // 3
    words = np.frombuffer(raw, ">u4" if big_endian else "<u4", count // 4 * 3).reshape(-1, 3)
    first, second, third = words[:, 0], words[:, 1], words[:, 2]
    out = np.empty(count, np.float32)
    four = out[: count // 4 * 4].reshape(-1, 4)
    if big_endian:
        parts = (first, first << 24 | second >> 8, second << 16 | third >> 16, third << 8)
    else:
        parts = (first << 8, first >> 16 | second << 16, second >> 8 | third << 24, third)
    for at, part in enumerate(parts):
        np.multiply((part & 0xFFFFFF00).astype(np.uint32, copy=False).view(np.int32), scale, out=four[:, at])
    left = np.frombuffer(raw, np.uint8, count % 4 * 3, count // 4 * 12).reshape(-1, 3).astype(np.int32)
    high, low = (left[:, 0], left[:, 2]) if big_endian else (left[:, 2], left[:, 0])
    out[count // 4 * 4 :] = (high << 24 | left[:, 1] << 16 | low << 8).astype(np.int32) * scale
    return out


def _unfinished(path: Path) -> Unreadable:
    return Unreadable("sound.unfinished", path=str(path))


def _broken(path: Path, error: str) -> Unreadable:
    return Unreadable("capture.broken", path=str(path), error=error)
