"""One walk over a file of moving pictures: every picture and sound block once, a listener told now and then."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Protocol

from takeup.errors import Unreadable
from takeup.media.moving import Picture, Reading, SoundBlock, read_moving
from takeup.streams import CaptureFile, Finding, PictureStream
from takeup.tasks.checking import Asked, Heard

HEAR_EVERY_S = 0.1


class Walker(Protocol):
    """What a medium does with what comes: its measures take a step."""

    def picture(self, picture: Picture) -> None: ...

    def block(self, block: SoundBlock) -> None: ...

    def heard(self) -> Heard:
        """How far it is, for whoever listens."""
        ...


def picture_of(path: Path, capture: CaptureFile) -> PictureStream:
    """What the file says of its picture.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it has none.
    """
    if capture.picture is None:
        raise Unreadable("capture.broken", path=str(path), error="no picture track")
    return capture.picture


def walk_through(path: Path, capture: CaptureFile, asked: Asked, walker: Walker) -> Reading:
    """Read a file once, hand everything to the walker, tell the listener about ten times a second at most.

    Raises
    ------
    Unreadable
        ``capture.broken`` when not one picture can be decoded.
    """
    reading = read_moving(path, capture, idle_s=asked.idle_s)
    pictures, told = 0, 0.0
    for thing in reading:
        if isinstance(thing, Picture):
            walker.picture(thing)
            pictures += 1
        else:
            walker.block(thing)
        now = time.monotonic()
        if asked.hear is not None and pictures and now - told >= HEAR_EVERY_S:
            told = now
            asked.hear(walker.heard())
    if not pictures:
        raise Unreadable("capture.broken", path=str(path), error=reading.broken or "no picture could be decoded")
    return reading


def by_time(finding: Finding) -> float:
    """The order findings are told in: those of the whole file first."""
    return -1.0 if finding.from_s is None else finding.from_s
