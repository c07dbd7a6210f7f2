"""The chunks of a WAVE file that say what it is: ``bext`` (EBU Tech 3285 version 2) and ``LIST`` / ``INFO``."""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

NOT_SET = 0x7FFF  # a loudness field that says nothing
FARTHEST = 9999  # hundredths: what lies outside +-99.99 is not set (from memory of EBU Tech 3285 version 2)
ANALOGUE = "A=ANALOGUE"  # how a line of the coding history that tells of the tape begins
FIXED_BYTES = 602
LAYOUT = struct.Struct("<256s32s32s10s8sIIH64s5h180x")  # without the coding history, which takes the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Bext:
    """The fields of a ``bext`` chunk. Loudness in LUFS, LU and dBTP; None where it is not set. Text is ASCII."""

    description: str = ""
    originator: str = ""
    originator_reference: str = ""
    origination_date: str = ""  # yyyy-mm-dd
    origination_time: str = ""  # hh-mm-ss
    time_reference: int = 0  # samples since midnight
    version: int = 2
    umid: bytes = b""
    loudness: float | None = None
    loudness_range: float | None = None
    max_true_peak: float | None = None
    max_momentary: float | None = None
    max_short_term: float | None = None
    coding_history: str = ""

    def pack(self) -> bytes:
        """The chunk's body."""
        texts = (
            self.description,
            self.originator,
            self.originator_reference,
            self.origination_date,
            self.origination_time,
        )
        loudness = (self.loudness, self.loudness_range, self.max_true_peak, self.max_momentary, self.max_short_term)
        fixed = LAYOUT.pack(
            *(plain(text) for text in texts),
            self.time_reference & 0xFFFFFFFF,
            self.time_reference >> 32,
            self.version,
            self.umid,
            *(_hundredths(value) for value in loudness),
        )
        return fixed + plain(self.coding_history)


def _hundredths(value: float | None) -> int:
    hundredths = NOT_SET if value is None else round(100 * value)
    return hundredths if abs(hundredths) <= FARTHEST else NOT_SET


def continued_history(own: str, ours: str) -> str:
    """A coding history with our lines after those of the station; a step that it tells already is not told twice.

    Examples
    --------
    >>> continued_history("A=ANALOGUE,T=deck 2", "A=ANALOGUE,T=cassette\\r\\nA=PCM,F=96000\\r\\n")
    'A=ANALOGUE,T=deck 2\\r\\nA=PCM,F=96000\\r\\n'
    """
    told = [line for line in own.replace("\0", "").splitlines() if line.strip()]
    played = any(line.upper().startswith(ANALOGUE) for line in told)
    for line in ours.splitlines():
        if line not in told and not (played and line.startswith(ANALOGUE)):
            told.append(line)
    return "".join(f"{line}\r\n" for line in told)


def unpack_bext(body: bytes) -> Bext:
    """Read a chunk's body; one that is too short gives what is there."""
    fields = LAYOUT.unpack(body[:FIXED_BYTES].ljust(FIXED_BYTES, b"\0"))
    texts = [_text(field) for field in fields[:5]]
    version = fields[7]
    loudness = [None if version < 2 or value == NOT_SET else value / 100 for value in fields[9:]]
    return Bext(
        description=texts[0],
        originator=texts[1],
        originator_reference=texts[2],
        origination_date=texts[3],
        origination_time=texts[4],
        time_reference=fields[5] | fields[6] << 32,
        version=version,
        umid=fields[8] if version >= 1 else b"",
        loudness=loudness[0],
        loudness_range=loudness[1],
        max_true_peak=loudness[2],
        max_momentary=loudness[3],
        max_short_term=loudness[4],
        coding_history=_text(body[FIXED_BYTES:]),
    )


def plain(text: str) -> bytes:
    """Text as ASCII: accents are taken off, other signs stand as ``?``.

    Examples
    --------
    >>> plain("Café, 外婆")
    b'Cafe, ??'
    """
    apart = unicodedata.normalize("NFKD", text)
    return "".join(sign for sign in apart if not unicodedata.combining(sign)).encode("ascii", "replace")


def is_plain(text: str) -> bool:
    """Whether ASCII can hold a text, accents taken off."""
    return text.count("?") == plain(text).count(b"?")


def bext_description(name: str, title: str, description: str) -> str:
    """A ``bext`` description: the file's name, then what of title and description ASCII can hold."""
    words = ". ".join(text.rstrip(".") for text in (title, description) if text and is_plain(text))
    return f"{name}: {words}" if words else name


def pack_info(tags: Mapping[str, str]) -> bytes:
    """The body of a ``LIST`` chunk of type INFO, in UTF-8: ``INAM`` title, ``ICMT`` comment, ``ICRD`` date ..."""
    body = b"INFO"
    for name, text in tags.items():
        data = text.encode("utf-8") + b"\0"
        body += name.encode("ascii") + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
    return body


def unpack_info(body: bytes) -> dict[str, str]:
    """Read the body of a ``LIST`` chunk; empty when it is not of type INFO."""
    tags: dict[str, str] = {}
    at = 4
    while body[:4] == b"INFO" and at + 8 <= len(body):
        name, size = struct.unpack_from("<4sI", body, at)
        tags[name.decode("ascii", "replace")] = _text(body[at + 8 : at + 8 + size])
        at += 8 + size + size % 2
    return tags


def _text(field: bytes) -> str:
    return field.split(b"\0", 1)[0].decode("utf-8", "replace")
