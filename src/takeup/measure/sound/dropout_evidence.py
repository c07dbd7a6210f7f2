"""What speaks for a dropout between two steps and against it: all bands inside, beside, and against the hiss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.dropout_edges import BLOCK, DECIBEL, NEAR, QUIETEST, Steps, Weights

NOTHING = 1e-13  # mean square of a band: digital silence, which no tape reaches
WIDEST = 8  # frames of a window beside an edge
FAR = 5  # frames, beginning five beyond the edge: was the step already under way?
SPREAD_DB2 = DECIBEL**2  # variance of ten times the logarithm of a mean square, times its degrees / 2
BELOW_DB = -3.0  # a band is clearly below its hiss from here on
OPEN_DB, MASKED_DB = 2.5, 4.0  # up to so much above its floor a band's hiss lies open; so much above it it does not


@dataclass(frozen=True, slots=True)
class Step:
    """One step with the weights of its place. ``at``: between frames at - 1 and at of the capture."""

    hypothesis: int
    at: int
    db: float
    z: float
    open: bool
    weights: np.ndarray  # shape (channels, n_bands)
    sums: np.ndarray  # shape (n_bands,)
    unrest: np.ndarray  # shape (channels, n_bands)

    @classmethod
    def of(cls, steps: Steps, weights: Weights, row: int, first: int) -> Step:
        which, at = int(steps.hypothesis[row]), int(steps.at[row])
        block = at // BLOCK
        return cls(
            which, first + at, float(steps.db[row]), float(steps.z[row]), bool(steps.open[row]),
            weights.steps[which, block], weights.sums[which, block], weights.unrest[block],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heard:
    """A stretch of the fine stream to look at; ``first`` is the number of its first frame."""

    powers: np.ndarray  # shape (n, channels, n_bands)
    first: int
    floor: np.ndarray  # the tape's own hiss [dB], shape (channels, n_bands)
    trust: np.ndarray  # weight of each band's floor, 0 where none is known
    degrees: np.ndarray  # of freedom of one frame, shape (n_bands,)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What speaks for a hole and against it."""

    depth_db: float
    down_db: float
    up_db: float
    z: float
    uneven: float  # mean difference of the bands from the depth, share of it
    misfit: float  # mean square of those differences against what chance allows
    contrary: float  # share of bands that lose less than half the depth
    slow_down_db: float  # change of level outside, just before and just after
    slow_up_db: float
    open_share: float  # of bands in which hiss lies open on both sides
    floor_db: float  # level inside against the hiss, mean of the bands
    top_db: float  # of the band that lies highest above it
    frames: int  # from step to step
    other_db: float  # step of the other channel, the larger one; 0 without one
    below_share: float  # of bands that lie clearly below their hiss inside
    below_db: float  # how far, on the average
    below_spread_db: float
    back_db: float  # how far these bands lay below the hiss just outside (the lower side)
    held: float  # share of bands with open hiss outside that did not fall
    below_z: float
    other_below_db: float  # level of the other channel inside against its own hiss, in those bands


def evidence(heard: Heard, which: tuple[int, ...], begins: Step, ends: Step) -> Evidence | None:
    """Weigh one hole between two steps; ``which``: the channels struck. None where there is too little to hear."""
    down, up = begins.at - heard.first, ends.at - heard.first
    wide = min(WIDEST, max(NEAR, up - down - 3))
    inside = min(wide, up - 2 - down)
    near = min(NEAR, inside)
    if inside < 1 or down < 12 or up + 12 > len(heard.powers):
        return None
    if heard.powers[down + 1 : up - 1, list(which)].max() < NOTHING:
        return None
    pre, first, last, post, whole, pre3, first3, last3, post3, far_pre, far_post = _levels(
        heard, [
            (down - 1 - wide, down - 1), (down + 1, down + 1 + inside), (up - 1 - inside, up - 1),
            (up + 1, up + 1 + wide), (down + 1, up - 1), (down - 1 - NEAR, down - 1), (down + 1, down + 1 + near),
            (up - 1 - near, up - 1),
            (up + 1, up + 1 + NEAR), (down - 6 - FAR, down - 6), (up + 6, up + 6 + FAR),
        ],
    )  # fmt: skip
    chance = 4 * SPREAD_DB2 / (NEAR * heard.degrees)  # of a step of NEAR frames
    calmer = []
    for unrest in (begins.unrest, ends.unrest):
        longer = np.maximum(unrest - chance, 0) + np.minimum(chance, unrest) * NEAR * (1 / wide + 1 / inside) / 2
        calmer.append((unrest / np.maximum(longer, 0.3)).min(axis=0))
    w_down, w_up, i_down, i_up = begins.weights, ends.weights, begins.sums, ends.sums
    step_down, step_up = pre - first, post - last
    if len(which) > 1:
        by_down, by_up = step_down.ravel(), step_up.ravel()
        k_down = ((i_down > 0) * calmer[0] / begins.unrest).ravel()
        k_up = ((i_up > 0) * calmer[1] / ends.unrest).ravel()
    else:
        by_down, by_up = (
            (w_down * step_down).sum(0) / np.maximum(i_down, 1e-9),
            (w_up * step_up).sum(0) / np.maximum(i_up, 1e-9),
        )
        k_down, k_up = i_down * calmer[0], i_up * calmer[1]
    total_down, total_up = max(k_down.sum(), 1e-9), max(k_up.sum(), 1e-9)
    down_db, up_db = float((k_down * by_down).sum() / total_down), float((k_up * by_up).sum() / total_up)
    known = np.concatenate([k_down, k_up])
    bands = np.concatenate([by_down, by_up])
    total = known.sum()
    if (known > 1e-6).sum() < 2:
        return None
    depth = float((known * bands).sum() / total)
    if depth <= 0:
        return None
    apart = np.abs(bands - depth)
    rows = list(which)
    trust = heard.trust[rows]
    against = (whole - heard.floor)[rows]
    outside = np.minimum(pre, post)[rows] - heard.floor[rows]
    share = trust / max(trust.sum(), 1e-9)
    below = (np.maximum(np.maximum(first3, last3), whole)[rows] - heard.floor[rows]) < BELOW_DB
    low = share * below
    low_total = max(low.sum(), 1e-9)
    below_db = float((low * against).sum() / low_total)
    frames = max(1, up - down - 3)
    freedom = (below * heard.degrees).sum() * frames
    quiet = share * (outside < OPEN_DB) * (against < MASKED_DB)  # where no programme came in meanwhile
    other, other_below = 0.0, 0.0
    if len(which) == 1 and heard.floor.shape[0] == 2:
        one = 1 - which[0]
        calm = 1 / begins.unrest[one], 1 / ends.unrest[one]
        each = [float((calm[k] * (step_down, step_up)[k][one]).sum() / calm[k].sum()) for k in (0, 1)]
        other = max(each, key=abs)
        shared = low[0] * (heard.trust[one] > 0)
        if shared.sum() > 0:
            other_below = float((shared * (whole - heard.floor)[one]).sum() / shared.sum())
    return Evidence(
        other_below_db=other_below,
        frames=up - down,
        depth_db=depth,
        down_db=down_db,
        up_db=up_db,
        z=float(depth * np.sqrt(total)),
        uneven=float((known * apart).sum() / total / depth),
        misfit=float((known * apart**2).sum() / (known > 1e-6).sum()),
        contrary=float((known * (bands < depth / 2)).sum() / total),
        slow_down_db=float((w_down * (pre3 - far_pre)).sum() / max(i_down.sum(), 1e-9)),
        slow_up_db=float((w_up * (post3 - far_post)).sum() / max(i_up.sum(), 1e-9)),
        open_share=float((share * (outside < MASKED_DB)).sum()),
        floor_db=float((share * against).sum()) if trust.any() else 99.0,
        top_db=float(np.where(trust > 0, against, -99).max()) if trust.any() else 99.0,
        other_db=other,
        below_share=float((low.sum(axis=1) / np.maximum(share.sum(axis=1), 1e-9)).min()),
        below_db=below_db,
        below_spread_db=float(np.sqrt((low * (against - below_db) ** 2).sum() / low_total)),
        back_db=float(min((low * (x[rows] - heard.floor[rows])).sum() / low_total for x in (pre3, post3))),
        held=float((quiet * (against > below_db / 2)).sum() / max(quiet.sum(), 1e-9)),
        below_z=float(-below_db / np.sqrt(SPREAD_DB2 * 2 / max(freedom, 1.0) + 0.25)),
    )


def _levels(heard: Heard, windows: list[tuple[int, int]]) -> np.ndarray:
    """Mean level of some windows [dB], shape (n_windows, channels, n_bands)."""
    means = [np.add.reduce(heard.powers[first:end], axis=0) / (end - first) for first, end in windows]
    return DECIBEL * np.log(np.stack(means) + QUIETEST)
