"""Why a request got no visit, as a visitor may read it. Pure.

First what no plan could change, from the lab to the hours to the promises; then what this plan gave to others.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence

from takeup.plan.opening import Booking, Lab, Station, WhyNot, open_spans, runs
from takeup.plan.schedule_places import Place, Request, places_of, pools_of


def why_never(
    request: Request,
    lab: Lab,
    period: tuple[dt.date, dt.date],
    promised: Sequence[Booking],
    free: Sequence[Place],
    mine: Sequence[Place],
) -> WhyNot | None:
    """Why no plan could place a request beside the promised visits; None when one could.

    Parameters
    ----------
    free : sequence of Place
        The request's places beside the promised visits of others.
    mine : sequence of Place
        Those of ``free`` that keep the rules beside the visitor's own promised visits.
    """
    rules = lab.rules
    facts = {"minutes": request.minutes, "shortest": rules.shortest, "longest": rules.longest}
    kinds = [station for station in lab.stations if station.kind == request.kind]
    if not kinds:
        return WhyNot(key="schedule.no-station", facts=facts | {"kind": request.kind})
    if request.minutes < rules.shortest:
        return WhyNot(key="schedule.too-short", facts=facts)
    if reachable(request.minutes, mine):
        return None
    if not request.can:
        return WhyNot(key="schedule.no-times", facts=facts)
    split = request.minutes > rules.longest
    facts |= {"parts": -(-request.minutes // rules.longest)}
    ends = "-split" if split else ""
    if reachable(request.minutes, free):
        return WhyNot(key="schedule.own-day", facts=facts)
    first, last = period
    inside = [window for window in request.can if first <= window.day <= last]
    if not inside:
        return WhyNot(key="schedule.outside-period", facts=facts | {"first": first, "last": last})
    longest = {window.day: 0 for window in inside}
    for window in inside:
        longest[window.day] = max(longest[window.day], min(window.end - window.start, rules.longest))
    if not _adds_up(request.minutes, longest.values(), rules.shortest):
        return WhyNot(key=f"schedule.windows-short{ends}", facts=facts)
    always = tuple(Station(id=station.id, kind=station.kind) for station in kinds)
    running = Lab(week=lab.week, stations=always, rules=rules)
    if not reachable(request.minutes, _places(request, running, period)):
        shut = all(not open_spans(lab.week, window.day) for window in inside)
        return WhyNot(key=f"schedule.{'closed' if shut else 'hours'}{ends}", facts=facts)
    if not reachable(request.minutes, _places(request, lab, period)):
        down = all(not runs(station, window.day) for window in inside for station in kinds)
        return WhyNot(key="schedule.down" if down else "schedule.partly-down", facts=facts)
    return WhyNot(key="schedule.promised", facts=facts)


def _places(request: Request, lab: Lab, period: tuple[dt.date, dt.date]) -> list[Place]:
    pools = pools_of(lab, period[0], period[1], ())
    return list(places_of(0, request, lab, pools.get(request.kind, ())))


def reachable(minutes: int, places: Sequence[Place]) -> bool:
    """Whether places on different days add up to all of a request."""
    by_day: dict[dt.date, set[int]] = defaultdict(set)
    for place in places:
        by_day[place.day].add(place.minutes)
    sums = {0}
    for lengths in by_day.values():
        sums |= {total + one for total in sums for one in lengths if total + one <= minutes}
        if minutes in sums:
            return True
    return False


def _adds_up(minutes: int, longest: Iterable[int], shortest: int) -> bool:
    """The same, roughly, where only the longest of each day is known."""
    return sum(one for one in longest if one >= min(shortest, minutes)) >= minutes


def why_left(
    number: int, requests: Sequence[Request], lab: Lab, places: Sequence[Place], taken: Sequence[Place], proven: bool
) -> WhyNot:
    """Why a request that could have been placed was not: what stands where it could have been."""
    request = requests[number]
    facts = {"minutes": request.minutes, "parts": -(-request.minutes // lab.rules.longest)}
    if not proven:
        return WhyNot(key="schedule.not-found", facts=facts)
    mine = [place for place in places if place.request == number]
    own = [place for place in taken if requests[place.request].visitor == request.visitor]
    most = lab.rules.per_visitor_per_day
    apart = [place for place in mine if _beside(place, own, most)]
    if not reachable(request.minutes, apart):
        return WhyNot(key="schedule.own-day", facts=facts)
    if lab.rules.starts_per_step is not None and reachable(
        request.minutes, [place for place in apart if _room(place, taken, lab)]
    ):
        return WhyNot(key="schedule.starts", facts=facts | {"starts": lab.rules.starts_per_step})
    return WhyNot(key=f"schedule.full{'-split' if request.minutes > lab.rules.longest else ''}", facts=facts)


def _beside(place: Place, own: Sequence[Place], most: int | None) -> bool:
    there = [other for other in own if other.day == place.day]
    return (most is None or len(there) < most) and all(
        place.end <= other.start or other.end <= place.start for other in there
    )


def _room(place: Place, taken: Sequence[Place], lab: Lab) -> bool:
    """Whether a station is free for a place, starts in the same step left aside."""
    turn = lab.rules.turn_round
    beside = [o for o in taken if o.pool == place.pool and o.start < place.end + turn and place.start < o.end + turn]
    most = 0
    for at in {place.start, *(other.start for other in beside)}:
        most = max(most, sum(other.start <= at < other.end + turn for other in beside))
    return most < len(place.pool.stations)
