"""Puts originals into visits: as many into one as stay under the lab's longest, a longer one in parts. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from takeup.plan.minutes import Busy, Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One original, or one part of a long one, as it lies in a visit."""

    item: str
    time: Spread
    part: int = 1
    parts: int = 1


@dataclass(slots=True, kw_only=True)
class Visit:
    """One booked slot at a station, and the time all its stretches take together."""

    station: str
    stretches: list[Stretch] = field(default_factory=list)
    time: Spread = field(default_factory=Spread)
    minutes: int = 0

    def take(self, stretch: Stretch) -> None:
        self.stretches.append(stretch)
        self.time = self.time + stretch.time


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRules:
    """The lab's grid [minutes], and how many deviations make nine in ten."""

    step: int
    longest: int
    nine_in_ten: float

    def booked(self, time: Spread) -> int:
        """The minutes to book for a sum: its nine-in-ten figure, rounded up to the step."""
        return math.ceil(round(time.safe(self.nine_in_ten) / self.step, 9)) * self.step

    def fits(self, time: Spread) -> bool:
        return self.booked(time) <= self.longest


def plan_visits(busy: Sequence[tuple[str, str, Busy]], rules: VisitRules) -> list[Visit]:
    """Fill visits station by station, in the order of the list (the owner's wish): first visit in which it still fits.

    Parameters
    ----------
    busy : sequence of (item, station, Busy)
    rules : VisitRules

    Returns
    -------
    list of Visit
        None longer than the longest; ``minutes`` is the nine-in-ten figure of the visit's SUM, rounded up.
    """
    visits: list[Visit] = []
    open_at: dict[str, list[Visit]] = {}  # visits that are not booked to the last step yet
    for item, station, one in busy:
        still_open = open_at.setdefault(station, [])
        for stretch in divide(item, one, rules):
            into = next((visit for visit in still_open if _takes(visit, stretch, rules)), None)
            if into is None:
                into = Visit(station=station)
                visits.append(into)
                still_open.append(into)
            into.take(stretch)
            into.minutes = rules.booked(into.time)
            if into.minutes >= rules.longest:
                still_open.remove(into)
    return visits


def _takes(visit: Visit, stretch: Stretch, rules: VisitRules) -> bool:
    return rules.fits(visit.time + stretch.time) and all(stretch.item != other.item for other in visit.stretches)


def divide(item: str, busy: Busy, rules: VisitRules) -> list[Stretch]:
    """The original whole when it fits one visit, else in the fewest equal parts that do; each part is set up anew."""
    parts = 1
    while not rules.fits(busy.setup + busy.run.share(parts)):
        parts += 1
        if rules.fits(Spread()) and not rules.fits(busy.setup):
            raise ValueError("the set-up alone is longer than the longest visit")
    time = busy.setup + busy.run.share(parts)
    return [Stretch(item=item, time=time, part=part, parts=parts) for part in range(1, parts + 1)]
