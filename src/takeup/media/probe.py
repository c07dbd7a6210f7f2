"""What a file is, told by its first bytes and never by its name."""

from __future__ import annotations

import importlib
import stat
from pathlib import Path

from takeup.errors import Unreadable
from takeup.streams import CaptureFile

HEAD = 4096
READERS = {"sound": "sound", "moving": "moving", "still": "still"}  # imported late: each drags in its library


def look_at(path: Path) -> CaptureFile:
    """Say what a capture file is, reading only its head (and index, where it has one).

    Raises
    ------
    Unreadable
        ``capture.not-there``, ``capture.empty``, ``capture.not-a-file`` (a folder), ``capture.not-kept`` (a pipe or
        device: it cannot be read again), ``capture.unknown``: not one of the formats that stations write; or a reader's
        own fault when the format is known and the file is broken.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        raise Unreadable("capture.not-there", path=str(path)) from error
    except OSError as error:
        raise Unreadable("capture.cannot-open", path=str(path), error=error.strerror or str(error)) from error
    if stat.S_ISDIR(mode):
        raise Unreadable("capture.not-a-file", path=str(path))
    if not stat.S_ISREG(mode):
        raise Unreadable("capture.not-kept", path=str(path))
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
    except OSError as error:
        raise Unreadable("capture.cannot-open", path=str(path), error=error.strerror or str(error)) from error
    if not head:
        raise Unreadable("capture.empty", path=str(path))
    family = family_of(head)
    if reader := READERS.get(family or ""):
        return getattr(importlib.import_module(f"takeup.media.{reader}"), f"look_at_{reader}")(path)
    raise Unreadable("capture.unknown", path=str(path))


def family_of(head: bytes) -> str | None:
    """``sound``, ``moving``, ``still`` or None, from a file's first bytes.

    MP4 and its kin are ``moving`` here even when they hold sound alone: their reader looks at the tracks.
    """
    if head[:4] in (b"RIFF", b"RF64", b"BW64") and head[8:12] == b"WAVE":
        return "sound"
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return "sound"
    if head[:4] == b"fLaC" or head[:3] == b"ID3" or _mpeg_sound(head):
        return "sound"
    if head[:4] == b"RIFF" and head[8:12] == b"AVI ":
        return "moving"
    if head[:4] == b"\x1aE\xdf\xa3":
        return "moving"
    if head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"):
        return "moving"
    if head[:3] == b"\x1f\x07\x00" and len(head) >= 80:
        return "moving"  # a raw DV stream begins with a header block of section type 0
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") or head[:3] == b"\xff\xd8\xff":
        return "still"
    if head[:8] == b"\x89PNG\r\n\x1a\n" or b"%PDF-" in head[:1024]:
        return "still"
    return None


def _mpeg_sound(head: bytes) -> bool:
    """An MPEG audio frame header at the very start, with no reserved value in it."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return False
    version, layer, rate, sampling = head[1] >> 3 & 3, head[1] >> 1 & 3, head[2] >> 4, head[2] >> 2 & 3
    return version != 1 and layer == 1 and rate not in (0, 15) and sampling != 3
