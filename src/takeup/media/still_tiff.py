"""Reads a TIFF's directory (TIFF 6.0 and BigTIFF): what it says of its picture, and whether its strips are all there.

Only tags are read here; pixels are libvips' business (``media.still``). Tag numbers: TIFF 6.0, appendix A
(public copies, grade secondary).
"""

from __future__ import annotations

import struct
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, BinaryIO

KINDS = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 6: "b", 7: "s", 8: "h", 9: "i", 10: "ii", 11: "f", 12: "d"}
KINDS |= {13: "I", 16: "Q", 17: "q", 18: "Q"}
WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC, ORIENTATION, SAMPLES = 256, 257, 258, 259, 262, 274, 277
STRIP_AT, STRIP_BYTES, TILE_AT, TILE_BYTES = 273, 279, 324, 325
X_PER_UNIT, Y_PER_UNIT, UNIT, PROFILE, SUBFILE = 282, 283, 296, 34675, 254
COMPRESSIONS = {1: "none", 2: "ccitt", 3: "ccitt-g3", 4: "ccitt-g4", 5: "lzw", 6: "jpeg", 7: "jpeg", 8: "deflate"}
COMPRESSIONS |= {32946: "deflate", 32773: "packbits", 34712: "jpeg2000", 50000: "zstd", 50001: "webp", 34925: "lzma"}
LOSSY = {6, 7, 34712, 50001}
PIXEL_TAGS = {STRIP_AT, STRIP_BYTES, TILE_AT, TILE_BYTES}


class NotTiff(Exception):
    """The directory cannot be followed: the file is cut or is not a TIFF."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Directory:
    """The tags of one picture in a TIFF, and whether its pixels lie inside the file."""

    tags: dict[int, tuple[Any, ...]]
    big: bool
    whole: bool  # every strip or tile lies inside the file
    pixel_bytes: int  # bytes of its strips or tiles as stored
    warnings: tuple[str, ...] = field(default=())

    def number(self, tag: int, default: Any = None) -> Any:
        """The first value of a tag."""
        values = self.tags.get(tag)
        return values[0] if values else default


def read_directories(file: BinaryIO, size_bytes: int, most: int = 2000) -> list[Directory]:
    """Every picture's directory, thumbnails of reduced size left out.

    Raises
    ------
    NotTiff
        If the first directory cannot be read.
    """
    head = file.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        raise NotTiff("no TIFF head")
    big = struct.unpack(order + "H", head[2:4])[0] == 43
    if big and len(head) < 16:
        raise NotTiff("cut in the head")
    at = struct.unpack(order + "Q", head[8:16])[0] if big else struct.unpack(order + "I", head[4:8])[0]
    found: list[Directory] = []
    seen: set[int] = set()
    while at and at not in seen and len(found) < most:
        seen.add(at)
        try:
            tags, following = _read_one(file, order, big, at, size_bytes)
        except (struct.error, NotTiff):
            if found:
                break
            raise NotTiff("its directory of contents is cut off") from None
        at = following
        if WIDTH in tags and HEIGHT in tags and not int(tags.get(SUBFILE, (0,))[0]) & 1:
            found.append(_with_strips(tags, big, size_bytes))
    if not found:
        raise NotTiff("it holds no picture")
    return found


def _read_one(file: BinaryIO, order: str, big: bool, at: int, size_bytes: int) -> tuple[dict, int]:
    file.seek(at)
    count_form, entry_form, offset_form = ("Q", "HHQ", "Q") if big else ("H", "HHI", "I")
    inline = 8 if big else 4
    (count,) = struct.unpack(order + count_form, file.read(8 if big else 2))
    if not 0 < count < 4096:
        raise NotTiff("a directory with an impossible number of entries")
    entry_bytes = 20 if big else 12
    body = file.read(count * entry_bytes + inline)
    if len(body) < count * entry_bytes:
        raise NotTiff("cut in a directory")
    tags: dict[int, tuple] = {}
    for n in range(count):
        entry = body[n * entry_bytes : (n + 1) * entry_bytes]
        head = struct.calcsize(order + entry_form)
        tag, kind, many = struct.unpack(order + entry_form, entry[:head])
        form = KINDS.get(kind)
        if form is None:
            continue
        each = struct.calcsize("=" + form)
        if each * many <= inline:
            raw = entry[head : head + each * many]
        else:
            (offset,) = struct.unpack(order + offset_form, entry[head:])
            if offset + each * many > size_bytes:
                if tag in PIXEL_TAGS | {WIDTH, HEIGHT, BITS}:
                    raise NotTiff("cut in a directory")
                continue
            file.seek(offset)
            raw = file.read(each * many)
        tags[tag] = _values(raw, order, form, many)
    tail = body[count * entry_bytes :]
    following = struct.unpack(order + offset_form, tail)[0] if len(tail) == inline else 0
    return tags, following


def _values(raw: bytes, order: str, form: str, many: int) -> tuple:
    if form == "s":
        return (raw,)
    numbers = struct.unpack(f"{order}{many * len(form)}{form[0]}", raw)
    return tuple(zip(numbers[::2], numbers[1::2], strict=True)) if len(form) == 2 else numbers


def _with_strips(tags: dict, big: bool, size_bytes: int) -> Directory:
    starts = tags.get(STRIP_AT) or tags.get(TILE_AT) or ()
    lengths = tags.get(STRIP_BYTES) or tags.get(TILE_BYTES) or ()
    whole = bool(starts) and all(start + length <= size_bytes for start, length in zip(starts, lengths, strict=False))
    return Directory(tags=tags, big=big, whole=whole and len(starts) == len(lengths), pixel_bytes=sum(lengths))


def ppi_of(directory: Directory) -> tuple[float | None, float | None]:
    """Stated resolution across and down [px/inch]; None where the file gives none or no unit (tag 296 = 1).

    A missing unit tag means inch (TIFF 6.0: default 2).
    """
    unit = directory.number(UNIT, 2)
    factor = {2: 1.0, 3: 2.54}.get(unit)
    found = []
    for tag in (X_PER_UNIT, Y_PER_UNIT):
        upper, lower = directory.number(tag, (0, 0))
        found.append(upper / lower * factor if factor and upper and lower else None)
    return found[0], found[1]


def read_exif(file: BinaryIO, size_bytes: int) -> Directory:
    """The tags of an EXIF block and of its own sub-directory, as one.

    Raises
    ------
    NotTiff
        If the block cannot be read.
    """
    head = file.read(8)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        raise NotTiff("no EXIF head")
    tags, _ = _read_one(file, order, False, struct.unpack(order + "I", head[4:8])[0], size_bytes)
    if 34665 in tags:
        with suppress(NotTiff, struct.error):
            tags |= _read_one(file, order, False, tags[34665][0], size_bytes)[0]
    return Directory(tags=tags, big=False, whole=True, pixel_bytes=0)
