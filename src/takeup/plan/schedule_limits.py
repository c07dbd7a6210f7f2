"""The lab's rules as limits over places: of these places at most so many may be taken together. Pure."""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from takeup.plan.opening import Booking, Lab, step_begun
from takeup.plan.schedule_places import Place, Request

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Of the places with these numbers at most ``most`` are taken."""

    places: tuple[int, ...]
    most: int


def own_promises(requests: Sequence[Request], promised: Sequence[Booking]) -> dict[tuple[str, dt.date], list[Booking]]:
    """The promised visits of those who ask, by visitor and day."""
    asking = {request.visitor for request in requests}
    own: dict[tuple[str, dt.date], list[Booking]] = defaultdict(list)
    for booking in promised:
        if booking.visitor in asking:
            own[booking.visitor, booking.day].append(booking)
    return own


def limits_of(
    places: Sequence[Place], requests: Sequence[Request], lab: Lab, promised: Sequence[Booking]
) -> list[Limit]:
    """All limits but those of one request with itself; a limit that cannot be passed is left out."""
    found = [
        *_stations(places, lab),
        *_days(places, requests, lab, promised),
        *_two_at_once(places, requests, lab),
        *_starts(places, lab, promised),
    ]
    return [limit for limit in found if len(limit.places) > limit.most]


def allowed(place: Place, request: Request, lab: Lab, own: dict[tuple[str, dt.date], list[Booking]]) -> bool:
    """Whether a place keeps the rules beside the visitor's own promised visits."""
    there = own.get((request.visitor, place.day), ())
    most = lab.rules.per_visitor_per_day
    if most is not None and len(there) >= most:
        return False
    return all(place.end <= other.start or other.end <= place.start for other in there)


def _grouped(keys: Iterable[Key]) -> dict[Key, list[int]]:
    groups: dict[Key, list[int]] = defaultdict(list)
    for number, key in enumerate(keys):
        groups[key].append(number)
    return groups


def _stations(places: Sequence[Place], lab: Lab) -> Iterator[Limit]:
    """A pool has so many stations; most visits at once are always met at the start of one of them."""
    turn = lab.rules.turn_round
    for numbers in _grouped(id(place.pool) for place in places).values():
        for at in sorted({places[n].start for n in numbers}):
            there = tuple(n for n in numbers if places[n].start <= at < places[n].end + turn)
            yield Limit(places=there, most=len(places[numbers[0]].pool.stations))


def _days(
    places: Sequence[Place], requests: Sequence[Request], lab: Lab, promised: Sequence[Booking]
) -> Iterator[Limit]:
    """So many visits a visitor and day; the parts of one request never two on a day."""
    most = lab.rules.per_visitor_per_day
    own = own_promises(requests, promised)
    if most is not None:
        by_visitor = _grouped((requests[place.request].visitor, place.day) for place in places)
        for (visitor, day), numbers in by_visitor.items():
            yield Limit(places=tuple(numbers), most=max(0, most - len(own.get((visitor, day), ()))))
    if most != 1:
        for numbers in _grouped((place.request, place.day) for place in places).values():
            yield Limit(places=tuple(numbers), most=1)


def _two_at_once(places: Sequence[Place], requests: Sequence[Request], lab: Lab) -> Iterator[Limit]:
    """Nobody is at two stations at once, where a visitor may come to several on a day."""
    if lab.rules.per_visitor_per_day == 1:
        return
    several = {name for name, count in Counter(request.visitor for request in requests).items() if count > 1}
    groups = _grouped((requests[place.request].visitor, place.day) for place in places)
    for (visitor, _), numbers in groups.items():
        if visitor in several:
            for at in sorted({places[n].start for n in numbers}):
                yield Limit(places=tuple(n for n in numbers if places[n].start <= at < places[n].end), most=1)


def _starts(places: Sequence[Place], lab: Lab, promised: Sequence[Booking]) -> Iterator[Limit]:
    """So many visits begin in one step, over all stations; promised ones count."""
    most = lab.rules.starts_per_step
    if most is None:
        return

    def step(day: dt.date, at: int) -> Hashable:
        return day, step_begun(lab.week, day, at, lab.rules.step)

    begun = Counter(step(booking.day, booking.start) for booking in promised)
    for key, numbers in _grouped(step(place.day, place.start) for place in places).items():
        yield Limit(places=tuple(numbers), most=max(0, most - begun[key]))
