"""Reads what JPEG and PNG files and colour profiles say of themselves, from their marker segments and chunks alone."""

from __future__ import annotations

import io
import struct
import zlib
from dataclasses import dataclass
from typing import BinaryIO

from takeup.media import still_tiff

SOF = {0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF}
METRE_PER_INCH = 0.0254


class Cut(Exception):
    """The head breaks off before it says how large the picture is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What a JPEG or PNG says of its picture."""

    width: int
    height: int
    channels: int
    bits: int
    ppi: tuple[float | None, float | None]
    profile: bytes | None
    named_srgb: bool
    orientation: int
    whole: bool  # the file ends as it should


def read_jpeg(file: BinaryIO, size_bytes: int) -> Head:
    """Walk a JPEG's segments up to its first scan (ISO/IEC 10918-1 annex B; JFIF density; EXIF resolution)."""
    file.seek(2)
    size: tuple[int, int, int, int] | None = None
    density: tuple[float | None, float | None] = (None, None)
    exif_density: tuple[float | None, float | None] = (None, None)
    orientation, srgb = 1, False
    profile: dict[int, bytes] = {}
    while size is None or file.tell() < size_bytes:
        marker = file.read(2)
        if len(marker) < 2 or marker[0] != 0xFF:
            break
        if marker[1] == 0xFF:
            file.seek(-1, 1)
            continue
        if marker[1] in (0xDA, 0xD9):
            break
        length = file.read(2)
        if len(length) < 2:
            break
        body = file.read(struct.unpack(">H", length)[0] - 2)
        if marker[1] in SOF and len(body) >= 6:
            bits, height, width, channels = struct.unpack(">BHHB", body[:6])
            size = (width, height, channels, bits)
        elif marker[1] == 0xE0 and body[:5] == b"JFIF\0" and len(body) >= 12:
            unit, across, down = struct.unpack(">BHH", body[7:12])
            factor = {1: 1.0, 2: 2.54}.get(unit)
            density = (across * factor, down * factor) if factor and across and down else (None, None)
        elif marker[1] == 0xE1 and body[:6] == b"Exif\0\0":
            exif_density, orientation, srgb = _exif(body[6:])
        elif marker[1] == 0xE2 and body[:12] == b"ICC_PROFILE\0":
            profile[body[12]] = body[14:]
    if size is None or not size[0] or not size[1]:
        raise Cut("it breaks off in its head")
    chosen = density if density[0] else exif_density
    joined = b"".join(profile[n] for n in sorted(profile)) or None
    width, height, channels, bits = size
    return Head(
        width=width, height=height, channels=channels, bits=bits, ppi=chosen, profile=joined, named_srgb=srgb,
        orientation=orientation, whole=_ends_with_marker(file, size_bytes),
    )  # fmt: skip


def _exif(block: bytes) -> tuple[tuple[float | None, float | None], int, bool]:
    try:
        first = still_tiff.read_exif(io.BytesIO(block), len(block))
    except (still_tiff.NotTiff, struct.error):
        return (None, None), 1, False
    return still_tiff.ppi_of(first), int(first.number(still_tiff.ORIENTATION, 1)), first.number(0xA001) == 1


def _ends_with_marker(file: BinaryIO, size_bytes: int) -> bool:
    """Whether the end marker stands near the end (some writers append a few bytes)."""
    file.seek(max(0, size_bytes - 65536))
    return b"\xff\xd9" in file.read()


def read_png(file: BinaryIO, size_bytes: int) -> Head:
    """Walk a PNG's chunks (ISO/IEC 15948): size, pHYs, iCCP, sRGB, and whether IEND is there."""
    file.seek(8)
    size: tuple[int, int, int, int] | None = None
    ppi: tuple[float | None, float | None] = (None, None)
    profile, srgb, whole, orientation = None, False, False, 1
    while file.tell() + 8 <= size_bytes:
        length, name = struct.unpack(">I4s", file.read(8))
        if name == b"IHDR":
            width, height, bits, kind = struct.unpack(">IIBB", file.read(10))
            size = (width, height, {0: 1, 2: 3, 3: 3, 4: 2, 6: 4}.get(kind, 3), 8 if kind == 3 else bits)
            file.seek(length - 10 + 4, 1)
            continue
        if name in (b"pHYs", b"iCCP", b"sRGB", b"eXIf"):
            body = file.read(length)
            file.seek(4, 1)
            if name == b"pHYs" and len(body) == 9 and body[8] == 1:
                across, down = struct.unpack(">II", body[:8])
                ppi = (across * METRE_PER_INCH or None, down * METRE_PER_INCH or None)
            elif name == b"iCCP":
                profile = _inflate(body.partition(b"\0")[2][1:])
            elif name == b"eXIf":
                orientation = _exif(body)[1]
            srgb = srgb or name == b"sRGB"
            continue
        if name == b"IEND":
            whole = True
            break
        file.seek(length + 4, 1)
    if size is None or not size[0] or not size[1]:
        raise Cut("it breaks off in its head")
    width, height, channels, bits = size
    return Head(
        width=width, height=height, channels=channels, bits=bits, ppi=ppi, profile=profile, named_srgb=srgb,
        orientation=orientation, whole=whole,
    )  # fmt: skip


def _inflate(data: bytes) -> bytes | None:
    try:
        return zlib.decompress(data)
    except zlib.error:
        return b""  # there, but unreadable


def profile_name(profile: bytes | None) -> str | None:
    """The name an ICC profile gives itself; "unreadable" when it is damaged; None when there is none.

    ICC.1 tags ``desc`` (``desc`` text of version 2, ``mluc`` of version 4).
    """
    if profile is None:
        return None
    try:
        if profile[36:40] != b"acsp" or len(profile) < struct.unpack(">I", profile[:4])[0]:
            return "unreadable"
        (count,) = struct.unpack(">I", profile[128:132])
        for n in range(min(count, 200)):
            name, at, length = struct.unpack(">4sII", profile[132 + 12 * n : 144 + 12 * n])
            if name == b"desc":
                return _described(profile[at : at + length])
    except struct.error:
        return "unreadable"
    return "unnamed"


def _described(body: bytes) -> str:
    if body[:4] == b"mluc":
        length, at = struct.unpack(">II", body[20:28])
        return body[at : at + length].decode("utf-16-be", "replace").strip("\0 ") or "unnamed"
    (length,) = struct.unpack(">I", body[8:12])
    return body[12 : 12 + length].decode("ascii", "replace").strip("\0 ") or "unnamed"


def profile_channels(profile: bytes | None) -> int | None:
    """How many channels a profile is made for; None when it cannot be told."""
    if not profile or len(profile) < 40:
        return None
    return {b"RGB ": 3, b"GRAY": 1, b"CMYK": 4, b"Lab ": 3}.get(profile[16:20])
