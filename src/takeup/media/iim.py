"""Who, when, where for readers that know only the older records: IPTC Information Interchange Model 4, in UTF-8.

The fields are those that IPTC Photo Metadata 2021.1 names as the same as its XMP properties; each has a longest length
in bytes (IIM 4.2, chapter 6), so a long text ends early here and stands whole in the XMP packet.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence

from takeup.plan.tagging import Tags

TITLE, KEYWORD, DAY, SCANNED_DAY, SCANNED_TIME, CREATOR, PLACE, RIGHTS, CAPTION = 5, 25, 55, 62, 63, 80, 92, 116, 120
MOST = {TITLE: 64, KEYWORD: 64, CREATOR: 32, PLACE: 32, RIGHTS: 128, CAPTION: 2000}
ENVELOPE, APPLICATION, CHARACTERS = 1, 2, 90
OURS = (0, *MOST, DAY, SCANNED_DAY, SCANNED_TIME)
UTF8 = (ENVELOPE, CHARACTERS, b"\x1b%G")  # 1:90, ISO 2022's escape to UTF-8
VERSION = (APPLICATION, 0, b"\x00\x04")
MARK, LONGEST = 0x1C, 0x7FFF
HEAD = struct.Struct(">BBBH")
Record = tuple[int, int, bytes]  # record, field, text as stored


def iim_records(tags: Tags, digitised: str = "", standing: bytes = b"") -> bytes:
    """The records of a picture; none where nothing is told.

    Parameters
    ----------
    digitised : str
        When it was scanned, ISO 8601.
    standing : bytes
        Records that the file has already. Fields that are not ours are kept where their letters can be told.
    """
    ours = [*_texts(tags), *_moments(tags, digitised)]
    before = read_records(standing)
    told = UTF8 in before
    kept = [one for one in before if one[0] == APPLICATION and one[1] not in OURS and (told or one[2].isascii())]
    if not ours and not kept:
        return b""
    records = [UTF8, VERSION, *((APPLICATION, field, data) for field, data in ours), *kept]
    return b"".join(HEAD.pack(MARK, record, field, len(data)) + data for record, field, data in records)


def read_records(data: bytes) -> Sequence[Record]:
    """All records as far as they can be read; fields longer than 32 kB end the reading."""
    found: list[Record] = []
    at = 0
    while at + HEAD.size <= len(data):
        mark, record, field, length = HEAD.unpack_from(data, at)
        if mark != MARK or length > LONGEST or at + HEAD.size + length > len(data):
            break
        at += HEAD.size + length
        found.append((record, field, data[at - length : at]))
    return found


def _texts(tags: Tags) -> Iterator[tuple[int, bytes]]:
    texts = [(TITLE, tags.title), *((KEYWORD, word) for word in tags.keywords), (CREATOR, tags.creator)]
    for field, text in (*texts, (PLACE, tags.place), (RIGHTS, tags.rights), (CAPTION, tags.description)):
        if text:
            # cut at a whole letter
            yield field, text.encode()[: MOST[field]].decode(errors="ignore").encode()


def _moments(tags: Tags, digitised: str) -> Iterator[tuple[int, bytes]]:
    """Days as 19740714, times as 080000+0000: only what is sure to the day."""
    if (day := tags.exact_day) is not None:
        yield DAY, f"{day.year:04d}{day.month:02d}{day.day:02d}".encode()
    date, _, time = digitised.partition("T")
    if len(date) == 10 and len(time) >= 8:
        yield SCANNED_DAY, date.replace("-", "").encode()
        if len(time) == 14:  # with its zone
            yield SCANNED_TIME, time.replace(":", "").encode()
