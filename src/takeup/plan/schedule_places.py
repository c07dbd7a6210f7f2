"""Every place a request could take: which day, which start, which like stations. Pure.

Stations of one kind are counted, not named (docs/decisions/0068): those whose free gaps of a day are the same form a
pool with so many places, and a visit is given its station by name only at the end. A station with a promised visit has
gaps of its own and is so counted apart: counting it with the others could promise a visit that no one station has room
for.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from takeup.plan.opening import Booking, Gap, Lab, Span, days_from, free_gaps, open_spans, starts_in


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """When a visitor can come: from the one minute to the other on a day."""

    day: dt.date
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A wish for so many minutes at a kind of station. ``asked`` None: after everybody whose moment is known."""

    visitor: str
    kind: str
    minutes: int
    can: tuple[Window, ...]
    asked: dt.datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """Stations of one kind with the same free gaps on a day."""

    day: dt.date
    stations: tuple[str, ...]
    gaps: tuple[Span, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One visit that could be: which request, where, from when to when."""

    request: int  # its number in the list
    pool: Pool = field(repr=False)
    start: int
    end: int

    @property
    def day(self) -> dt.date:
        return self.pool.day

    @property
    def minutes(self) -> int:
        return self.end - self.start


def pools_of(lab: Lab, first: dt.date, last: dt.date, promised: Sequence[Booking]) -> dict[str, list[Pool]]:
    """The pools of each kind over a period, day by day; days without a free gap have none."""
    on_day: dict[tuple[str, dt.date], list[Booking]] = defaultdict(list)
    for booking in promised:
        on_day[booking.station, booking.day].append(booking)
    pools: dict[str, list[Pool]] = defaultdict(list)
    for day in days_from(first, last):
        alike: dict[tuple[str, tuple[Span, ...]], list[str]] = defaultdict(list)
        for station in lab.stations:
            gaps: tuple[Gap, ...] = free_gaps(station, day, lab, on_day[station.id, day])
            if gaps:
                alike[station.kind, tuple((gap.start, gap.end) for gap in gaps)].append(station.id)
        for (kind, spans), stations in alike.items():
            pools[kind].append(Pool(day=day, stations=tuple(stations), gaps=spans))
    return pools


def part_lengths(minutes: int, lab: Lab) -> tuple[int, ...]:
    """How long one visit of a request may be: all of it, or when it is longer than the longest, any part of it.

    Parts go by whole steps, so that one part at most has an odd length; the shortest and the longest visit count too.
    """
    rules = lab.rules
    if minutes <= rules.longest:
        return (minutes,) if minutes >= rules.shortest else ()
    odd = {0, minutes % rules.step, rules.longest % rules.step, (minutes - rules.longest) % rules.step}
    lengths = range(rules.shortest, rules.longest + 1)
    return tuple(n for n in lengths if n % rules.step in odd or n == rules.shortest)


def places_of(number: int, request: Request, lab: Lab, pools: Sequence[Pool]) -> Iterator[Place]:
    """Every place of a request in the pools of its kind, without regard to anybody else."""
    windows: dict[dt.date, list[Span]] = defaultdict(list)
    for window in request.can:
        windows[window.day].append((window.start, window.end))
    lengths = part_lengths(request.minutes, lab)
    for pool in pools:
        spans = open_spans(lab.week, pool.day) if pool.day in windows else ()
        found = {
            (start, start + minutes)
            for begins, ends in windows.get(pool.day, ())
            for free, until in pool.gaps
            for minutes in lengths
            for start in starts_in(spans, (max(begins, free), min(ends, until)), minutes, lab.rules.step)
        }
        for start, end in sorted(found):
            yield Place(request=number, pool=pool, start=start, end=end)
