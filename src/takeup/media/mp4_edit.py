"""Changes what an MP4, M4A or MOV file says of itself, without touching one byte of its sound and pictures.

The movie header is written anew with an item list (``moov/udta/meta/ilst``, as every common player reads it); where
it stands before the media, the chunk offsets in it move along.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import BinaryIO

from takeup.media.matroska_edit import CannotEdit

STEP = 1 << 22
LARGEST_HEAD = 1 << 28  # a movie header longer than this is not one of a family tape [bytes]
CONTAINERS = (b"moov", b"trak", b"mdia", b"minf", b"stbl")
TEXT, NUMBERS = 1, 0  # kinds of data in an item list


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[tuple[bytes, int, int, int]]:
    """Name, start, start of body and end of each box in a piece of memory."""
    at, end = start, len(data) if end is None else end
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, at)
        body = at + 8
        if size == 1:
            size, body = struct.unpack_from(">Q", data, at + 8)[0], at + 16
        stop = end if size == 0 else at + size
        if stop > end or stop < body:
            return
        yield name, at, body, stop
        at = stop


def top_boxes(file: BinaryIO) -> list[tuple[bytes, int, int]]:
    """Name, start and end of the boxes of a file."""
    total = file.seek(0, 2)
    found, at = [], 0
    while at + 8 <= total:
        file.seek(at)
        head = file.read(16)
        size, name = struct.unpack_from(">I4s", head)
        if size == 1:
            size = struct.unpack_from(">Q", head, 8)[0]
        stop = total if size == 0 else min(at + size, total)
        if stop <= at:
            raise CannotEdit("a box without size")
        found.append((name, at, stop))
        at = stop
    return found


def write_mp4_tags(source: Path, target: Path, tags: Mapping[str, str | tuple[int, int]]) -> None:
    """Write a file anew with these tags. Tags of other names stay; an empty text takes one away.

    Parameters
    ----------
    tags : mapping
        Four-letter names (``\\xa9nam`` title, ``\\xa9day`` date, ``\\xa9cmt`` comment, ``trkn`` track of tracks ...).

    Raises
    ------
    CannotEdit
        A fragmented file, one without a movie header, or offsets that no longer fit.
    """
    _written_anew(source, target, lambda moov: _with_tags(moov, tags))


def write_items_of(other: Path, source: Path, target: Path) -> None:
    """Write ``source`` anew as ``target`` with the item list of another file, byte by byte: words and cover.

    Raises
    ------
    CannotEdit
        As :func:`write_mp4_tags`.
    """
    items = items_of(other)
    _written_anew(source, target, lambda moov: _with_tags(moov, {}, items))


def items_of(path: Path) -> dict[bytes, bytes]:
    """The items of a file's item list, as they are stored."""
    found: dict[bytes, bytes] = {}
    with path.open("rb") as file:
        for name, start, end in top_boxes(file):
            if name != b"moov":
                continue
            file.seek(start)
            moov = file.read(end - start)
            for inner, _, body, stop in boxes(moov, 8):
                for meta, _, a, b in boxes(moov, body, stop) if inner == b"udta" else ():
                    found |= (_item_list(moov[a:b]) or {}) if meta == b"meta" else {}
    return found


def _written_anew(source: Path, target: Path, change: Callable[[bytes], bytes]) -> None:
    """Write a file with another movie header; all other boxes are copied, chunk offsets move along."""
    with source.open("rb") as file, target.open("wb") as out:
        top = top_boxes(file)
        names = [name for name, _, _ in top]
        if names.count(b"moov") != 1 or b"moof" in names:
            raise CannotEdit("no single movie header")
        _, start, end = top[names.index(b"moov")]
        if end - start > LARGEST_HEAD:
            raise CannotEdit("the movie header is too long")
        file.seek(start)
        old = file.read(end - start)
        new = change(old)
        shift = len(new) - len(old)
        new = _moved(new, lambda offset: offset + shift if offset >= end else offset)
        for name, begin, stop in top:
            if name == b"moov":
                out.write(new)
            else:
                _copy(file, out, begin, stop)


def _copy(file: BinaryIO, out: BinaryIO, start: int, end: int) -> None:
    file.seek(start)
    left = end - start
    while left and (block := file.read(min(STEP, left))):
        out.write(block)
        left -= len(block)


def _with_tags(
    moov: bytes, tags: Mapping[str, str | tuple[int, int]], instead: Mapping[bytes, bytes] | None = None
) -> bytes:
    items: dict[bytes, bytes] = {}
    other_user_data = b""
    rest = b""
    for name, start, body, end in boxes(moov, 8):
        if name != b"udta":
            rest += moov[start:end]
            continue
        for inner, a, b, c in boxes(moov, body, end):
            if inner == b"meta" and (found := _item_list(moov[b:c])) is not None:
                items |= found
            else:
                other_user_data += moov[a:c]
    items = items if instead is None else dict(instead)
    for name_, value in tags.items():
        key = name_.encode("latin-1")
        items.pop(key, None)
        if value:
            items[key] = _item(key, value)
    handler = _box(b"hdlr", bytes(8) + b"mdirappl" + bytes(9))
    meta = _box(b"meta", bytes(4) + handler + _box(b"ilst", b"".join(items.values())))
    return _box(b"moov", rest + _box(b"udta", other_user_data + meta))


def _item_list(meta: bytes) -> dict[bytes, bytes] | None:
    """The items of a ``meta`` box's body, by name; None when it holds no item list."""
    start = 4 if meta[4:8] != b"hdlr" else 0
    for name, _, body, end in boxes(meta, start):
        if name == b"ilst":
            return {item: meta[a:c] for item, a, _, c in boxes(meta, body, end)}
    return None


def _item(name: bytes, value: str | tuple[int, int]) -> bytes:
    if isinstance(value, tuple):
        return _box(name, _box(b"data", struct.pack(">II4H", NUMBERS, 0, 0, value[0], value[1], 0)))
    return _box(name, _box(b"data", struct.pack(">II", TEXT, 0) + value.encode("utf-8")))


def read_mp4_tags(path: Path) -> dict[str, str]:
    """The texts of a file's item list, by their four letters."""
    return {item.decode("latin-1"): data[24:].decode("utf-8", "replace") for item, data in items_of(path).items()}


def _moved(moov: bytes, where: Callable[[int], int]) -> bytes:
    """The header with every chunk offset moved."""
    data = bytearray(moov)

    def walk(start: int, end: int) -> None:
        for name, _, body, stop in boxes(moov, start, end):
            if name in CONTAINERS:
                walk(body, stop)
            elif name in (b"stco", b"co64"):
                form = ">I" if name == b"stco" else ">Q"
                width, count = struct.calcsize(form), struct.unpack_from(">I", moov, body + 4)[0]
                for at in range(body + 8, body + 8 + count * width, width):
                    offset = where(struct.unpack_from(form, moov, at)[0])
                    if offset >= 1 << 8 * width:
                        raise CannotEdit("offsets would not fit")
                    struct.pack_into(form, data, at, offset)

    walk(0, len(moov))
    return bytes(data)


def _box(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", len(body) + 8, name) + body
