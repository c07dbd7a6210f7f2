"""The silhouette of a capture that grows, from its meters: always small. Pure.

The steps are joined two by two whenever there are too many, so a capture of any length takes the same room. A station
keeps one beside its check and tells it to a desk that was away; the desk keeps one for its pages.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeGuard

COLUMNS = 480
STEP_S = 0.5  # of the first columns
LOUD_FROM, LOUD_SPAN = -60.0, 56.0  # dBFS drawn from nothing to full height, as on the thread
FINEST = 200  # a height travels as a whole number up to this
LONGEST_S = 1e6


class Outline:
    """Heights 0 to 1 of columns of ``step_s``; None: nothing was told of it, which is no silence."""

    def __init__(self) -> None:
        self.step_s, self.heights, self.seconds = STEP_S, [], 0.0  # type: float, list[float | None], float

    def hear(self, seconds: Any, moments: Any) -> None:
        """Take in how far it is, and moments: pairs of seconds and levels; nonsense is passed over."""
        if _is_number(seconds):
            self.seconds = max(self.seconds, min(float(seconds), LONGEST_S))
        for moment in moments:
            if isinstance(moment, (list, tuple)) and len(moment) == 2 and _is_number(moment[0]):
                self.add(float(moment[0]), loudest(moment[1]))

    def add(self, seconds: float, level: float | None) -> None:
        """One moment's level [dBFS]."""
        if level is not None:
            self._put(seconds, min(max((level - LOUD_FROM) / LOUD_SPAN, 0.0), 1.0))

    def take_up(self, told: Any) -> None:
        """Join what another one knows (``as_told``) to what is known here; nonsense is passed over."""
        if not isinstance(told, Mapping):
            return
        step_s, heights, seconds = told.get("step_s"), told.get("heights"), told.get("seconds")
        if not _is_number(step_s) or not STEP_S <= step_s < LONGEST_S or not isinstance(heights, list):
            return
        if _is_number(seconds) and 0 <= seconds < LONGEST_S:
            self.seconds = max(self.seconds, float(seconds))
        for at, height in enumerate(heights[:COLUMNS]):
            if _is_number(height):
                self._put((at + 0.5) * step_s, min(max(height / FINEST, 0.0), 1.0))

    def as_told(self) -> dict[str, Any]:
        """What travels: less than 2.5 kB for any length."""
        heights = [None if one is None else round(one * FINEST) for one in self.heights]
        return {"step_s": self.step_s, "heights": heights, "seconds": round(self.seconds, 1)}

    def _put(self, seconds: float, height: float) -> None:
        if not 0 <= seconds < LONGEST_S:
            return
        while seconds / self.step_s >= COLUMNS:
            pairs = [self.heights[at : at + 2] for at in range(0, len(self.heights), 2)]
            self.heights = [max((one for one in pair if one is not None), default=None) for pair in pairs]
            self.step_s *= 2
        at = int(seconds / self.step_s)
        self.heights += [None] * (at + 1 - len(self.heights))
        self.heights[at] = max(height, self.heights[at] or 0.0)


def outline_of_trace(level: bytes, step_s: float) -> Outline:
    """The silhouette of a capture that has ended, from the trace of its report (one byte a step: dBFS + 100)."""
    made = Outline()
    each = max(1, int(STEP_S / step_s)) if step_s > 0 else 1
    for at in range(0, len(level), each):
        made.add(at * step_s, max(level[at : at + each]) - 100.0)
    made.seconds = len(level) * step_s
    return made


def loudest(levels: Any) -> float | None:
    """The louder channel of a moment [dBFS]; None where no sound was told."""
    if not isinstance(levels, dict):
        return None
    found = [levels.get(name) for name in ("left_dbfs", "right_dbfs", "peak_dbfs")]
    return max((float(one) for one in found if _is_number(one)), default=None)


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and value == value  # noqa: PLR0124
