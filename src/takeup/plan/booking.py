"""One visit at a time: may it be booked, what fits now, who of the waiting list fits a gap, who did not come. Pure.

The moment asked about is always given: nothing here knows what time it is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, replace

from takeup.plan.opening import (
    Booking,
    Gap,
    Lab,
    Station,
    WhyNot,
    days_from,
    free_gaps,
    open_spans,
    open_steps,
    runs,
    starts_in,
    step_begun,
)
from takeup.plan.schedule_places import Window

LAST = dt.datetime.max


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A visit somebody would like. ``station`` None: any station of the kind; ``visitor`` empty: not known yet."""

    kind: str
    day: dt.date
    start: int
    minutes: int
    visitor: str = ""
    station: str | None = None

    @property
    def end(self) -> int:
        return self.start + self.minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A place on the waiting list. ``id``: the caller's own. ``can`` empty: whenever the lab is open."""

    id: Hashable
    visitor: str
    kind: str
    minutes: int
    can: tuple[Window, ...] = ()
    asked: dt.datetime | None = None


def why_not(wish: Wish, lab: Lab, bookings: Sequence[Booking]) -> tuple[WhyNot, ...]:
    """Every reason why a visit may not be booked; none when it may.

    Parameters
    ----------
    wish : Wish
    lab : Lab
    bookings : sequence of Booking
        All visits of that day that stand (cancelled ones and no-shows left out); of other days they do no harm. When a
        visit is moved, the caller leaves the visit itself out.

    Returns
    -------
    tuple of WhyNot
        Keys of ``words/whys/``: ``booking.no-station``, ``.too-short``, ``.too-long``, ``.closed``, ``.outside-hours``,
        ``.off-grid``, ``.down``, ``.taken``, ``.own-day``, ``.own-time``, ``.starts``.
    """
    return (*_of_the_lab(wish, lab), *_of_the_stations(wish, lab, bookings), *_of_the_day(wish, lab, bookings))


def _of_the_lab(wish: Wish, lab: Lab) -> Iterator[WhyNot]:
    rules = lab.rules
    length = {"minutes": wish.minutes, "shortest": rules.shortest, "longest": rules.longest}
    if wish.minutes < rules.shortest:
        yield WhyNot(key="booking.too-short", facts=length)
    if wish.minutes > rules.longest:
        yield WhyNot(key="booking.too-long", facts=length)
    spans = open_spans(lab.week, wish.day)
    if not spans:
        yield WhyNot(key="booking.closed", facts={"day": wish.day})
    elif not any(start <= wish.start and wish.end <= end for start, end in spans):
        facts = {"day": wish.day, "opens_at": spans[0][0], "closes_at": spans[-1][1]}
        yield WhyNot(key="booking.outside-hours" if len(spans) == 1 else "booking.outside-hours-parts", facts=facts)
    elif step_begun(lab.week, wish.day, wish.start, rules.step) != wish.start:
        earlier = step_begun(lab.week, wish.day, wish.start, rules.step)
        facts = {"step": rules.step, "earlier_at": earlier, "later_at": earlier + rules.step}
        yield WhyNot(key="booking.off-grid", facts=facts)


def _of_the_stations(wish: Wish, lab: Lab, bookings: Sequence[Booking]) -> Iterator[WhyNot]:
    asked = _stations(wish.kind, wish.station, lab)
    running = [station for station in asked if runs(station, wish.day)]
    if not asked:
        yield WhyNot(key="booking.no-station", facts={"kind": wish.kind})
    elif not running:
        yield WhyNot(key="booking.down", facts={"day": wish.day, "kind": wish.kind})
    elif all(_disturbed(station, wish, lab, bookings) for station in running):
        yield WhyNot(key="booking.taken", facts={"kind": wish.kind, "turn": lab.rules.turn_round})


def _of_the_day(wish: Wish, lab: Lab, bookings: Sequence[Booking]) -> Iterator[WhyNot]:
    rules = lab.rules
    there = [booking for booking in bookings if booking.day == wish.day]
    own = [booking for booking in there if wish.visitor and booking.visitor == wish.visitor]
    if rules.per_visitor_per_day is not None and len(own) >= rules.per_visitor_per_day:
        first = min(own, key=lambda booking: booking.start)
        facts = {"station": first.station, "start_at": first.start, "most": rules.per_visitor_per_day}
        yield WhyNot(key="booking.own-day", facts=facts)
    elif any(booking.start < wish.end and wish.start < booking.end for booking in own):
        yield WhyNot(key="booking.own-time", facts={"start_at": wish.start})
    if rules.starts_per_step is not None:
        step = step_begun(lab.week, wish.day, wish.start, rules.step)
        begun = sum(step_begun(lab.week, wish.day, booking.start, rules.step) == step for booking in there)
        if begun >= rules.starts_per_step:
            yield WhyNot(key="booking.starts", facts={"starts": rules.starts_per_step, "start_at": step})


def _stations(kind: str, name: str | None, lab: Lab) -> list[Station]:
    return [one for one in lab.stations if one.kind == kind and name in (None, one.id)]


def _disturbed(station: Station, wish: Wish, lab: Lab, bookings: Sequence[Booking]) -> bool:
    """Whether another visit, with its turn-round, stands in the way; hours are another matter."""
    turn = lab.rules.turn_round
    there = [other for other in bookings if other.station == station.id and other.day == wish.day]
    return any(other.start < wish.end + turn and wish.start < other.end + turn for other in there)


def stations_free(wish: Wish, lab: Lab, bookings: Sequence[Booking]) -> tuple[str, ...]:
    """The stations that could take a visit, that which leaves the least time unused first; none when it may not be."""
    if why_not(wish, lab, bookings):
        return ()
    free = []
    for station in _stations(wish.kind, wish.station, lab):
        for gap in free_gaps(station, wish.day, lab, bookings):
            if gap.start <= wish.start and wish.end <= gap.end:
                free.append((gap.minutes, station.id))
    return tuple(name for _, name in sorted(free))


def what_fits(
    kind: str,
    minutes: int,
    lab: Lab,
    bookings: Sequence[Booking],
    since: tuple[dt.date, int],
    *,
    days: int,
    most: int,
    visitor: str = "",
) -> tuple[Gap, ...]:
    """The earliest starts for a walk-in, over all stations of a kind: one for each free stretch of each station.

    Parameters
    ----------
    since : (date, minute)
        Nothing before this is offered. A start at this very minute is.
    days : int
        How many days are looked through, that of ``since`` included (row ``booking.walk_in.days``).
    most : int
        As many are told (row ``booking.walk_in.offered``).
    visitor : str
        When known, the visitor's own visits are minded.

    Returns
    -------
    tuple of Gap
        By day, start, station. ``start`` is where the visit may begin; ``end`` until when it could go on (at most the
        longest visit), so at least ``minutes`` later.
    """
    first, minute = since
    found: list[Gap] = []
    for day in days_from(first, first + dt.timedelta(days=days - 1)):
        today = [booking for booking in bookings if booking.day == day]
        earliest = minute if day == first else 0
        for station in _stations(kind, None, lab):
            for gap in free_gaps(station, day, lab, today):
                wish = Wish(kind=kind, day=day, start=earliest, minutes=minutes, visitor=visitor, station=station.id)
                found += _first_start(gap, wish, lab, today)
        if len(found) >= most:
            break
    return tuple(sorted(found, key=lambda gap: (gap.day, gap.start, gap.station))[:most])


def _first_start(gap: Gap, wish: Wish, lab: Lab, today: Sequence[Booking]) -> list[Gap]:
    """The first start in a gap that keeps every rule, as the gap that is left from it on."""
    within = (max(gap.start, wish.start), gap.end)
    for start in starts_in(open_spans(lab.week, gap.day), within, wish.minutes, lab.rules.step):
        at = replace(wish, start=start)
        if not why_not(at, lab, today):
            end = min(gap.end, start + lab.rules.longest)
            return [Gap(station=gap.station, day=gap.day, start=start, end=end)]
    return []


def who_fits(
    gap: Gap, waiting: Sequence[Waiting], lab: Lab, bookings: Sequence[Booking]
) -> tuple[tuple[Waiting, Wish], ...]:
    """Who of the waiting list could come into a gap, the earliest asked first, each with the earliest visit for them.

    Equal moments keep the order of the list; whoever's moment is not known comes last. Each is weighed alone: the
    caller offers the gap to the first, and asks again when it was taken.
    """
    fitting = []
    for one in sorted(waiting, key=lambda one: one.asked or LAST):
        if one.kind == lab.kind_of(gap.station):
            wish = _first_for(one, gap, lab, bookings)
            if wish is not None:
                fitting.append((one, wish))
    return tuple(fitting)


def _first_for(one: Waiting, gap: Gap, lab: Lab, bookings: Sequence[Booking]) -> Wish | None:
    windows = [(window.start, window.end) for window in one.can if window.day == gap.day]
    spans = open_spans(lab.week, gap.day)
    starts = sorted(
        start
        for begins, ends in (windows if one.can else [(gap.start, gap.end)])
        for start in starts_in(spans, (max(begins, gap.start), min(ends, gap.end)), one.minutes, lab.rules.step)
    )
    for start in starts:
        wish = Wish(
            kind=one.kind, day=gap.day, start=start, minutes=one.minutes, visitor=one.visitor, station=gap.station
        )  # fmt: skip
        if not why_not(wish, lab, bookings):
            return wish
    return None


def is_no_show(booking: Booking, day: dt.date, minute: int, after_minutes: int) -> bool:
    """Whether nobody came in time, by the lab's rule (row ``booking.no_show.after_minutes``).

    For a visit to which nobody has come yet. Exactly so many minutes after the start is still in time.

    Examples
    --------
    >>> visit = Booking(visitor="v", station="film-1", day=dt.date(2027, 3, 1), start=600, end=720)
    >>> [is_no_show(visit, visit.day, at, 15) for at in (599, 615, 616)], is_no_show(visit, dt.date(2027, 3, 2), 0, 15)
    ([False, False, True], True)
    """
    return day > booking.day or (day == booking.day and minute > booking.start + after_minutes)


def gap_left(booking: Booking, day: dt.date, minute: int, lab: Lab, bookings: Sequence[Booking]) -> Gap | None:
    """The free time at a station that a no-show or cancelled visit leaves, from the next step on; None when none.

    Parameters
    ----------
    booking : Booking
        The visit that will not be.
    day, minute : date, int
        The moment.
    bookings : sequence of Booking
        The visits that stand; ``booking`` itself is left out of them.
    """
    standing = [other for other in bookings if other != booking]
    station = next((one for one in lab.stations if one.id == booking.station), None)
    if station is None or day > booking.day:
        return None
    now = minute if day == booking.day else 0
    for gap in free_gaps(station, booking.day, lab, standing):
        if gap.start < booking.end and booking.start < gap.end:
            steps = open_steps(lab.week, booking.day, lab.rules.step)
            start = next((at for at in steps if at >= max(now, gap.start)), gap.end)
            if start < gap.end:
                return Gap(station=gap.station, day=gap.day, start=start, end=gap.end)
    return None
