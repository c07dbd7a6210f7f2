"""Where the samples lie in a WAV, RF64, BW64, AIFF or AIFC file, closed or not; and how its bytes become numbers.

WAVE chunks: RIFF; RF64/BW64 with their ``ds64`` chunk (EBU Tech 3306 v2, ITU-R BS.2088: field order read only in works
that repeat them); AIFF/AIFC: big-endian chunks, 80-bit rate. Odd chunks are padded by one byte; chunks we do not know
are stepped over.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np

from takeup.errors import Unreadable
from takeup.media.wave_text import chain_ends, is_padding, plain, text_behind

Unpack24 = Callable[[np.ndarray, np.ndarray], None]
ALL_ONES = 0xFFFFFFFF
ENDLESS = (range(0x7FFFF000, 0x80000001), range(ALL_ONES - 4095, ALL_ONES + 1))
"""Sizes that writers into a pipe state because they cannot know the size: the most that fits, less a header."""
MOST_CHUNKS = 4096  # before the samples; a file that holds more is none of a capture program
FASTEST_HZ = 2**32 - 1
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
    ends_at: int | None = None  # of a file never closed: where text begins behind its samples
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
        ``sound.unfinished`` while the header is not all there; ``capture.broken``, ``sound.no-rate``,
        ``sound.odd-samples`` or ``sound.contradiction`` when no sound can be read by what it says.
    """
    try:
        with path.open("rb") as file:
            return layout_of(file, path)
    except OSError as error:
        raise Unreadable("capture.cannot-open", path=str(path), error=error.strerror or str(error)) from error


def layout_of(file: BinaryIO, path: Path, *, text: bool = True) -> Layout:
    """The same of an open file. ``text``: whether to look for text behind samples whose end is not stated."""
    size = file.seek(0, 2)
    file.seek(0)
    head = file.read(12)
    layout = _aiff(file, size, path, head) if head[:4] == b"FORM" else _wave(file, size, path, head)
    if text and layout.unclosed and not layout.cut_short:
        order = ">" if layout.container == "aiff" else "<"
        layout = replace(layout, ends_at=text_behind(file, size, layout.data_at, order))
    return layout


def _chunks(file: BinaryIO, path: Path, order: str) -> Iterator[tuple[bytes, int, int]]:
    """Name, stated size and place of each chunk; ends where the file does. The caller may read the body."""
    for _ in range(MOST_CHUNKS):
        chunk = file.read(8)
        if len(chunk) < 8:
            return
        name, stated = struct.unpack(order + "4sI", chunk)
        at = file.tell()
        if not plain(name):
            raise _broken(path, "no chunk where one should begin")
        yield name, stated, at
        file.seek(at + stated)
        if stated & 1 and not plain(file.read(4)):  # some writers leave the filling byte out
            file.seek(at + stated + 1)
        else:
            file.seek(at + stated)
    raise _broken(path, "no samples in it")


def _wave(file: BinaryIO, size: int, path: Path, head: bytes) -> Layout:
    container = {b"RF64": "rf64", b"BW64": "bw64"}.get(head[:4], "wav")
    long_size: int | None = None
    form: dict | None = None
    for name, stated, at in _chunks(file, path, "<"):
        if name == b"data":
            if form is None:
                raise _broken(path, "samples before their format")
            if long_size and (stated in (0, ALL_ONES) or container != "wav"):
                return _placed(file, size, at, long_size, container, form)
            return _placed(file, size, at, stated, container, form)
        body = file.read(min(stated, 64)) if name in (b"ds64", b"fmt ") else b""
        if name == b"ds64" and len(body) >= 16:
            long_size = struct.unpack("<Q", body[8:16])[0]
            long_size = 0 if long_size >= 2**63 else long_size
        elif name == b"fmt ":
            form = _wave_format(body, path)
    raise _broken(path, "no samples in it") if form and size >= 4096 else _unfinished(path)


def _wave_format(body: bytes, path: Path) -> dict:
    if len(body) < 16:
        raise _unfinished(path)
    tag, channels, rate, rate_bytes, align, bits = struct.unpack("<HHIIHH", body[:16])
    carrying = bits
    if tag == EXTENSIBLE and len(body) >= 40:
        carrying, tag = struct.unpack("<H", body[18:20])[0] or bits, struct.unpack("<H", body[24:26])[0]
    if not channels or not rate:
        raise Unreadable("sound.no-rate", path=str(path), rate=rate, channels=channels)
    stored = (bits + 7) // 8
    if tag in (PCM, FLOAT):
        if bits < 8 or (tag == FLOAT and bits not in (32, 64)) or (tag == PCM and 32 < bits <= 64):
            raise Unreadable("sound.odd-samples", path=str(path), bits=bits)
        stored = _stored_bytes(stored, align, rate_bytes, rate, channels)
        if not stored:
            raise Unreadable("sound.contradiction", path=str(path), bits=bits, bytes=align, channels=channels)
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


def _stored_bytes(width: int, align: int, rate_bytes: int, rate: int, channels: int) -> int:
    """Bytes of a sample as two of the header's three witnesses say: its bits, its block, its bytes a second.

    0 where no two agree. More bytes than the bits need are believed for 17 bits and more only (24 bits in words of 32):
    twice the bytes of 16 bits are as well another number of channels.
    """
    if align in (0, width * channels) or rate_bytes == rate * channels * width:
        return width
    stored = align // channels
    wide = stored * channels == align and rate_bytes == rate * align and 2 < width < stored <= 4
    return stored if wide else 0


def _aiff(file: BinaryIO, size: int, path: Path, head: bytes) -> Layout:
    form: dict | None = None
    placed: tuple[int, int] | None = None
    for name, stated, at in _chunks(file, path, ">"):
        if name == b"COMM":
            form = _aiff_format(file.read(min(stated, 64)), path, head[8:12] == b"AIFC")
        elif name == b"SSND":
            offset = struct.unpack(">I", file.read(8)[:4].ljust(4, b"\0"))[0]
            if offset > size:
                raise _broken(path, "samples beyond its end")
            placed = at + 8 + offset, 0 if stated in (0, ALL_ONES) else max(0, stated - 8 - offset)
        if form and placed:
            break
    if form and placed:
        return _placed(file, size, *placed, "aiff", form)
    raise _unfinished(path)


def _aiff_format(body: bytes, path: Path, compressed: bool) -> dict:
    if len(body) < 18:
        raise _unfinished(path)
    channels, _, bits = struct.unpack(">hIh", body[:8])
    exponent, mantissa = struct.unpack(">HQ", body[8:18])
    power = min(exponent - 16383 - 63, 0)  # a higher one is a rate beyond 2^63, a negative number has the top bit set
    rate = min(round(math.ldexp(mantissa, power)), FASTEST_HZ) if exponent < 0x8000 else 0
    kind = body[18:22] if compressed else b"NONE"
    form, big = AIFC_FORMS.get(kind, ("coded", True))
    if channels < 1 or rate < 1:
        raise Unreadable("sound.no-rate", path=str(path), rate=rate, channels=channels)
    if not 1 <= bits <= 64 and form != "coded":
        raise Unreadable("sound.odd-samples", path=str(path), bits=bits)
    stored = {b"fl64": 8, b"FL64": 8, b"fl32": 4, b"FL32": 4}.get(kind, (max(bits, 0) + 7) // 8)
    if form in ("int", "uint") and stored not in ((1,) if form == "uint" else (1, 2, 3, 4)):
        form = "coded"
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
    there, order = max(0, size - at), ">" if container == "aiff" else "<"
    endless = container == "wav" and there < stated and any(stated in sizes for sizes in ENDLESS)
    empty = stated == 0 and there > 8 and chain_ends(file, at, size, order)
    never = (stated == 0 and not empty) or stated == ALL_ONES or endless
    behind = at + stated + (stated & 1)
    closed = empty or is_padding(file, behind, size) or chain_ends(file, behind, size, order)
    beyond = not never and there > stated and not closed
    cut = not never and stated > there
    return Layout(
        container=container,
        data_at=at,
        data_bytes=None if never or beyond else stated,
        unclosed=never or beyond or cut,
        cut_short=cut,
        **form,
    )


def unpack(raw: bytes | memoryview, layout: Layout, quick_24: Unpack24 | None = None) -> np.ndarray:
    """Whole frames of stored bytes as float32, shape (n, channels), full scale 1.0.

    Parameters
    ----------
    quick_24 : callable, optional
        Unpacks 24-bit samples where somebody has a quicker way (``measure.sound.unpack``): 32-bit words, lowest
        byte first, and the array to fill.

    Notes
    -----
    Integers up to 24 bits come out exactly; 32-bit integers and doubles are rounded to 24 significant bits. What is no
    number in a float file stays none: :func:`takeup.media.sound_numbers.only_numbers` tells it.
    """
    order = ">" if layout.big_endian else "<"
    width = layout.sample_bytes
    if layout.form == "float":
        with np.errstate(over="ignore", invalid="ignore"):
            return np.frombuffer(raw, f"{order}f{width}").astype(np.float32).reshape(-1, layout.channels)
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
