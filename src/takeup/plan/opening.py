"""The lab's week: when it is open, which station runs, and which gaps of a day are free. Pure; no clock.

Days are ``datetime.date``; times of day are whole minutes since midnight in the lab's own zone (1440 is midnight at the
day's end). A span ``(start, end)`` holds its start and not its end.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Span = tuple[int, int]
DAY_MINUTES = 1440  # of a day by the wall clock; the two days a year that are longer or shorter are planned like others


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """Opening hours by weekday (0 Monday to 6 Sunday), and the days on which the lab is closed all the same."""

    hours: Mapping[int, tuple[Span, ...]]
    closed: Collection[dt.date] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One station; stations of one ``kind`` are alike. ``down``: whole days on which it does not run."""

    id: str
    kind: str
    down: Collection[dt.date] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class BookingRules:
    """The lab's rules [minutes]; None where there is no limit."""

    step: int
    shortest: int
    longest: int
    per_visitor_per_day: int | None = 1
    turn_round: int = 0  # kept free at a station between two visits
    starts_per_step: int | None = None  # visits that begin in one step, over all stations


@dataclass(frozen=True, slots=True, kw_only=True)
class Lab:
    """What booking needs to know of the lab."""

    week: Week
    stations: tuple[Station, ...]
    rules: BookingRules

    def kind_of(self, station: str) -> str | None:
        return next((one.kind for one in self.stations if one.id == station), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Booking:
    """A visit at a station at a set time."""

    visitor: str
    station: str  # a station's id
    day: dt.date
    start: int
    end: int

    @property
    def minutes(self) -> int:
        return self.end - self.start


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Free time of one station: a visit may begin at ``start`` or later and must be over by ``end``."""

    station: str
    day: dt.date
    start: int
    end: int

    @property
    def minutes(self) -> int:
        return self.end - self.start


@dataclass(frozen=True, slots=True, kw_only=True)
class WhyNot:
    """Why a visit cannot be: a key of ``words/whys/`` and the facts that fill it."""

    key: str
    facts: Mapping[str, Any] = field(default_factory=dict)


def house_rules(rows: Mapping[str, Any]) -> BookingRules:
    """The rules as the tables have them, for a lab that has set none; ``rows`` is the section ``booking.rules``."""
    return BookingRules(
        step=rows["step_minutes"],
        shortest=rows["shortest_minutes"],
        longest=rows["longest_minutes"],
        per_visitor_per_day=rows["per_visitor_per_day"],
        turn_round=rows["turn_round_minutes"],
        starts_per_step=rows["starts_per_step"] or None,
    )


def open_spans(week: Week, day: dt.date) -> tuple[Span, ...]:
    """When the lab is open on a day, in order; hours that touch or overlap are one span.

    Examples
    --------
    >>> week = Week(hours={0: ((600, 720), (720, 840), (900, 960))}, closed={dt.date(2027, 3, 8)})
    >>> open_spans(week, dt.date(2027, 3, 1)), open_spans(week, dt.date(2027, 3, 8))
    (((600, 840), (900, 960)), ())
    """
    if day in week.closed:
        return ()
    joined: list[Span] = []
    for start, end in sorted(week.hours.get(day.weekday(), ())):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        elif end > start:
            joined.append((start, end))
    return tuple(joined)


def open_steps(week: Week, day: dt.date, step: int) -> tuple[int, ...]:
    """Where visits may begin on a day: every step from each opening on (a last part of a step is none).

    Examples
    --------
    >>> open_steps(Week(hours={0: ((600, 680),)}), dt.date(2027, 3, 1), 30)
    (600, 630)
    """
    return tuple(at for start, end in open_spans(week, day) for at in range(start, end - step + 1, step))


def step_begun(week: Week, day: dt.date, at: int, step: int) -> int:
    """The start of the step in which a minute lies; outside the hours, steps are counted from midnight."""
    start = next((start for start, end in open_spans(week, day) if start <= at < end), 0)
    return at - (at - start) % step


def starts_in(spans: Sequence[Span], within: Span, minutes: int, step: int) -> Iterator[int]:
    """Every start on the grid of ``spans`` at which so many minutes lie within one of them and within ``within``."""
    for start, end in spans:
        first = start + -(-max(0, within[0] - start) // step) * step
        yield from range(first, min(end, within[1]) - minutes + 1, step)


def runs(station: Station, day: dt.date) -> bool:
    return day not in station.down


def free_gaps(station: Station, day: dt.date, lab: Lab, bookings: Sequence[Booking]) -> tuple[Gap, ...]:
    """The station's free time of a day, in order.

    A gap ends the turn-round before the next visit and begins the turn-round after the last one, so that whatever
    lies within it keeps the rule. After closing nothing need be turned round.

    Parameters
    ----------
    bookings : sequence of Booking
        Of any stations and days; the station's own of that day are taken from it.
    """
    if not runs(station, day):
        return ()
    turn = lab.rules.turn_round
    taken = sorted((b.start, b.end) for b in bookings if b.station == station.id and b.day == day)
    gaps = []
    for start, end in open_spans(lab.week, day):
        at = start
        for begins, ends in taken:
            gaps.append((at, min(end, begins - turn)))
            at = max(at, ends + turn)
        gaps.append((at, end))
    return tuple(Gap(station=station.id, day=day, start=a, end=b) for a, b in gaps if a < b)


def days_from(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    """Every day from the first to the last, both included."""
    for count in range((last - first).days + 1):
        yield first + dt.timedelta(days=count)
