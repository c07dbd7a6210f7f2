"""Changes what an MP3 or FLAC file says of itself; the coded sound after the tags stays byte for byte."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from pathlib import Path

from takeup.media.matroska_edit import CannotEdit

STEP = 1 << 22
VENDOR = b"takeup"
COMMENTS, PADDING = 4, 1  # FLAC's metadata blocks
LAST = 0x80
LARGEST_BLOCK = (1 << 24) - 1  # a FLAC metadata block [bytes]


def write_mp3_tags(source: Path, target: Path, frames: Mapping[str, str]) -> None:
    """Put an ID3v2.4 tag in front of an MP3's sound. Other frames of an earlier tag of that version stay.

    Parameters
    ----------
    frames : mapping
        ``TIT2`` title, ``TDRC`` date, ``COMM`` comment ...; an empty text takes a frame away.
    """
    with source.open("rb") as file, target.open("wb") as out:
        length, kept = _old_tag(file.read(10), file)
        body = b"".join(frame for name, frame in kept if name not in frames)
        body += b"".join(_frame(name, text) for name, text in frames.items() if text)
        out.write(b"ID3\x04\x00\x00" + _syncsafe(len(body)) + body)
        file.seek(length)
        while block := file.read(STEP):
            out.write(block)


def mp3_sound_at(path: Path) -> int:
    """Where an MP3's sound begins: after its leading tag."""
    with path.open("rb") as file:
        return _old_tag(file.read(10), file)[0]


def _old_tag(head: bytes, file) -> tuple[int, list[tuple[str, bytes]]]:
    if head[:3] != b"ID3":
        return 0, []
    length = _plain_number(head[6:10])
    body = file.read(length)
    whole = 10 + length + (10 if head[5] & 0x10 else 0)
    if head[3] != 4 or head[5] & 0xC0:
        return whole, []
    kept, at = [], 0
    while at + 10 <= len(body) and body[at : at + 1] != b"\0":
        size = _plain_number(body[at + 4 : at + 8])
        kept.append((body[at : at + 4].decode("latin-1"), body[at : at + 10 + size]))
        at += 10 + size
    return whole, kept


def _frame(name: str, text: str) -> bytes:
    words = text.encode("utf-8")
    body = b"\x03eng\0" + words if name == "COMM" else b"\x03" + words
    return name.encode("ascii") + _syncsafe(len(body)) + b"\0\0" + body


def _syncsafe(number: int) -> bytes:
    if number >= 1 << 28:
        raise CannotEdit("the tag is too long")
    return bytes(number >> shift & 0x7F for shift in (21, 14, 7, 0))


def _plain_number(data: bytes) -> int:
    return sum((byte & 0x7F) << shift for byte, shift in zip(data, (21, 14, 7, 0)))


def write_flac_tags(source: Path, target: Path, fields: Mapping[str, str]) -> None:
    """Write a FLAC file anew with these comment fields; fields of other names stay, the frames stay as they are."""
    with source.open("rb") as file, target.open("wb") as out:
        blocks, sound_at = _flac_blocks(file)
        kept: list[tuple[int, bytes]] = []
        old: list[bytes] = []
        for kind, body in blocks:
            if kind == COMMENTS:
                old = _fields(body)
            elif kind != PADDING:
                kept.append((kind, body))
        names = {name.upper() for name in fields}
        lines = [line for line in old if line.split(b"=", 1)[0].decode("ascii", "replace").upper() not in names]
        lines += [f"{name.upper()}={text}".encode() for name, text in fields.items() if text]
        comment = struct.pack("<I", len(VENDOR)) + VENDOR + struct.pack("<I", len(lines))
        comment += b"".join(struct.pack("<I", len(line)) + line for line in lines)
        if len(comment) > LARGEST_BLOCK:
            raise CannotEdit("the tag is too long")
        kept.insert(1, (COMMENTS, comment))
        out.write(b"fLaC")
        for number, (kind, body) in enumerate(kept):
            last = LAST if number == len(kept) - 1 else 0
            out.write(bytes([kind | last]) + len(body).to_bytes(3, "big") + body)
        file.seek(sound_at)
        while block := file.read(STEP):
            out.write(block)


def flac_sound_at(path: Path) -> int:
    """Where a FLAC file's frames begin."""
    with path.open("rb") as file:
        return _flac_blocks(file)[1]


def _flac_blocks(file) -> tuple[list[tuple[int, bytes]], int]:
    if file.read(4) != b"fLaC":
        raise CannotEdit("no FLAC head")
    blocks = []
    while len(head := file.read(4)) == 4:
        size = int.from_bytes(head[1:], "big")
        blocks.append((head[0] & 0x7F, file.read(size)))
        if head[0] & LAST:
            break
    return blocks, file.tell()


def _fields(body: bytes) -> list[bytes]:
    try:
        at = 4 + struct.unpack_from("<I", body)[0]
        count, at = struct.unpack_from("<I", body, at)[0], at + 4
        lines = []
        for _ in range(count):
            size = struct.unpack_from("<I", body, at)[0]
            lines.append(body[at + 4 : at + 4 + size])
            at += 4 + size
        return lines
    except struct.error:
        return []
