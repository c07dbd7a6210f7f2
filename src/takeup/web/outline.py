"""What the meters told of the captures that grow now, as a silhouette: kept while the desk runs, always small.

The steps of 100 ms are joined two by two whenever there are too many, so a capture of any length takes the same room.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any

COLUMNS = 480
STEP_S = 0.5  # of the first columns
MOST_CAPTURES = 64
LOUD_FROM, LOUD_SPAN = -60.0, 56.0  # dBFS drawn from nothing to full height, as on the thread


class Outlines:
    """The silhouettes of the newest captures. May be told from any thread."""

    def __init__(self) -> None:
        self.guard = threading.Lock()
        self.kept: OrderedDict[str, _Outline] = OrderedDict()

    def hear(self, facts: dict[str, Any]) -> None:
        """Take in a ``progress`` event; one without levels changes nothing."""
        capture, moments = str(facts.get("capture") or ""), list(facts.get("moments") or ())
        if not moments and facts.get("levels") and facts.get("seconds") is not None:
            moments = [[facts["seconds"], facts["levels"]]]
        if not capture:
            return
        with self.guard:
            outline = self.kept.setdefault(capture, _Outline())
            self.kept.move_to_end(capture)
            while len(self.kept) > MOST_CAPTURES:
                self.kept.popitem(last=False)
            outline.seconds = max(outline.seconds, float(facts.get("seconds") or 0.0))
            for seconds, levels in moments:
                outline.add(float(seconds), loudest(levels))

    def of(self, capture: str) -> tuple[float, list[float | None], float]:
        """Seconds of a column, heights 0 to 1 (None: nothing was told of it), seconds heard of so far."""
        with self.guard:
            outline = self.kept.get(capture)
            return (outline.step_s, list(outline.heights), outline.seconds) if outline else (STEP_S, [], 0.0)


class _Outline:
    def __init__(self) -> None:
        self.step_s, self.heights, self.seconds = STEP_S, [], 0.0  # type: float, list[float | None], float

    def add(self, seconds: float, level: float | None) -> None:
        if level is None or not 0 <= seconds < 1e6:
            return
        while seconds / self.step_s >= COLUMNS:
            pairs = [self.heights[at : at + 2] for at in range(0, len(self.heights), 2)]
            self.heights = [max((one for one in pair if one is not None), default=None) for pair in pairs]
            self.step_s *= 2
        at = int(seconds / self.step_s)
        self.heights += [None] * (at + 1 - len(self.heights))
        height = min(max((level - LOUD_FROM) / LOUD_SPAN, 0.0), 1.0)
        self.heights[at] = max(height, self.heights[at] or 0.0)


def loudest(levels: Any) -> float | None:
    """The louder channel of a moment [dBFS]; None where no sound was told."""
    if not isinstance(levels, dict):
        return None
    found = [levels.get(name) for name in ("left_dbfs", "right_dbfs", "peak_dbfs")]
    return max((float(one) for one in found if isinstance(one, (int, float))), default=None)
