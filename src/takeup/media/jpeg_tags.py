"""Changes what a JPEG says of itself: XMP packet, IIM records, single tags of its EXIF. The coded picture stays."""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping, Sequence
from pathlib import Path

from takeup.media import resource_blocks
from takeup.media.matroska_edit import CannotEdit
from takeup.media.tiff_tags import edit_tiff, read_exif

XMP_NAME, EXIF_NAME = b"http://ns.adobe.com/xap/1.0/\0", b"Exif\0\0"
SEGMENT_MOST = 65533  # body of one segment [bytes]
EMPTY_TIFF = b"II*\0\x08\0\0\0\0\0\0\0\0\0"
START_OF_SCAN = 0xDA
STEP = 1 << 22


def write_jpeg_tags(
    source: Path, target: Path, xmp: bytes, records: bytes, texts: Mapping[int, tuple[int, bytes]],
    exif: Mapping[int, bytes],
) -> None:  # fmt: skip
    """Write a JPEG anew with another XMP packet, other IIM records, changed EXIF tags; other segments stay in order.

    Raises
    ------
    CannotEdit
        When the file is no JPEG, or the packet does not fit into one segment.
    """
    with source.open("rb") as file, target.open("wb") as out:
        segments, rest_at = read_segments(file)
        first = [(marker, body) for marker, body in segments if marker == 0xE0]
        others = [(marker, body) for marker, body in segments if marker != 0xE0 and not _ours(marker, body)]
        old = next((body[len(EXIF_NAME) :] for marker, body in segments if _is(marker, body, EXIF_NAME)), None)
        new = [*first]
        if (block := _exif(old, texts, exif)) is not None:
            new.append((0xE1, EXIF_NAME + block))
        new.append((0xE1, XMP_NAME + xmp))
        new += _resources(segments, records)
        out.write(b"\xff\xd8")
        for marker, body in [*new, *others]:
            if len(body) > SEGMENT_MOST:
                raise CannotEdit("the description does not fit into a JPEG")
            out.write(struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body)
        file.seek(rest_at)
        while data := file.read(STEP):
            out.write(data)


def read_segments(file) -> tuple[list[tuple[int, bytes]], int]:
    """The segments before the coded picture, and where that begins."""
    if file.read(2) != b"\xff\xd8":
        raise CannotEdit("no JPEG head")
    segments = []
    while True:
        at = file.tell()
        head = file.read(4)
        if len(head) < 4 or head[0] != 0xFF:
            raise CannotEdit("a broken JPEG head")
        if head[1] == 0xFF:  # a fill byte
            file.seek(at + 1)
            continue
        if head[1] == START_OF_SCAN:
            return segments, at
        segments.append((head[1], file.read(struct.unpack(">H", head[2:])[0] - 2)))


def jpeg_picture(path: Path) -> tuple[list[tuple[int, bytes]], int]:
    """What makes the picture of a JPEG: its segments but for the descriptions, and where its coded data begins."""
    with path.open("rb") as file:
        segments, at = read_segments(file)
    return [(marker, body) for marker, body in segments if not _ours(marker, body)], at


def read_xmp(path: Path) -> bytes:
    """The XMP packet of a JPEG; empty when it has none."""
    with path.open("rb") as file:
        segments, _ = read_segments(file)
    return next((body[len(XMP_NAME) :] for marker, body in segments if _is(marker, body, XMP_NAME)), b"")


def read_jpeg_exif(path: Path, tag: int) -> str:
    """One text of a JPEG's EXIF segment; "" when it has none that can be read."""
    with path.open("rb") as file:
        segments, _ = read_segments(file)
    block = next((body[len(EXIF_NAME) :] for marker, body in segments if _is(marker, body, EXIF_NAME)), None)
    try:
        return read_exif(io.BytesIO(block), tag) if block is not None else ""
    except (CannotEdit, struct.error):
        return ""


def read_jpeg_records(path: Path) -> bytes:
    """The IIM records of a JPEG; empty when it has none that can be read."""
    with path.open("rb") as file:
        segments, _ = read_segments(file)
    return resource_blocks.records_of(_blocks(segments) or ())


def _resources(segments: Sequence[tuple[int, bytes]], records: bytes) -> list[tuple[int, bytes]]:
    """The APP13 segment with these records; those of the file as they are where nobody can read them, or where a
    program filled several with so much else that no one segment holds it."""
    blocks = _blocks(segments)
    new = resource_blocks.with_records(blocks, records) if blocks is not None else ()
    body = resource_blocks.write_blocks(new)
    if blocks is None or len(body) > SEGMENT_MOST:
        return [(marker, own) for marker, own in segments if _holds_records(marker, own)]
    return [(0xED, body)] if new else []


def _blocks(segments: Sequence[tuple[int, bytes]]) -> Sequence[resource_blocks.Block] | None:
    bodies = [body for marker, body in segments if _holds_records(marker, body)]
    if not bodies:
        return ()
    # what did not fit into one segment goes on in the next
    return resource_blocks.read_blocks(bodies[0] + b"".join(body[len(resource_blocks.NAME) :] for body in bodies[1:]))


def _holds_records(marker: int, body: bytes) -> bool:
    return marker == 0xED and body.startswith(resource_blocks.NAME)


def _is(marker: int, body: bytes, name: bytes) -> bool:
    return marker == 0xE1 and body.startswith(name)


def _ours(marker: int, body: bytes) -> bool:
    return _is(marker, body, XMP_NAME) or _is(marker, body, EXIF_NAME) or _holds_records(marker, body)


def _exif(old: bytes | None, texts: Mapping[int, tuple[int, bytes]], exif: Mapping[int, bytes]) -> bytes | None:
    wanted = any(value for _, value in texts.values()) or any(exif.values())
    if old is None and not wanted:
        return None
    block = io.BytesIO(old or EMPTY_TIFF)
    try:
        edit_tiff(block, texts, exif)
    except (CannotEdit, struct.error):
        return old  # an EXIF block that nobody can read stays as it is
    data = block.getvalue()
    return data if len(data) + len(EXIF_NAME) <= SEGMENT_MOST else old
