"""The blocks in which a JPEG's APP13 segment holds its older records: a mark, a number, a name, a length, data.

The layout is that of the published image resource blocks (mark ``8BIM``; 1028 holds IIM records, 1061 their MD5).
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

NAME = b"Photoshop 3.0\0"  # how the segment is told from other uses of APP13: the format's own word
MARK = b"8BIM"
RECORDS, RECORDS_MD5 = 1028, 1061
Block = tuple[int, bytes, bytes]  # number, name as stored, data


def read_blocks(body: bytes) -> Sequence[Block] | None:
    """The blocks of a segment's body, its name included; None where they cannot be told apart to the end."""
    found: list[Block] = []
    at = len(NAME)
    while at < len(body):
        if body[at : at + 4] != MARK or at + 12 > len(body):
            return None
        number = struct.unpack_from(">H", body, at + 4)[0]
        named = 1 + body[at + 6]
        named += named % 2
        data_at = at + 6 + named + 4
        if data_at > len(body):
            return None
        length = struct.unpack_from(">I", body, data_at - 4)[0]
        if data_at + length > len(body):
            return None
        found.append((number, body[at + 6 : at + 6 + named], body[data_at : data_at + length]))
        at = data_at + length + length % 2
    return found


def write_blocks(blocks: Sequence[Block]) -> bytes:
    """A segment's body."""
    parts = [NAME]
    for number, name, data in blocks:
        parts.append(MARK + struct.pack(">H", number) + name + struct.pack(">I", len(data)) + data)
        parts.append(b"\0" * (len(data) % 2))
    return b"".join(parts)


def records_of(blocks: Sequence[Block]) -> bytes:
    """The IIM records among blocks; empty when there are none."""
    return next((data for number, _, data in blocks if number == RECORDS), b"")


def with_records(blocks: Sequence[Block], records: bytes) -> Sequence[Block]:
    """The blocks with other records, and without a digest of the former ones."""
    kept = [one for one in blocks if one[0] not in (RECORDS, RECORDS_MD5)]
    return [(RECORDS, b"\0\0", records), *kept] if records else kept
