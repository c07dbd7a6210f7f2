"""What a check is asked, and what it tells while it runs: the words between ``check``, ``follow`` and each medium."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from takeup.judge.sound_notice import Notice
from takeup.streams import NO_FACTS, Finding, Original


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A moment of a check in progress. ``findings`` are only those that no later second can undo."""

    seconds: float  # of the capture, so far
    total_s: float | None = None
    levels: Mapping[str, Any] = field(
        default_factory=lambda: NO_FACTS
    )  # for meters: {"left_dbfs": ..., "right_dbfs": ..., "left_peak_dbfs": ..., "peak_dbfs": ...}
    findings: tuple[Finding, ...] = ()
    moments: tuple[tuple[float, Mapping[str, Any]], ...] | None = None
    """Seconds and levels of each 100 ms since the last time; None where only ``levels`` of now are known."""
    figures: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)  # of what came so far, by names of measures
    notice: Notice | None = None  # to say now; may have vanished the next time


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the person, the box and the lab know of the capture that is being checked."""

    original: Original  # its carrier, and what else is known of the item
    mains_hz: int = 50  # the lab's own
    recorded_mains_hz: int | None = None  # where the tape was recorded
    stills: int = 0  # how many small pictures to keep for drawing
    idle_s: float | None = None  # set when the file may still grow: it is whole after so long without growth [s]
    hear: Callable[[Heard], None] | None = None  # called between blocks, about ten times a second of wall time at most
