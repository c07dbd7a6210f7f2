"""What the meters told of the captures that grow now, as silhouettes: in memory only, the stations have them too."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any

from takeup.plan.outline import STEP_S, Outline

MOST_CAPTURES = 64


class Outlines:
    """The silhouettes of the newest captures. May be told from any thread."""

    def __init__(self) -> None:
        self.guard = threading.Lock()
        self.kept: OrderedDict[str, Outline] = OrderedDict()

    def hear(self, facts: dict[str, Any]) -> None:
        """Take in a ``progress`` event; one without levels changes nothing."""
        moments = list(facts.get("moments") or ())
        if not moments and facts.get("levels") and facts.get("seconds") is not None:
            moments = [[facts["seconds"], facts["levels"]]]
        with self.guard:
            if (outline := self._of(facts)) is not None:
                outline.hear(facts.get("seconds") or 0.0, moments)

    def take_up(self, facts: dict[str, Any], told: Any) -> None:
        """What the station kept while the desk was away, or from before it was started again."""
        with self.guard:
            if (outline := self._of(facts)) is not None:
                outline.take_up(told)

    def begin(self, capture: str) -> None:
        """It is followed from its beginning again."""
        with self.guard:
            self.kept.pop(capture, None)

    def of(self, capture: str) -> tuple[float, list[float | None], float]:
        """Seconds of a column, heights 0 to 1 (None: nothing was told of it), seconds heard of so far."""
        with self.guard:
            outline = self.kept.get(capture)
            return (outline.step_s, list(outline.heights), outline.seconds) if outline else (STEP_S, [], 0.0)

    def _of(self, facts: dict[str, Any]) -> Outline | None:
        capture = str(facts.get("capture") or "")
        if not capture:
            return None
        outline = self.kept.setdefault(capture, Outline())
        self.kept.move_to_end(capture)
        while len(self.kept) > MOST_CAPTURES:
            self.kept.popitem(last=False)
        return outline
