"""Judges lost pictures, one place after another as they come: for the finished file and a growing one alike."""

from __future__ import annotations

from dataclasses import dataclass, replace

from takeup.streams import Finding
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Between two pictures others are missing: from the end of the one to the beginning of the other."""

    from_s: float
    to_s: float
    missing: int


class RunningLost:
    """Places near each other are told together. Later ones lengthen what was told last and take nothing back."""

    def __init__(self, rows: Rows, *, silent: bool) -> None:
        """``silent``: they are read from leaps in a steady movement, not from time stamps."""
        self.limits, self.silent = rows.section("video.lost"), silent
        self.last_s = 0.0
        self.missing = 0
        self.told: list[Finding] = []

    def add(self, place: Place) -> None:
        """Take the next place in the order of time."""
        self.missing += place.missing
        many = len(self.told) >= self.limits["most_told"]
        near_s = self.limits["join_later_s" if many else "apart_s"]
        if self.told and place.to_s - self.last_s <= near_s:
            self.told[-1] = self._longer(self.told[-1], place)
        else:
            self.told.append(self._first(place))
        self.last_s = place.to_s

    def _first(self, place: Place) -> Finding:
        leaps = ("video.silent.whole_share", "video.silent.spreads") if self.silent else ()
        from_s = round(place.from_s, 3)
        return Finding(
            name="frames_lost",
            verdict="look",
            again="may help",
            from_s=from_s,
            to_s=max(from_s, round(place.to_s, 3)),
            value=place.missing,
            unit="pictures",
            facts={"places": 1},
            rows=("video.lost.redo_per_minute", "video.lost.redo_pictures", *leaps),
        )

    def _longer(self, told: Finding, place: Place) -> Finding:
        places, value = int(told.facts["places"]) + 1, int(told.value or 0) + place.missing
        to_s = max(told.to_s or 0.0, round(place.to_s, 3))
        return replace(told, to_s=to_s, value=value, facts={"places": places})


def is_often(missing: int, seconds: float, rows: Rows) -> bool:
    """Whether so many are missing in so long a capture that it should be captured again."""
    often = missing / max(seconds / 60, 1.0) >= rows.value("video.lost.redo_per_minute")
    return bool(often and missing >= rows.value("video.lost.redo_pictures"))
