"""Books many visitors onto stations: the most minutes, then the most requests, then who asked earlier earlier. Pure.

What is exact, what is chosen and what is left open: docs/decisions/0068.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from takeup.plan.opening import Booking, Lab, WhyNot
from takeup.plan.schedule_choice import choose
from takeup.plan.schedule_limits import allowed, limits_of, own_promises
from takeup.plan.schedule_part import Wanted
from takeup.plan.schedule_places import Place, Pool, Request, places_of, pools_of
from takeup.plan.schedule_whys import why_left, why_never

LAST = dt.datetime.max
LONG = 1e9  # seconds: as long as it takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Unplaced:
    """A request that got no visit, and why."""

    request: Request
    why: WhyNot


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """The new visits by day and start; promised ones are where they were and not among them.

    ``best_possible``: proven that no more minutes and no more requests can be placed, and nobody who asked earlier can
    come earlier by an exchange or a move. ``order_proven``: nor by any other change (docs/decisions/0068).
    """

    bookings: tuple[Booking, ...]
    unplaced: tuple[Unplaced, ...]
    minutes_placed: int
    best_possible: bool
    order_proven: bool


def plan_schedule(
    requests: Sequence[Request],
    lab: Lab,
    first: dt.date,
    last: dt.date,
    *,
    promised: Sequence[Booking] = (),
    seconds_left: Callable[[], float] = lambda: LONG,
    order_seconds: float = LONG,
) -> Schedule:
    """Place as many minutes as can be, each request whole or not at all.

    Parameters
    ----------
    requests : sequence of Request
        Equal moments of asking count in the order of the list.
    lab : Lab
    first, last : date
        The period, both days included.
    promised : sequence of Booking
        Visits that stay where they are, in the period or not; those of a visitor who asks count for the rule of so
        many visits a day.
    seconds_left : callable
        How long the search may still take [s].
    order_seconds : float
        How much of that may go into proving the order of asking.

    Returns
    -------
    Schedule
    """
    pools = pools_of(lab, first, last, promised)
    own = own_promises(requests, promised)
    places: list[Place] = []
    never: dict[int, WhyNot] = {}
    for number, request in enumerate(requests):
        free = list(places_of(number, request, lab, pools.get(request.kind, ())))
        mine = [place for place in free if allowed(place, request, lab, own)]
        why = why_never(request, lab, (first, last), promised, free, mine)
        if why is None:
            places += mine
        else:
            never[number] = why
    limits = limits_of(places, requests, lab, promised)
    choice = choose(_wanted(requests, never, lab), places, limits, seconds_left, order_seconds)
    taken = [places[number] for number in choice.taken]
    left = sorted(set(range(len(requests))) - {place.request for place in taken} - set(never))
    whys = never | {number: why_left(number, requests, lab, places, taken, choice.proven) for number in left}
    return Schedule(
        bookings=name_stations(taken, requests, lab),
        unplaced=tuple(Unplaced(request=requests[number], why=whys[number]) for number in sorted(whys)),
        minutes_placed=sum(place.minutes for place in taken),
        best_possible=choice.proven,
        order_proven=choice.order_proven,
    )


def _wanted(requests: Sequence[Request], never: Iterable[int], lab: Lab) -> list[Wanted]:
    asked = sorted(range(len(requests)), key=lambda number: requests[number].asked or LAST)  # stable: the list's order
    shut = set(never)
    return [
        Wanted(number=number, minutes=requests[number].minutes, turn=turn, split=requests[number].minutes > longest)
        for longest in (lab.rules.longest,)
        for turn, number in enumerate(asked)
        if number not in shut
    ]


def name_stations(taken: Sequence[Place], requests: Sequence[Request], lab: Lab) -> tuple[Booking, ...]:
    """Give each place a station of its pool: the first that is free, in the order of the starts.

    A pool never has more visits at once than stations, so the first free one is always there.
    """
    until: dict[tuple[dt.date, str], int] = defaultdict(int)
    bookings = []
    for place in sorted(taken, key=lambda place: (place.day, place.start, place.end, place.request)):
        station = _first_free(place.pool, place.start, until)
        until[place.day, station] = place.end + lab.rules.turn_round
        visitor = requests[place.request].visitor
        bookings.append(
            Booking(visitor=visitor, station=station, day=place.day, start=place.start, end=place.end)
        )  # fmt: skip
    return tuple(bookings)


def _first_free(pool: Pool, start: int, until: dict[tuple[dt.date, str], int]) -> str:
    return next(station for station in pool.stations if until[pool.day, station] <= start)
