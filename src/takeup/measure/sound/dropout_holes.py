"""Which pairs of steps bound a dropout: what is believed, and which of several that overlap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.dropout_edges import NEAR, QUIETEST
from takeup.measure.sound.dropout_evidence import Evidence, Heard, Step, evidence

LEAST_PAIR_Z = 6.0
MOST_OTHERS = 12  # more steps than that about a rise: nothing is told
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


def believed(one: Evidence, crowd: float, *, alone: bool) -> bool:
    """Whether a hole is a dropout beyond reasonable doubt.

    Two ways: bands fall clearly below the hiss that is theirs, at once, and are back at once; or all bands make the
    same step down and up where nothing else around makes such steps. ``crowd``: other such steps nearby; ``alone``:
    one channel of two.
    """
    depth, below = one.depth_db, -one.below_db
    strays = abs(one.other_db) if alone else 0.0
    if (
        one.below_share >= 0.35
        and below >= 4.3
        and one.below_z >= 6.5
        and one.held <= 0.15
        and one.back_db >= -2.0
        and one.below_spread_db <= 1.5 + 0.2 * below
        and min(one.down_db, one.up_db) >= 0.6 * below
        and (one.contrary <= 0.15 or one.below_share >= 0.5)
        and crowd <= 8
        and (one.other_below_db >= -2 - 0.1 * below if alone else True)
    ):
        return True
    if one.open_share < 0.25 and (one.frames < 6 or one.z < 12 or (one.misfit > 1 and one.uneven > 0.12)):
        return False
    at_floor = abs(one.floor_db) < 3 and one.top_db - one.floor_db < 2
    even = one.uneven < 0.08 or (one.misfit < 0.7 and one.uneven < 0.15)
    return (
        depth >= 4.5
        and one.z >= 8
        and one.contrary <= 0.12
        and abs(one.down_db - one.up_db) <= 1.5 + 0.15 * depth
        and max(one.slow_down_db, one.slow_up_db) <= 1.5 + 0.15 * depth
        and min(one.slow_down_db, one.slow_up_db) >= -(3 + 0.3 * depth)
        and (one.misfit <= 2 or (one.uneven <= 0.06 and one.misfit <= 4))
        and one.uneven <= 0.25
        and crowd <= (4 if one.misfit < 0.6 and one.uneven < 0.17 else 2.5)
        and not (at_floor and below < 1.5 and not (alone and one.uneven < 0.08))
        and strays <= (2 + 0.25 * depth if even else 1.5 + 0.2 * depth)
    )


def find_holes(
    heard: Heard, steps: tuple[Step, ...], hypotheses: tuple[tuple[int, ...], ...], since: int, longest: int, crowd: int
) -> list[Hole]:
    """Dropouts that end at or after frame ``since``: of those that overlap the likeliest."""
    chosen: list[tuple[Evidence, int, Step, Step]] = []
    for number, which in enumerate(hypotheses):
        own = sorted((one for one in steps if one.hypothesis == number), key=lambda one: one.at)
        if not own or own[-1].at < since:
            continue
        alone = len(which) < heard.floor.shape[0]
        at = np.array([one.at for one in own])
        db = np.array([one.db for one in own])
        z = np.array([one.z for one in own])
        open_ = np.array([one.open for one in own])
        for rise in np.flatnonzero((at >= since) & (db > 0)):
            others = (at > at[rise] - crowd) & (at < at[rise] + AFTER) & (np.abs(db) > 0.6 * db[rise])
            if others.sum() > MOST_OTHERS:
                continue
            fits = (db < 0) & (at >= at[rise] - longest) & (at <= at[rise] - NEAR)
            fits &= (np.abs(db + db[rise]) <= 3 + 0.25 * db[rise]) | (open_ & open_[rise])
            fits &= np.hypot(z, z[rise]) >= LEAST_PAIR_Z
            for fall in np.flatnonzero(fits)[::-1][:TRIES]:
                near = (at > at[fall] - crowd) & (at < at[rise] + AFTER) & (np.abs(db) > 0.6 * db[rise])
                near &= (np.abs(at - at[fall]) > 2) & (np.abs(at - at[rise]) > 2)
                dense = float(near.sum() / (at[rise] - at[fall] + crowd + AFTER) * (crowd + AFTER))
                one = evidence(heard, which, own[fall], own[rise])
                if one is not None and believed(one, dense, alone=alone):
                    chosen.append((one, number, own[fall], own[rise]))
    holes: list[Hole] = []
    for one, number, begins, ends in sorted(chosen, key=lambda c: (_ill(c[0]), c[3].at - c[2].at)):
        hole = _hole(heard, one, hypotheses[number], begins, ends)
        if all(
            hole.first > other.end or hole.end < other.first or not set(hole.which) & set(other.which)
            for other in holes
        ):
            holes.append(hole)
    return sorted(holes, key=lambda hole: hole.first)


def _ill(one: Evidence) -> int:
    """How badly two steps go together, in coarse degrees: of alike ones the nearer pair is taken."""
    return int(8 * (one.uneven + abs(one.down_db - one.up_db) / one.depth_db))


def _meet(one: Hole, other: Hole) -> bool:
    return one.first <= other.end and one.end >= other.first and bool(set(one.which) & set(other.which))


def _hole(heard: Heard, one: Evidence, which: tuple[int, ...], begins: Step, ends: Step) -> Hole:
    first, end = _edge(heard, which, begins, ends, falling=True), _edge(heard, which, begins, ends, falling=False)
    return Hole(which, first, end, _depth(one), float(np.clip(1 - np.exp(-one.z / 4), 0, 1)))


def _depth(one: Evidence) -> float:
    """The steps' own depth; where the hiss lies open, its mean with that against the hiss, which is longer known."""
    below = -one.below_db
    plain = one.open_share > 0.5 and one.below_share > 0.5 and one.held == 0 and one.below_spread_db < 1.5
    return (one.depth_db + below) / 2 if plain and abs(one.depth_db - below) < 2 else one.depth_db


def _edge(heard: Heard, which: tuple[int, ...], begins: Step, ends: Step, *, falling: bool) -> float:
    """Where a step lies to a fraction of a frame: by the area under the powers about it."""
    step = begins if falling else ends
    at, rows = step.at - heard.first, list(which)
    about = heard.powers[at - 3 : at + 3, rows]
    out, inside = heard.powers[at - 4 : at - 1, rows].mean(axis=0), heard.powers[at + 1 : at + 4, rows].mean(axis=0)
    if not falling:
        out, inside = inside, out
    weight = step.sums / np.maximum(out, QUIETEST)
    share = ((about - inside) * weight).sum(axis=(1, 2)) / max(float(((out - inside) * weight).sum()), 1e-20)
    area = float(np.clip(share, 0, 1).sum())
    return step.at - 3.5 + area if falling else step.at + 2.5 - area
