"""Chooses among places: most minutes, then most requests, then who asked earlier earlier. Pure.

Requests that share no limit are chosen apart, each group by an exact solver (``schedule_part``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from takeup.plan.schedule_limits import Limit
from takeup.plan.schedule_part import Part, Wanted
from takeup.plan.schedule_places import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Numbers of the places taken; whether more minutes or requests are proven impossible; the order likewise."""

    taken: tuple[int, ...]
    proven: bool
    order_proven: bool


def choose(
    wanted: Sequence[Wanted],
    places: Sequence[Place],
    limits: Sequence[Limit],
    seconds_left: Callable[[], float],
    order_seconds: float,
) -> Choice:
    """The best choice of places.

    Parameters
    ----------
    seconds_left : callable
        How long the search may still take [s]; a pure room has no clock of its own.
    order_seconds : float
        How much of that the order of asking may take, once the minutes and the requests are found.

    Returns
    -------
    Choice
        When time runs out: the best found so far. It keeps every limit in any case.
    """
    parts = list(_apart(wanted, places, limits))
    for part in parts:
        part.fill(seconds_left())
    begun = seconds_left()
    for part in parts:
        part.order(lambda: min(seconds_left(), order_seconds - (begun - seconds_left())))
    return Choice(
        taken=tuple(sorted(number for part in parts for number in part.taken())),
        proven=all(part.proven for part in parts),
        order_proven=all(part.proven and part.order_proven for part in parts),
    )


def _apart(wanted: Sequence[Wanted], places: Sequence[Place], limits: Sequence[Limit]) -> Iterator[Part]:
    """Requests in groups that share no limit."""
    leader = {one.number: one.number for one in wanted}

    def lead(number: int) -> int:
        while leader[number] != number:
            leader[number] = leader[leader[number]]
            number = leader[number]
        return number

    for limit in limits:
        first = lead(places[limit.places[0]].request)
        for number in limit.places:
            leader[lead(places[number].request)] = first
    groups: dict[int, list[Wanted]] = defaultdict(list)
    for one in wanted:
        groups[lead(one.number)].append(one)
    own: dict[int, list[int]] = defaultdict(list)
    for number, place in enumerate(places):
        own[lead(place.request)].append(number)
    shared: dict[int, list[Limit]] = defaultdict(list)
    for limit in limits:
        shared[lead(places[limit.places[0]].request)].append(limit)
    for head, group in groups.items():
        if own[head]:
            yield Part(group, own[head], places, shared[head])
