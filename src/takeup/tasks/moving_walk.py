"""One walk over a file of moving pictures: every picture and sound block once, a listener told now and then."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from takeup.errors import Unreadable
from takeup.media.moving import Picture, Reading, SoundBlock, read_moving
from takeup.streams import CaptureFile, Finding, PictureStream
from takeup.tasks.checking import Asked, Heard
from takeup.tasks.moving_lanes import Lane, reading_ahead

HEAR_EVERY_S = 0.1


class Walker(Protocol):
    """What a medium does with what comes: its measures take a step."""

    def picture(self, picture: Picture) -> None: ...

    def block(self, block: SoundBlock) -> None: ...

    def heard(self, faults_s: Sequence[float]) -> Heard:
        """How far it is, for whoever listens; ``faults_s`` tells where the file did not decode so far."""
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
    ahead, ears = reading_ahead(reading), _Ears(walker)
    pictures, told = 0, 0.0
    try:
        for thing in ahead:
            if isinstance(thing, Picture):
                walker.picture(thing)
                pictures += 1
            else:
                ears.hear(thing)
            now = time.monotonic()
            if asked.hear is not None and pictures and now - told >= HEAR_EVERY_S:
                told = now
                with ears.quiet:
                    moment = walker.heard(reading.faults)
                asked.hear(moment)
        ears.finish()
    finally:
        ahead.stop()
        ears.lane.stop()
    if not pictures:
        raise Unreadable("capture.broken", path=str(path), error=reading.broken or "no picture could be decoded")
    return reading


class _Ears:
    """Sound is heard beside the pictures, in its own order; ``quiet`` is held while it is not being heard."""

    def __init__(self, walker: Walker) -> None:
        self.walker = walker
        self.lane = Lane()
        self.quiet = threading.Lock()
        self.fault: BaseException | None = None
        self.thread = threading.Thread(target=self._work, daemon=True, name="ears")
        self.thread.start()

    def hear(self, block: SoundBlock) -> None:
        """Hand over one block; a fault of an earlier one is raised here."""
        if not self.lane.put(block, block.samples.nbytes):
            self.finish()

    def finish(self) -> None:
        """Wait until everything has been heard."""
        self.lane.close()
        self.thread.join()
        if self.fault is not None:
            raise self.fault

    def _work(self) -> None:
        try:
            for block in self.lane:
                with self.quiet:
                    self.walker.block(block)
        except BaseException as fault:  # raised where the walk is
            self.fault = fault
            self.lane.stop()


def by_time(finding: Finding) -> float:
    """The order findings are told in: those of the whole file first."""
    return -1.0 if finding.from_s is None else finding.from_s
