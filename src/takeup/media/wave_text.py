"""Where text begins behind the samples of a file whose header does not say: LIST, bext and their kin.

A capture program that writes its text before it closes the header, or never closes it, leaves chunks that would be
heard as a burst of noise. They are told by their names: a chain of known chunks that reaches the end of the file.
"""

from __future__ import annotations

import struct
from typing import BinaryIO

NAMES = {
    "<": b"LIST bext iXML axml chna cart umid fact PEAK levl smpl inst plst acid id3  ID3  JUNK junk FLLR PAD  "
    b"DISP _PMX afsp MD5  SNDM minf elm1 regn ovwf cue  dbmd",
    ">": b"NAME AUTH ANNO COMT MARK INST APPL MIDI AESD (c)  ID3  CHAN PEAK bext FLLR",
}
LONGEST_BYTES = 1 << 20  # of text that is looked for; a longer one in random samples is not told from sound
NEVER_A_CHUNK = 128  # a tag of this length at the very end ("TAG" ...) is no chunk, and no sound either


def known_names(order: str) -> list[bytes]:
    """Four-letter names of the chunks that may follow samples; ``order`` is ``<`` or ``>``."""
    return [NAMES[order][at : at + 4] for at in range(0, len(NAMES[order]), 5)]


def text_behind(file: BinaryIO, size: int, start: int, order: str, until: int | None = None) -> int | None:
    """The first place at or after ``start`` where a chain of known chunks begins that reaches the end of the file.

    Parameters
    ----------
    file : binary file
        Of ``size`` bytes now; a last chunk may be still on its way.
    start, until : int
        Where to look; to the end unless told. Nothing farther than ``LONGEST_BYTES`` from the end counts.
    """
    start = max(start, size - LONGEST_BYTES)
    until = size if until is None else until
    if until <= start:
        return None
    file.seek(start)
    raw = file.read(until - start)
    places = set()
    for name in known_names(order):
        at = raw.find(name)
        while at >= 0:
            places.add(start + at)
            at = raw.find(name, at + 1)
    return next((place for place in sorted(places) if chain_ends(file, place, size, order)), None)


def chain_ends(file: BinaryIO, at: int, size: int, order: str) -> bool:
    """Whether chunks of plain names, the first of them here, fill the file to its end."""
    known = known_names(order)
    first = True
    while at + 8 <= size:
        file.seek(at)
        name, length = struct.unpack(order + "4sI", file.read(8))
        if name not in known and (first or not plain(name)):
            return False
        if length > LONGEST_BYTES:
            return False
        at += 8 + length + (length & 1)
        first = False
    return not first


def plain(name: bytes) -> bool:
    """Four printable letters, as every chunk's name is."""
    return len(name) == 4 and all(0x20 <= byte < 0x7F for byte in name)


def is_padding(file: BinaryIO, at: int, size: int) -> bool:
    """Whether what lies behind the stated samples is no more sound: chunks, filling, or a tag of another kind."""
    left = size - at
    if left <= 8:
        return True
    file.seek(at)
    begin = file.read(min(left, 1 << 16))
    if left == len(begin) and not any(begin):
        return True
    return begin[:3] == b"TAG" and left <= NEVER_A_CHUNK + 1
