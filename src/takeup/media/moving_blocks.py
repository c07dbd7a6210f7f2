"""Damage that no decoder and no reader of containers complains of: what DV blocks, AVI chunks and JPEG scans tell.

DV has no checksums, but each of its 80-byte blocks says what it is: damaged stretches are found by that.

Where blocks of what kind lie in a sequence of 150 is fixed by the format: one of the header, two of subcode, three of
auxiliary data, then nine times one of sound and fifteen of picture. The decoder does not look at it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

BLOCK, SEQUENCE = 80, 150
CHUNK_HEAD = 8  # bytes: name and size
SCAN, LAST = b"\xff\xda", b"\xff\xd9"  # ITU-T T.81: start of scan, end of image
HOLE = bytes(512)  # a sector of a disk
HEADER, SUBCODE, AUXILIARY, SOUND, PICTURE = range(5)  # the three highest bits of a block's first byte


def _order() -> tuple[np.ndarray, np.ndarray]:
    """Kind and number of every block of a sequence."""
    found = [(HEADER, 0), (SUBCODE, 0), (SUBCODE, 1), *((AUXILIARY, number) for number in range(3))]
    for part in range(9):
        found += [(SOUND, part), *((PICTURE, 15 * part + number) for number in range(15))]
    kinds, numbers = np.array(found, np.uint8).T
    return kinds, numbers


KINDS, NUMBERS = _order()


def blocks_are_damaged(packet: Any) -> bool:
    """Whether blocks of a DV picture are not what must lie there.

    Where more than half of them are not, their marks mean something else and nothing is said.

    Parameters
    ----------
    packet : bytes-like
        one picture as it lies in the file
    """
    data = np.frombuffer(packet, np.uint8)
    if not len(data) or len(data) % (BLOCK * SEQUENCE):
        return False
    blocks = data.reshape(-1, SEQUENCE, BLOCK)
    wrong = int(((blocks[:, :, 0] >> 5 != KINDS) | (blocks[:, :, 2] != NUMBERS)).sum())
    return 0 < wrong <= blocks.shape[0] * SEQUENCE // 2


def scan_has_a_hole(packet: Any) -> bool:
    """Whether zeros lie in the coded part of a JPEG picture: bytes that a disk never wrote.

    The decoder takes them for codes. What stands behind the picture's end may be zeros: cards filled up with them.
    """
    data = bytes(packet)
    begin, end = data.find(SCAN), data.rfind(LAST)
    return 0 <= begin < end and data.find(HOLE, begin, end) >= 0


def chunk_is_damaged(path: Path, end: int, begin: int) -> bool:
    """Whether what lies between two packets of an AVI is no chunk of any kind: its head was overwritten.

    Parameters
    ----------
    path : Path
        the file
    end, begin : int
        byte after the packet before, and first byte of the next one's data
    """
    if begin - end <= CHUNK_HEAD + 1:
        return False
    with path.open("rb") as file:
        file.seek(end)
        head = file.read(CHUNK_HEAD)
    return not any(_is_chunk(head[at : at + 4]) for at in (0, 1))


def _is_chunk(name: bytes) -> bool:
    return name in (b"JUNK", b"LIST", b"RIFF", b"idx1") or name[:2] == b"ix" or name[:2].isdigit()
