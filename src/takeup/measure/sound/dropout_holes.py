"""Which pairs of steps bound a dropout: what is believed, and which of several that overlap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.dropout_edges import NEAR, QUIETEST, Steps
from takeup.measure.sound.dropout_evidence import WIDEST, Evidence, Heard, evidence

LEAST_PAIR_Z, LEAST_Z = 6.0, 8.0  # of two steps together; of a hole
MOST_OTHERS = 12  # more steps than that about a rise: nothing is told
MOST_CROWD = 6.0  # ... in the time of an empty scene's CROWD and AFTER: no hole between them is believed
TRIES = 6  # falls looked at for one rise, the nearest first
AFTER = 150  # frames after a hole in which other steps count against it


@dataclass(frozen=True, slots=True)
class Hole:
    """One dropout, in frames and parts of them."""

    which: tuple[int, ...]
    first: float
    end: float
    depth_db: float
    certainty: float


@dataclass(frozen=True, slots=True)
class Pairs:
    """A fall and a rise that may bound a hole, one row each; ``crowd``: other such steps nearby."""

    fall: np.ndarray  # row of the steps
    rise: np.ndarray
    crowd: np.ndarray

    def chosen(self, rows: np.ndarray) -> Pairs:
        return Pairs(self.fall[rows], self.rise[rows], self.crowd[rows])


def believed(one: Evidence, crowd: np.ndarray, alone: np.ndarray) -> np.ndarray:
    """Whether holes are dropouts beyond reasonable doubt.

    Two ways: bands fall clearly below the hiss that is theirs, at once, and are back at once; or all bands make the
    same step down and up where nothing else around makes such steps. ``crowd``: other such steps nearby; ``alone``:
    one channel of two.
    """
    return one.enough & (one.z >= LEAST_Z) & (_below_the_hiss(one, crowd, alone) | _same_steps(one, crowd, alone))


def _below_the_hiss(one: Evidence, crowd: np.ndarray, alone: np.ndarray) -> np.ndarray:
    below = -one.below_db
    return (
        (one.below_share >= 0.35)
        & (below >= 4.3)
        & (one.below_z >= 6.5)
        & (one.held <= 0.15)
        & (one.back_db >= -2.0)
        & (one.below_spread_db <= 1.5 + 0.2 * below)
        & (np.minimum(one.down_db, one.up_db) >= 0.6 * below)
        & ((one.contrary <= 0.15) | (one.below_share >= 0.5))
        & (crowd <= MOST_CROWD)
        & (~alone | (one.other_below_db >= -2 - 0.1 * below))
    )


def _same_steps(one: Evidence, crowd: np.ndarray, alone: np.ndarray) -> np.ndarray:
    depth = one.depth_db
    doubtful = (one.open_share < 0.25) & (
        (one.frames < 6)
        | (one.z < 12 + one.frames / 100)
        | ((one.misfit > 1) & (one.uneven > 0.12))
        | ((crowd > 2.5) & (one.uneven > 0.1))
    )
    at_floor = (np.abs(one.floor_db) < 3) & (one.top_db - one.floor_db < 2)
    even = (one.uneven < 0.08) | ((one.misfit < 0.7) & (one.uneven < 0.15))
    slow = 1.5 + 0.15 * depth
    return (
        ~doubtful
        & (depth >= 4.5)
        & (one.contrary <= 0.12)
        & (np.abs(one.down_db - one.up_db) <= slow)
        & (np.maximum(one.slow_down_db, one.slow_up_db) <= slow)
        & (np.minimum(one.slow_down_db, one.slow_up_db) >= -(3 + 0.3 * depth))
        & ((one.misfit <= 2) | ((one.uneven <= 0.06) & (one.misfit <= 4)))
        & (one.uneven <= 0.25)
        & (crowd <= np.where((one.misfit < 0.6) & (one.uneven < 0.17), 4, 2.5))
        & ~(at_floor & (-one.below_db < 1.5) & ~(alone & (one.uneven < 0.08)))
        & (~alone | (np.abs(one.other_db) <= np.where(even, 2 + 0.25 * depth, 1.5 + 0.2 * depth)))
    )


def find_holes(
    heard: Heard, steps: Steps, hypotheses: tuple[tuple[int, ...], ...], since: int, longest: int, crowd: int,
    told: tuple[Hole, ...],
) -> list[Hole]:  # fmt: skip
    """Dropouts that end at or after frame ``since``: of those that overlap the likeliest, none that meets one told."""
    pairs = _pairs(steps, len(hypotheses), since, longest, crowd)
    if not len(pairs.fall):
        return []
    channels = heard.floor.shape[0]
    masks = np.array([[at in which for at in range(channels)] for which in hypotheses])
    chosen: list[tuple[int, Hole]] = []
    for widest in (WIDEST,):
        begins, ends = steps.chosen(pairs.fall), steps.chosen(pairs.rise)
        struck = masks[begins.hypothesis]
        one = evidence(heard, struck, begins, ends, widest)
        sure = believed(one, pairs.crowd, ~struck.all(axis=1))
        ill = (8 * (one.uneven + np.abs(one.down_db - one.up_db) / one.depth_db)).astype(int)
        depth, certain = _depth(one), 1 - np.exp(-one.z / 4)
        for row in np.flatnonzero(sure).tolist():
            which = hypotheses[begins.hypothesis[row]]
            first = _edge(heard, which, begins, row, falling=True)
            end = _edge(heard, which, ends, row, falling=False)
            hole = Hole(which, first, end, float(depth[row]), float(certain[row]))
            if not any(_meet(hole, other) for other in told):
                chosen.append((int(ill[row]), hole))
        left = one.enough & ~sure & (one.z >= LEAST_Z) & (one.frames > WIDEST)
        pairs = pairs.chosen(np.flatnonzero(left))
        if not len(pairs.fall):
            break
    holes: list[Hole] = []
    for _, hole in sorted(chosen, key=lambda one: (one[0], one[1].end - one[1].first)):
        if not any(_meet(hole, other) for other in holes) and not _is_two(hole, [one for _, one in chosen]):
            holes.append(hole)
    return sorted(holes, key=lambda hole: hole.first)


def _is_two(hole: Hole, others: list[Hole]) -> bool:
    """Whether two others lie one after the other within a hole: then it is the fall of one and the rise of the next."""
    within = [
        one
        for one in others
        if set(one.which) <= set(hole.which) and one.first > hole.first - NEAR and one.end < hole.end + NEAR
    ]
    return bool(within) and min(one.end for one in within) < max(one.first for one in within)


def _pairs(steps: Steps, hypotheses: int, since: int, longest: int, crowd: int) -> Pairs:
    """Falls and rises that may belong together, where few other steps of that kind are about."""
    falls, rises, crowds = [], [], []
    for number in range(hypotheses):
        rows = np.flatnonzero(steps.hypothesis == number)
        rows = rows[np.argsort(steps.at[rows], kind="stable")]
        at, db, z, open_ = steps.at[rows], steps.db[rows], steps.z[rows], steps.open[rows]
        size = np.abs(db)
        for rise in np.flatnonzero((at >= since) & (db > 0)):
            large = size > 0.6 * db[rise]
            before = large & (at < at[rise] + AFTER)
            if (before & (at > at[rise] - crowd)).sum() > MOST_OTHERS:
                continue
            fits = (db < 0) & (at >= at[rise] - longest) & (at <= at[rise] - NEAR)
            fits &= (np.abs(db + db[rise]) <= 3 + 0.25 * db[rise]) | (open_ & open_[rise])
            fits &= np.hypot(z, z[rise]) >= LEAST_PAIR_Z
            away = before & (np.abs(at - at[rise]) > 2)
            for fall in np.flatnonzero(fits)[::-1][:TRIES]:
                near = away & (at > at[fall] - crowd) & (np.abs(at - at[fall]) > 2)
                dense = float(near.sum()) / (at[rise] - at[fall] + crowd + AFTER) * (crowd + AFTER)
                if dense <= MOST_CROWD:
                    falls.append(rows[fall])
                    rises.append(rows[rise])
                    crowds.append(dense)
    return Pairs(np.array(falls, int), np.array(rises, int), np.array(crowds))


def _meet(one: Hole, other: Hole) -> bool:
    return one.first <= other.end and one.end >= other.first and bool(set(one.which) & set(other.which))


def _depth(one: Evidence) -> np.ndarray:
    """The steps' own depth; where the hiss lies open, its mean with that against the hiss, which is longer known."""
    below = -one.below_db
    plain = (one.open_share > 0.5) & (one.below_share > 0.5) & (one.held == 0) & (one.below_spread_db < 1.5)
    return np.where(plain & (np.abs(one.depth_db - below) < 2), (one.depth_db + below) / 2, one.depth_db)


def _edge(heard: Heard, which: tuple[int, ...], steps: Steps, row: int, *, falling: bool) -> float:
    """Where a step lies to a fraction of a frame: by the area under the powers about it."""
    step = int(steps.at[row])
    at, rows = step - heard.first, list(which)
    about = heard.powers[at - 3 : at + 3, rows]
    out, inside = heard.powers[at - 4 : at - 1, rows].mean(axis=0), heard.powers[at + 1 : at + 4, rows].mean(axis=0)
    if not falling:
        out, inside = inside, out
    weight = steps.sums[row] / np.maximum(out, QUIETEST)
    share = ((about - inside) * weight).sum(axis=(1, 2)) / max(float(((out - inside) * weight).sum()), 1e-20)
    area = float(np.clip(share, 0, 1).sum())
    return step - 3.5 + area if falling else step + 2.5 - area
