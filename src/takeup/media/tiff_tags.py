"""Gives a TIFF (classic or Big, either byte order) new tags: they go to its end, and the pointer to them moves last.

No byte of the picture moves or changes. The same works on the small TIFF that an EXIF block is.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

from takeup.media.matroska_edit import CannotEdit

BYTE, ASCII, LONG, UNDEFINED, IFD8 = 1, 2, 4, 7, 18
SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
EXIF = 34665
STEP = 1 << 22
LAYOUT = (256, 257, 258, 259, 262, 274, 277, 278, 282, 283, 284, 296, 317, 320, 322, 323, 338, 339, 347, 34675)
Entry = tuple[int, int, bytes]  # kind, count, value or place as stored


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """How numbers are laid out in one TIFF."""

    order: str  # < or >
    big: bool

    @property
    def place(self) -> str:
        return self.order + ("Q" if self.big else "I")

    @property
    def count(self) -> str:
        return self.order + ("Q" if self.big else "H")

    @property
    def entry(self) -> struct.Struct:
        return struct.Struct(self.order + ("HHQ8s" if self.big else "HHI4s"))

    @property
    def inline(self) -> int:
        return 8 if self.big else 4


def form_of(file: BinaryIO) -> tuple[Form, int]:
    """Layout of a TIFF and where its pointer to the first directory stands."""
    file.seek(0)
    head = file.read(8)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        raise CannotEdit("no TIFF head")
    version = struct.unpack_from(order + "H", head, 2)[0]
    if version not in (42, 43):
        raise CannotEdit("no TIFF head")
    return Form(order=order, big=version == 43), 8 if version == 43 else 4


def read_directory(file: BinaryIO, form: Form, at: int) -> tuple[dict[int, Entry], int]:
    """The entries of a directory and the place of the next one."""
    file.seek(at)
    count = struct.unpack(form.count, file.read(struct.calcsize(form.count)))[0]
    body = file.read(count * form.entry.size)
    entries = {tag: (kind, number, value) for tag, kind, number, value in form.entry.iter_unpack(body)}
    return entries, struct.unpack(form.place, file.read(struct.calcsize(form.place)))[0]


def value_of(file: BinaryIO, form: Form, entry: Entry) -> bytes:
    """The bytes of an entry's value."""
    kind, count, stored = entry
    size = SIZES.get(kind, 1) * count
    if size <= form.inline:
        return stored[:size]
    file.seek(struct.unpack(form.place, stored)[0])
    return file.read(size)


def edit_tiff(file: BinaryIO, texts: Mapping[int, tuple[int, bytes]], exif: Mapping[int, bytes]) -> None:
    """Add tags to the first directory of a TIFF that is open for reading and writing.

    Parameters
    ----------
    texts : mapping
        Tag -> (kind, value); an empty value takes the tag away.
    exif : mapping
        Tags of the EXIF directory -> ASCII value; an empty value takes the tag away.
    """
    form, pointer_at = form_of(file)
    file.seek(pointer_at)
    first = struct.unpack(form.place, file.read(struct.calcsize(form.place)))[0]
    entries, following = read_directory(file, form, first)
    end = _Appending(file, form)
    if any(exif.values()) or (EXIF in entries and exif):
        own: dict[int, Entry] = {}
        if EXIF in entries:
            own, _ = read_directory(file, form, struct.unpack(form.place, _place(form, entries[EXIF]))[0])
        _change(own, {tag: (ASCII, value) for tag, value in exif.items()}, end)
        at = end.directory(own, 0)
        entries[EXIF] = (IFD8 if form.big else LONG, 1, struct.pack(form.place, at))
    _change(entries, texts, end)
    new = end.directory(entries, following)
    file.flush()
    file.seek(pointer_at)
    file.write(struct.pack(form.place, new))


def _place(form: Form, entry: Entry) -> bytes:
    """A place as stored, whatever kind the writer chose for it."""
    kind, _, stored = entry
    if form.big and kind in (4, 13):
        return struct.pack(form.place, struct.unpack(form.order + "I", stored[:4])[0])
    return stored


def _change(entries: dict[int, Entry], values: Mapping[int, tuple[int, bytes]], end: _Appending) -> None:
    for tag, (kind, value) in values.items():
        entries.pop(tag, None)
        if value:
            entries[tag] = (kind, len(value), end.value(value))


class _Appending:
    """Writes values and directories at the end of a TIFF, each at an even place."""

    def __init__(self, file: BinaryIO, form: Form) -> None:
        self.file, self.form = file, form

    def value(self, data: bytes) -> bytes:
        if len(data) <= self.form.inline:
            return data.ljust(self.form.inline, b"\0")
        return struct.pack(self.form.place, self._append(data))

    def directory(self, entries: Mapping[int, Entry], following: int) -> int:
        body = struct.pack(self.form.count, len(entries))
        for tag in sorted(entries):
            body += self.form.entry.pack(tag, *entries[tag])
        return self._append(body + struct.pack(self.form.place, following))

    def _append(self, data: bytes) -> int:
        at = self.file.seek(0, 2)
        if at % 2:
            self.file.write(b"\0")
            at += 1
        if not self.form.big and at + len(data) > 0xFFFFFFFF:
            raise CannotEdit("the file would grow past 4 GB")
        self.file.write(data)
        return at


def read_tiff_tag(path: Path, tag: int) -> bytes | None:
    """The value of one tag of the first directory."""
    with path.open("rb") as file:
        form, pointer_at = form_of(file)
        file.seek(pointer_at)
        first = struct.unpack(form.place, file.read(struct.calcsize(form.place)))[0]
        entries, _ = read_directory(file, form, first)
        return value_of(file, form, entries[tag]) if tag in entries else None


def read_exif(file: BinaryIO, tag: int) -> str:
    """One text of the EXIF directory of a TIFF, or of the block that a JPEG holds; "" when it has none.

    Raises
    ------
    CannotEdit
        When it is no TIFF.
    """
    form, pointer_at = form_of(file)
    file.seek(pointer_at)
    entries, _ = read_directory(file, form, struct.unpack(form.place, file.read(struct.calcsize(form.place)))[0])
    if EXIF not in entries:
        return ""
    own, _ = read_directory(file, form, struct.unpack(form.place, _place(form, entries[EXIF]))[0])
    return value_of(file, form, own[tag]).rstrip(b"\0 ").decode("latin-1") if tag in own else ""


def picture_digest(path: Path) -> str:
    """SHA-256 over the strips and tiles of every picture of a TIFF, and over what says how to read them."""
    digest = sha256()
    with path.open("rb") as file:
        form, pointer_at = form_of(file)
        file.seek(pointer_at)
        at = struct.unpack(form.place, file.read(struct.calcsize(form.place)))[0]
        seen: set[int] = set()
        while at and at not in seen:
            seen.add(at)
            entries, at = read_directory(file, form, at)
            for tag in LAYOUT:
                digest.update(value_of(file, form, entries[tag]) if tag in entries else b"-")
            for places, counts in ((273, 279), (324, 325)):
                if places in entries and counts in entries:
                    starts, lengths = numbers_of(file, form, entries[places]), numbers_of(file, form, entries[counts])
                    for start, length in zip(starts, lengths):
                        file.seek(start)
                        while length > 0 and (block := file.read(min(STEP, length))):
                            digest.update(block)
                            length -= len(block)
    return digest.hexdigest()


def numbers_of(file: BinaryIO, form: Form, entry: Entry) -> tuple[int, ...]:
    """An entry's value as whole numbers."""
    letter = {1: "B", 3: "H", 4: "I", 13: "I", 16: "Q", 18: "Q"}[entry[0]]
    return struct.unpack(f"{form.order}{entry[1]}{letter}", value_of(file, form, entry))
