"""Chooses among places with an exact solver: most minutes, then most requests, then who asked earlier earlier. Pure.

One binary unknown a place; one more for each request that is split (its parts add up to all of it or to nothing).
Requests that share no limit are chosen apart. The order is found request by request in the order of asking: each as
early as the best minutes, the most requests and everybody before it allow (docs/decisions/0068).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from takeup.plan.schedule_limits import Limit
from takeup.plan.schedule_places import Place

AT_ONCE = 20_000  # requests are put in order together while their costs stay far from the solver's tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Numbers of the places taken, and whether nothing better exists."""

    taken: tuple[int, ...]
    proven: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One request as the choice sees it. ``turn``: its place in the order of asking."""

    number: int
    minutes: int
    turn: int
    split: bool


def choose(
    wanted: Sequence[Wanted], places: Sequence[Place], limits: Sequence[Limit], seconds_left: Callable[[], float]
) -> Choice:
    """The best choice of places.

    Parameters
    ----------
    seconds_left : callable
        How long the search may still take [s]; a pure room has no clock of its own.

    Returns
    -------
    Choice
        When time runs out: the best found so far, ``proven`` False. It keeps every limit in any case.
    """
    taken: list[int] = []
    proven = True
    for part in _apart(wanted, places, limits):
        found, sure = part.best(seconds_left)
        taken += found
        proven &= sure
    return Choice(taken=tuple(sorted(taken)), proven=proven)


def _apart(wanted: Sequence[Wanted], places: Sequence[Place], limits: Sequence[Limit]) -> Iterator[_Part]:
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
            yield _Part(group, own[head], places, shared[head])


class _Part:
    """Requests that touch each other, as a table of whole numbers for the solver."""

    def __init__(
        self, group: Sequence[Wanted], numbers: Sequence[int], places: Sequence[Place], limits: Sequence[Limit]
    ) -> None:
        self.numbers = list(numbers)
        self.group = sorted((one for one in group), key=lambda one: one.turn)
        self.split = [one for one in self.group if one.split]
        self.columns: dict[int, list[int]] = defaultdict(list)
        for column, number in enumerate(self.numbers):
            self.columns[places[number].request].append(column)
        self.whole = {one.number: len(numbers) + at for at, one in enumerate(self.split)}
        self.size = len(numbers) + len(self.split)
        self.starts = np.array([places[n].day.toordinal() * 1440 + places[n].start for n in self.numbers])
        self.lengths = np.array([places[n].minutes for n in self.numbers])
        self._table(limits)

    def _table(self, limits: Sequence[Limit]) -> None:
        column = {number: at for at, number in enumerate(self.numbers)}
        rows: list[tuple[dict[int, int], float, float]] = [
            (dict.fromkeys((column[n] for n in limit.places), 1), -np.inf, limit.most) for limit in limits
        ]
        for one in self.group:
            own = self.columns[one.number]
            if one.split:
                parts = {at: int(self.lengths[at]) for at in own}
                rows.append((parts | {self.whole[one.number]: -one.minutes}, 0, 0))
            else:
                rows.append((dict.fromkeys(own, 1), -np.inf, 1))
        self.low = np.array([low for _, low, _ in rows])
        self.high = np.array([high for _, _, high in rows])
        self.entries = (
            np.array([at for at, (row, _, _) in enumerate(rows) for _ in row]),
            np.array([at for row, _, _ in rows for at in row]),
            np.array([value for row, _, _ in rows for value in row.values()], dtype=float),
        )

    def placed(self, one: Wanted) -> np.ndarray:
        """1 on the unknowns whose sum says whether a request is placed."""
        row = np.zeros(self.size)
        row[self.whole[one.number] if one.split else self.columns[one.number]] = 1
        return row

    def best(self, seconds_left: Callable[[], float]) -> tuple[list[int], bool]:
        from scipy.sparse import csr_array

        rows, columns, values = self.entries
        self.matrix = csr_array((values, (rows, columns)), shape=(len(self.low), self.size))
        self.fixed_low, self.fixed_high = np.zeros(self.size), np.ones(self.size)
        unit = math.gcd(*(one.minutes for one in self.group))  # small whole numbers are far from any tolerance
        worth = np.zeros(self.size)
        for one in self.group:
            worth += self.placed(one) * (one.minutes // unit * (len(self.group) + 1) + 1)
        self.worth, self.least = worth, -np.inf
        self.held: list[tuple[np.ndarray, float]] = []
        chosen, proven = self.solve(-worth, seconds_left())
        if chosen is None:
            return [], False
        if proven:
            self.least = float(worth @ chosen)
            chosen, proven = self.order(chosen, seconds_left)
        return [self.numbers[at] for at in np.flatnonzero(chosen[: len(self.numbers)])], proven

    def solve(self, cost: np.ndarray, seconds: float) -> tuple[np.ndarray | None, bool]:
        """The cheapest choice under all limits, and whether it is proven; None where none was found in time."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        if seconds <= 0:
            return None, False
        limits = [LinearConstraint(self.matrix, self.low, self.high)]
        if np.isfinite(self.least):
            limits.append(LinearConstraint(self.worth[None, :], self.least - 0.5, np.inf))
        if self.held:
            values = np.array([value for _, value in self.held])
            limits.append(LinearConstraint(csr_array(np.array([row for row, _ in self.held])), values, values))
        found = milp(
            cost,
            integrality=np.ones(self.size),
            bounds=Bounds(self.fixed_low, self.fixed_high),
            constraints=limits,
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None, False
        chosen = np.round(found.x)
        sums = self.matrix @ chosen
        if np.any(sums < self.low) or np.any(sums > self.high):  # the solver's tolerance let something through
            return None, False
        return chosen, found.status == 0

    def order(self, chosen: np.ndarray, seconds_left: Callable[[], float]) -> tuple[np.ndarray, bool]:
        """Who asked earlier comes earlier, one after another, a few in one solve."""
        waiting: list[tuple[Wanted, np.ndarray, int]] = []
        span = 1
        for one in self.group:
            cost, most = self.cost(one)
            if waiting and span * (most + 1) > AT_ONCE:
                chosen, sure = self.settle(waiting, chosen, seconds_left)
                if not sure:
                    return chosen, False
                waiting, span = [], 1
            waiting.append((one, cost, most))
            span *= most + 1
        return self.settle(waiting, chosen, seconds_left)

    def cost(self, one: Wanted) -> tuple[np.ndarray, int]:
        """How late a request comes: 0 at its first possible start, one more for each later one, most when unplaced.

        A split request counts each visit anew, so that fewer visits come before earlier ones. The cost is given less
        a constant, so that it is a sum over what is taken; with it the span of its values.
        """
        own = self.columns[one.number]
        cost = np.zeros(self.size)
        if not one.split:
            different, rank = np.unique(self.starts[own], return_inverse=True)
            cost[own] = rank - different.size
            return cost, different.size
        after = self.starts[own] - self.starts[own].min()
        after //= max(1, int(np.gcd.reduce(after)))
        each = int(after.max()) + 1
        parts = one.minutes // int(self.lengths[own].min())
        cost[own] = each * parts + after
        most = each * parts * (parts + 1)
        cost[self.whole[one.number]] = -most
        return cost, most

    def settle(
        self, waiting: Sequence[tuple[Wanted, np.ndarray, int]], chosen: np.ndarray, seconds_left: Callable[[], float]
    ) -> tuple[np.ndarray, bool]:
        """Put a few requests as early as can be, the first of them first, and hold them there."""
        total, weight = np.zeros(self.size), 1
        for _, cost, most in reversed(waiting):
            total += weight * cost
            weight *= most + 1
        if not self.earliest(waiting, chosen):
            found, proven = self.solve(total, seconds_left())
            if found is None or not proven:
                better = found is not None and total @ found <= total @ chosen
                return (found if better and found is not None else chosen), False
            chosen = found
        for one, cost, _ in waiting:
            self.hold(one, cost, chosen)
        return chosen, True

    def hold(self, one: Wanted, cost: np.ndarray, chosen: np.ndarray) -> None:
        """Hold a request as early as it is now, not where it is: another station or other parts may suit the next."""
        own = np.array(self.columns[one.number], dtype=int)
        if one.split:
            self.held.append((cost, float(cost @ chosen)))
            return
        there = own[chosen[own] > 0]
        same = own[cost[own] == cost[there[0]]] if there.size else there
        self.fixed_high[np.setdiff1d(own, same)] = 0
        if same.size == 1:
            self.fixed_low[same] = 1
        elif same.size:
            row = np.zeros(self.size)
            row[same] = 1
            self.held.append((row, 1.0))

    def earliest(self, waiting: Sequence[tuple[Wanted, np.ndarray, int]], chosen: np.ndarray) -> bool:
        """Whether they already stand at the earliest start that those held so far leave them."""
        room = self.high - self.matrix @ self.fixed_low
        for one, cost, _ in waiting:
            own = np.array(self.columns[one.number], dtype=int)
            if one.split:
                return False
            if not own.size:
                continue
            there = own[chosen[own] > 0]
            block = self.matrix[:, own].tocoo()
            shut = np.zeros(own.size, dtype=bool)
            shut[block.col[block.data > room[block.row]]] = True
            if not there.size:
                if not shut.all():
                    return False
                continue
            if cost[there[0]] > cost[own[~shut]].min():
                return False
            room = room - self.matrix[:, [there[0]]].toarray().ravel()
        return True
