"""Changes what a Matroska file says of itself without touching one byte of its clusters.

Two things libav leaves unsaid or cannot do in place: the shape of the picture (it writes no display size for a coded
track), and new tags (only by writing the file again). Element numbers: RFC 9559.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

SEGMENT, SEEK_HEAD, SEEK, SEEK_ID, SEEK_POSITION = 0x18538067, 0x114D9B74, 0x4DBB, 0x53AB, 0x53AC
TRACKS, TRACK, VIDEO, TAGS, TAG, TARGETS, SIMPLE = 0x1654AE6B, 0xAE, 0xE0, 0x1254C367, 0x7373, 0x63C0, 0x67C8
TAG_NAME, TAG_TEXT, VOID, CLUSTER, EBML, CRC = 0x45A3, 0x4487, 0xEC, 0x1F43B675, 0x1A45DFA3, 0xBF
DISPLAY_WIDTH, DISPLAY_HEIGHT, DISPLAY_UNIT, TARGET_TRACK = 0x54B0, 0x54BA, 0x54B2, 0x63C5
CHAPTERS, EDITION, CHAPTER, CHAPTER_UID, CHAPTER_START = 0x1043A770, 0x45B9, 0xB6, 0x73C4, 0x91
CHAPTER_END, CHAPTER_SHOWN, CHAPTER_NAME, CHAPTER_LANGUAGE = 0x92, 0x80, 0x85, 0x437C
STEP = 1 << 22
AS_RATIO = 3  # display unit: width and height are a ratio


class CannotEdit(Exception):
    """The file is laid out in a way that leaves no room for the change."""


@dataclass(frozen=True, slots=True)
class Element:
    """One element: its number, where it begins, where its body begins and ends."""

    id: int
    at: int
    body: int
    end: int
    open_size: bool = False


def children(file: BinaryIO, start: int, end: int) -> Iterator[Element]:
    """The elements between two places of a file."""
    at = start
    while at < end:
        file.seek(at)
        head = file.read(12)
        if len(head) < 2:
            return
        id_length = 9 - head[0].bit_length()
        size_length = 9 - head[id_length].bit_length() if head[id_length : id_length + 1] != b"\0" else 9
        if id_length > 4 or size_length > 8:
            raise CannotEdit(f"no element at {at}")
        number = int.from_bytes(head[:id_length], "big")
        raw = int.from_bytes(head[id_length : id_length + size_length], "big") & ((1 << 7 * size_length) - 1)
        unknown = raw == (1 << 7 * size_length) - 1
        body = at + id_length + size_length
        stop = end if unknown else min(body + raw, end)
        yield Element(number, at, body, stop, unknown)
        at = stop


def _segment(file: BinaryIO) -> tuple[Element, list[Element], int]:
    """The segment, its elements outside clusters, and the file's length."""
    total = file.seek(0, os.SEEK_END)
    for element in children(file, 0, total):
        if element.id == SEGMENT:
            inside = [child for child in children(file, element.body, element.end) if child.id != CLUSTER]
            return element, inside, total
    raise CannotEdit("no segment")


def state_shape(path: Path, width: int, height: int, shape: Fraction) -> None:
    """Write into a fresh file of libav's how wide its picture is to be shown. The pictures' lines stay the measure.

    Raises
    ------
    CannotEdit
        When the track's description has no room left in it (libav's has).
    """
    exact = width * shape / height
    whole = (width * shape).denominator == 1  # else the size in whole pixels would not be the shape: the ratio is told
    wide, high = (int(width * shape), height) if whole else (exact.numerator, exact.denominator)
    words = element_of(DISPLAY_WIDTH, number_of(wide)) + element_of(DISPLAY_HEIGHT, number_of(high))
    with path.open("r+b") as file:
        _, inside, _ = _segment(file)
        tracks = next((element for element in inside if element.id == TRACKS), None)
        for track in children(file, tracks.body, tracks.end) if tracks else ():
            parts = list(children(file, track.body, track.end)) if track.id == TRACK else []
            at = next((number for number, part in enumerate(parts) if part.id == VIDEO), None)
            if at is None:
                continue
            room = next((number for number in range(at + 1, len(parts)) if parts[number].id == VOID), at)
            kept = b""
            for part in children(file, parts[at].body, parts[at].end):
                if part.id not in (DISPLAY_WIDTH, DISPLAY_HEIGHT, DISPLAY_UNIT, VOID):
                    kept += _bytes(file, part.at, part.end)
            between = b"".join(_bytes(file, part.at, part.end) for part in parts[at + 1 : room])
            new, rest = b"", 1
            for spare in (b"", b"\0"):  # a void takes two bytes or more: a number may begin with an empty byte instead
                if rest == 1:
                    shown = words + element_of(DISPLAY_UNIT, spare + number_of(0 if whole else AS_RATIO))
                    new = element_of(VIDEO, kept + shown) + between
                    rest = parts[room].end - parts[at].at - len(new)
            if rest < 0 or rest == 1:
                raise CannotEdit("no room in the track")
            file.seek(parts[at].at)
            file.write(new + (void_of(rest) if rest else b""))
            _renew_check(file, tracks)
            return
    raise CannotEdit("no picture track")


def write_tags(path: Path, tags: Mapping[str, str]) -> None:
    """Give a file these tags for the whole of it, in place; the tracks' own tags stay. Upper-case names, UTF-8.

    The new element goes to the end of the segment, the old becomes a void, the index of elements is told.

    Raises
    ------
    CannotEdit
        When the file was never closed, or its index of elements has no room.
    """
    with path.open("r+b") as file:
        segment, inside, total = _segment(file)
        old = [element for element in inside if element.id == TAGS]
        kept = b"".join(_track_tags(file, element) for element in old)
        body = b"".join(_simple(name, text) for name, text in tags.items() if text)
        _put_last(file, TAGS, element_of(TAGS, kept + element_of(TAG, element_of(TARGETS, b"") + body)))


def write_chapters(path: Path, marks: Sequence[tuple[float, float, str]]) -> None:
    """Give a file these chapters (from, to [s], name), in place, or take its chapters away.

    Raises
    ------
    CannotEdit
        As :func:`write_tags`.
    """
    atoms = b"".join(
        element_of(CHAPTER, b"".join((
            element_of(CHAPTER_UID, number_of(at)),
            element_of(CHAPTER_START, number_of(round(from_s * 1e9))),
            element_of(CHAPTER_END, number_of(round(to_s * 1e9))),
            element_of(CHAPTER_SHOWN, element_of(CHAPTER_NAME, name.encode()) + element_of(CHAPTER_LANGUAGE, b"und")),
        )))
        for at, (from_s, to_s, name) in enumerate(marks, 1)
    )  # fmt: skip
    with path.open("r+b") as file:
        _put_last(file, CHAPTERS, element_of(CHAPTERS, element_of(EDITION, atoms)) if atoms else b"")


def _put_last(file: BinaryIO, id_: int, new: bytes) -> None:
    """Put an element to the end of the segment in place of those of its kind; nothing, where it is empty."""
    segment, inside, total = _segment(file)
    if segment.open_size or segment.end != total:
        raise CannotEdit("the file was never closed")
    size_length = segment.body - segment.at - 4
    size = total + len(new) - segment.body
    if size >= (1 << 7 * size_length) - 1:
        raise CannotEdit("the segment's size field is too short")
    places = _index(file, segment, inside)
    places.pop(id_, None)
    _write_index(file, segment, inside, places | ({id_: total - segment.body} if new else {}))
    for element in (element for element in inside if element.id == id_):
        file.seek(element.at)
        file.write(void_of(element.end - element.at))
    if new:
        file.seek(total)
        file.write(new)
        file.seek(segment.at + 4)
        file.write((size | 1 << 7 * size_length).to_bytes(size_length, "big"))


def read_tags(path: Path) -> dict[str, str]:
    """The tags of the whole file."""
    tags: dict[str, str] = {}
    with path.open("rb") as file:
        for tags_element in (element for element in _segment(file)[1] if element.id == TAGS):
            for tag in children(file, tags_element.body, tags_element.end):
                if tag.id == TAG and not _is_of_a_track(file, tag):
                    for simple in (part for part in children(file, tag.body, tag.end) if part.id == SIMPLE):
                        words = {
                            part.id: _bytes(file, part.body, part.end)
                            for part in children(file, simple.body, simple.end)
                        }
                        tags[words.get(TAG_NAME, b"").decode()] = words.get(TAG_TEXT, b"").decode()
    return tags


def _renew_check(file: BinaryIO, parent: Element) -> None:
    """An element that begins with a checksum of itself gets the right one."""
    first = next(children(file, parent.body, parent.end))
    if first.id == CRC:
        value = zlib.crc32(_bytes(file, first.end, parent.end))
        file.seek(first.body)
        file.write(value.to_bytes(4, "little"))


def clusters_at(path: Path) -> list[tuple[int, int]]:
    """Where each cluster (the coded pictures and sound) begins and ends."""
    with path.open("rb") as file:
        total = file.seek(0, os.SEEK_END)
        segment = next((element for element in children(file, 0, total) if element.id == SEGMENT), None)
        inside = children(file, segment.body, segment.end) if segment else ()
        return [(element.at, element.end) for element in inside if element.id == CLUSTER]


def clusters_sha256(path: Path) -> list[str]:
    """A digest of each cluster as it is stored."""
    digests = []
    with path.open("rb") as file:
        for start, end in clusters_at(path):
            file.seek(start)
            digest, left = sha256(), end - start
            while left and (block := file.read(min(STEP, left))):
                digest.update(block)
                left -= len(block)
            digests.append(digest.hexdigest())
    return digests


def _track_tags(file: BinaryIO, tags: Element) -> bytes:
    """The tags that speak of one track, as they are."""
    return b"".join(
        _bytes(file, tag.at, tag.end)
        for tag in children(file, tags.body, tags.end)
        if tag.id == TAG and _is_of_a_track(file, tag)
    )


def _is_of_a_track(file: BinaryIO, tag: Element) -> bool:
    for part in children(file, tag.body, tag.end):
        if part.id == TARGETS:
            return any(target.id == TARGET_TRACK for target in children(file, part.body, part.end))
    return False


def _index(file: BinaryIO, segment: Element, inside: list[Element]) -> dict[int, int]:
    """The first index of elements: number -> place from the segment's body."""
    head = next((element for element in inside if element.id == SEEK_HEAD), None)
    if head is None:
        raise CannotEdit("no index of elements")
    places: dict[int, int] = {}
    for seek in (part for part in children(file, head.body, head.end) if part.id == SEEK):
        words = {
            part.id: int.from_bytes(_bytes(file, part.body, part.end), "big")
            for part in children(file, seek.body, seek.end)
        }
        if SEEK_ID in words and SEEK_POSITION in words:
            places[words[SEEK_ID]] = words[SEEK_POSITION]
    return places


def _write_index(file: BinaryIO, segment: Element, inside: list[Element], places: Mapping[int, int]) -> None:
    """Write the index anew over the old one and the void behind it."""
    at = next(number for number, element in enumerate(inside) if element.id == SEEK_HEAD)
    head, room_end = inside[at], inside[at].end
    if at + 1 < len(inside) and inside[at + 1].id == VOID and inside[at + 1].at == head.end:
        room_end = inside[at + 1].end
    entries = b"".join(
        element_of(SEEK, element_of(SEEK_ID, number_of(id_)) + element_of(SEEK_POSITION, number_of(place)))
        for id_, place in places.items()
    )
    new = element_of(SEEK_HEAD, entries)
    rest = room_end - head.at - len(new)
    if rest != 0 and rest < 2:
        raise CannotEdit("no room in the index of elements")
    file.seek(head.at)
    file.write(new + (void_of(rest) if rest else b""))


def element_of(id_: int, body: bytes) -> bytes:
    """An element around a body."""
    length = next(length for length in range(1, 9) if len(body) < (1 << 7 * length) - 1)
    return number_of(id_) + (len(body) | 1 << 7 * length).to_bytes(length, "big") + body


def void_of(length: int) -> bytes:
    """An element that says nothing, of just this length in all (two bytes or more)."""
    if length < 2:
        raise CannotEdit("a void needs two bytes")
    if length < 10:
        return b"\xec" + bytes([0x80 | (length - 2)]) + bytes(length - 2)
    return b"\xec" + ((length - 9) | 1 << 56).to_bytes(8, "big") + bytes(length - 9)


def number_of(value: int) -> bytes:
    """An unsigned number in as few bytes as it needs."""
    return value.to_bytes(max(1, (value.bit_length() + 7) // 8), "big")


def _simple(name: str, text: str) -> bytes:
    return element_of(SIMPLE, element_of(TAG_NAME, name.upper().encode()) + element_of(TAG_TEXT, text.encode()))


def _bytes(file: BinaryIO, start: int, end: int) -> bytes:
    file.seek(start)
    return file.read(end - start)
