"""Requests that touch each other, as one table of whole numbers for an exact solver. Pure.

One binary unknown a place; one more for each request that is split (its parts add up to all of it or to nothing). The
order is found request by request in the order of asking: each as early as the best minutes, the most requests and
everybody before it allow (docs/decisions/0068).
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from takeup.plan.schedule_limits import Limit
from takeup.plan.schedule_places import Place

AT_ONCE = 20_000  # requests are put in order together while their costs stay far from the solver's tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """One request as the choice sees it. ``turn``: its place in the order of asking."""

    number: int
    minutes: int
    turn: int
    split: bool


class Part:
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
        self.request = [places[n].request for n in self.numbers]
        self.spot = [(id(places[n].pool), places[n].start, places[n].end) for n in self.numbers]
        self.same = {(self.request[at], spot): at for at, spot in enumerate(self.spot)}
        self.like: dict[tuple[int, int, int], list[int]] = defaultdict(list)
        for at, spot in enumerate(self.spot):
            self.like[spot].append(at)
        turn = {one.number: one.turn for one in group}
        self.turns = [turn[number] for number in self.request]
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

    def fill(self, seconds: float) -> None:
        """Find the most minutes, and with them the most requests."""
        from scipy.sparse import csr_array

        rows, columns, values = self.entries
        self.matrix = csr_array((values, (rows, columns)), shape=(len(self.low), self.size))
        self.fixed_low, self.fixed_high = np.zeros(self.size), np.ones(self.size)
        unit = math.gcd(*(one.minutes for one in self.group))  # small whole numbers are far from any tolerance
        self.worth, self.least = np.zeros(self.size), -np.inf
        for one in self.group:
            self.worth += self.placed(one) * (one.minutes // unit * (len(self.group) + 1) + 1)
        self.held: list[tuple[np.ndarray, float]] = []
        found, self.proven = self.solve(-self.worth, seconds)
        self.chosen = self.one_by_one() if found is None else found
        self.least = float(self.worth @ self.chosen)

    def one_by_one(self) -> np.ndarray:
        """A plan for want of a better one: in the order of asking, each at the first place still free, none split."""
        chosen = np.zeros(self.size)
        for one in self.group:
            for at in [] if one.split else self.columns[one.number]:
                chosen[at] = 1
                if self.keeps(chosen):
                    break
                chosen[at] = 0
        return chosen

    def taken(self) -> list[int]:
        return [self.numbers[at] for at in np.flatnonzero(self.chosen[: len(self.numbers)])]

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

    def order(self, seconds_left: Callable[[], float]) -> None:
        """Who asked earlier comes earlier: first by simple exchanges, then proven, a few requests in one solve."""
        costs = [(one, *self.cost(one)) for one in self.group]
        self.exchange(costs)
        self.order_proven = False
        waiting: list[tuple[Wanted, np.ndarray, int]] = []
        span = 1
        for one, cost, most in costs if self.proven else ():
            if waiting and span * (most + 1) > AT_ONCE:
                if not self.settle(waiting, seconds_left):
                    return
                waiting, span = [], 1
            waiting.append((one, cost, most))
            span *= most + 1
        self.order_proven = self.proven and self.settle(waiting, seconds_left)

    def exchange(self, costs: Sequence[tuple[Wanted, np.ndarray, int]]) -> None:
        """Move and exchange until nobody can come earlier by it."""
        changed = True
        while changed:
            changed = False
            for one, cost, _ in costs:
                before = self.chosen
                self.nudge(one, cost)
                changed |= self.chosen is not before

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

    def settle(self, waiting: Sequence[tuple[Wanted, np.ndarray, int]], seconds_left: Callable[[], float]) -> bool:
        """Put a few requests as early as can be, the first of them first, and hold them there; whether it is proven."""
        total, weight = np.zeros(self.size), 1
        for one, cost, most in reversed(waiting):
            self.nudge(one, cost)
            total += weight * cost
            weight *= most + 1
        if not self.earliest(waiting):
            found, proven = self.solve(total, seconds_left())
            if found is not None and total @ found < total @ self.chosen:
                self.chosen = found
                self.exchange(waiting)
            if not proven:
                return False
        for one, cost, _ in waiting:
            self.hold(one, cost)
        return True

    def nudge(self, one: Wanted, cost: np.ndarray) -> None:
        """Move one request earlier, or exchange it with one of the same length that asked later, if that can be.

        It spares the solver what is easily seen, and leaves a good order where time runs out; it proves nothing.
        """
        if one.split:
            return
        own = np.array(self.columns[one.number], dtype=int)
        own = own[np.argsort(cost[own], kind="stable")]
        there = [at for at in own if self.chosen[at] > 0]
        for at in own:
            if there and cost[at] >= cost[there[0]]:
                break
            moved = self.chosen.copy()
            moved[there] = 0
            moved[at] = 1
            others = [None, *self.like.get(self.spot[at], ())] if there else self.like.get(self.spot[at], ())
            for other in others:
                new = moved
                if other is not None:
                    if self.chosen[other] == 0 or self.turns[other] <= one.turn:
                        continue
                    new = moved.copy()
                    new[other] = 0
                    back = self.same.get((self.request[other], self.spot[there[0]])) if there else None
                    if there and back is None:
                        continue
                    if back is not None:
                        new[back] = 1
                if self.keeps(new):
                    self.chosen = new
                    return

    def keeps(self, chosen: np.ndarray) -> bool:
        """Whether a choice keeps every limit, what is held, and the best minutes and requests."""
        sums = self.matrix @ chosen
        held = all(abs(row @ chosen - value) < 0.5 for row, value in self.held)
        bounds = bool(np.all(chosen >= self.fixed_low) and np.all(chosen <= self.fixed_high))
        return (
            held
            and bounds
            and bool(np.all(sums >= self.low) and np.all(sums <= self.high))
            and (self.worth @ chosen >= self.least - 0.5)
        )

    def hold(self, one: Wanted, cost: np.ndarray) -> None:
        """Hold a request as early as it is now, not where it is: another station or other parts may suit the next."""
        own = np.array(self.columns[one.number], dtype=int)
        if one.split:
            self.held.append((cost, float(cost @ self.chosen)))
            return
        there = own[self.chosen[own] > 0]
        same = own[cost[own] == cost[there[0]]] if there.size else there
        self.fixed_high[np.setdiff1d(own, same)] = 0
        if same.size == 1:
            self.fixed_low[same] = 1
        elif same.size:
            row = np.zeros(self.size)
            row[same] = 1
            self.held.append((row, 1.0))

    def earliest(self, waiting: Sequence[tuple[Wanted, np.ndarray, int]]) -> bool:
        """Whether they already stand at the earliest start that those held so far leave them."""
        room = self.high - self.matrix @ self.fixed_low
        for one, cost, _ in waiting:
            own = np.array(self.columns[one.number], dtype=int)
            if one.split:
                return False
            if not own.size:
                continue
            there = own[self.chosen[own] > 0]
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
