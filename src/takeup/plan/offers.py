"""The free starts to offer on the telephone: every one that ``plan.booking`` allows, the earliest first. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterator, Sequence

from takeup.plan.booking import Wish, stations_free
from takeup.plan.opening import Booking, Lab, days_from, open_steps

WHOLE_DAY = (0, 1440)


def free_starts(
    lab: Lab,
    bookings: Sequence[Booking],
    wish: Wish,
    last: dt.date,
    *,
    between: tuple[int, int] = WHOLE_DAY,
    weekdays: Collection[int] = (),
) -> Iterator[Booking]:
    """Where a visit could begin, by day and start; at one moment each station that is free.

    Parameters
    ----------
    wish : Wish
        Nothing before its day and start is offered; a start at that very minute is.
    last : date
        The last day that is looked at.
    between : (int, int)
        The time of day within which the visit must lie.
    weekdays : collection of int
        0 Monday to 6 Sunday; empty: all.

    Examples
    --------
    >>> from takeup.plan.opening import BookingRules, Station, Week
    >>> rules = BookingRules(step=30, shortest=60, longest=240)
    >>> lab = Lab(week=Week(hours={0: ((600, 720),)}), stations=(Station(id="film-1", kind="film"),), rules=rules)
    >>> monday = dt.date(2027, 3, 1)
    >>> wish = Wish(kind="film", day=monday, start=610, minutes=60)
    >>> [(one.station, one.start) for one in free_starts(lab, (), wish, monday)]
    [('film-1', 630), ('film-1', 660)]
    """
    for day in days_from(wish.day, last):
        if weekdays and day.weekday() not in weekdays:
            continue
        there = [booking for booking in bookings if booking.day == day]
        earliest = max(between[0], wish.start if day == wish.day else 0)
        for start in open_steps(lab.week, day, lab.rules.step):
            if start < earliest or start + wish.minutes > between[1]:
                continue
            one = Wish(
                kind=wish.kind, day=day, start=start, minutes=wish.minutes, visitor=wish.visitor, station=wish.station
            )
            for station in stations_free(one, lab, there):
                yield Booking(visitor=wish.visitor, station=station, day=day, start=start, end=one.end)
