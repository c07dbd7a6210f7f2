"""The few header fields that libav does not tell apart from its own guesses: read by hand from a file's first bytes."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

HEAD = 1 << 20  # headers of captures lie well within it
UNKNOWN_SIZES = {(1 << 7 * length) - 1 for length in range(1, 9)}
MASTERS = {0x18538067, 0x1549A966, 0x1654AE6B, 0xAE, 0xE0}  # Segment, Info, Tracks, TrackEntry, Video (RFC 9559)
SEGMENT, SCALE, DURATION, DISPLAY_WIDTH, DISPLAY_UNIT = 0x18538067, 0x2AD7B1, 0x4489, 0x54B0, 0x54B2
CLUSTER, VIDEO = 0x1F43B675, 0xE0


@dataclass(frozen=True, slots=True)
class Header:
    """What stands in the header. ``seconds`` is None where no length is written."""

    unclosed: bool = False
    seconds: float | None = None
    brand: str | None = None  # MOV and its kin: the major brand; "" when the file has none
    display_stated: bool = True  # Matroska: a display width is written, in pixels or as a ratio


def read_header(path: Path) -> Header:
    """Read the head of a Matroska, AVI or MOV file; other files give an empty header."""
    with path.open("rb") as file:
        head = file.read(HEAD)
    if head[:4] == b"\x1aE\xdf\xa3":
        return _matroska(head)
    if head[:4] == b"RIFF":
        return _avi(head)
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return Header(brand=head[8:12].decode("latin-1") if head[4:8] == b"ftyp" else "")
    return Header()


def _avi(head: bytes) -> Header:
    (size,) = struct.unpack_from("<I", head, 4)
    at = head.find(b"avih")
    frames = struct.unpack_from("<I", head, at + 24)[0] if 0 < at < len(head) - 28 else 0
    return Header(unclosed=size in (0, 0xFFFFFFFF) or frames == 0)


def _matroska(head: bytes) -> Header:
    found: dict[int, bytes] = {}
    at, unknown = 0, False
    while at < len(head) - 12:
        name, at = _vint(head, at, keep=True)
        size, at = _vint(head, at, keep=False)
        if name == CLUSTER or name == 0:
            break
        if name == SEGMENT:
            unknown = size in UNKNOWN_SIZES
        if name in MASTERS:
            continue
        found.setdefault(name, head[at : at + size])
        at += size
    scale = int.from_bytes(found.get(SCALE, b"\x0f\x42\x40")) / 1e9
    raw = found.get(DURATION, b"")
    ticks = struct.unpack(">d" if len(raw) == 8 else ">f", raw)[0] if len(raw) in (4, 8) else 0.0
    seconds = ticks * scale if 0 < ticks < 1e15 else None
    unit = int.from_bytes(found.get(DISPLAY_UNIT, b"\0"))
    return Header(
        unclosed=unknown and seconds is None,
        seconds=seconds,
        display_stated=DISPLAY_WIDTH in found and unit < 4,
    )


def _vint(data: bytes, at: int, *, keep: bool) -> tuple[int, int]:
    """A variable-length number of EBML (RFC 8794 section 4) and where the next begins; 0 at the data's end."""
    if at >= len(data) or data[at] == 0:
        return 0, len(data)
    length = 9 - data[at].bit_length()
    value = int.from_bytes(data[at : at + length])
    return value if keep else value & ((1 << 7 * length) - 1), at + length
