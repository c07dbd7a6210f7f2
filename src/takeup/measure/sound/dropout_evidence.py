"""What speaks for a dropout between two steps and against it: all bands inside, beside, and against the hiss.

Many pairs of steps are weighed at once, one row each: a programme full of sharp edges offers hundreds in a second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.dropout_edges import DECIBEL, NEAR, QUIETEST, Steps

NOTHING = 1e-13  # mean square of a band: digital silence, which no tape reaches
WIDEST = 8  # frames of a window beside an edge
FAR = 5  # frames, beginning five beyond the edge: was the step already under way?
CLEAR = 12  # frames that must be there beyond an edge
SPREAD_DB2 = DECIBEL**2  # variance of ten times the logarithm of a mean square, times its degrees / 2
BELOW_DB = -3.0  # a band is clearly below its hiss from here on
OPEN_DB, MASKED_DB = 2.5, 4.0  # up to so much above its floor a band's hiss lies open; so much above it it does not
UNKNOWN_DB = 99.0  # against a hiss that is not known
WEIGHS = 1e-6  # a band of less weight has no say


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
    """What speaks for holes and against them, one entry of each array for one hole."""

    enough: np.ndarray  # bool: something could be heard
    depth_db: np.ndarray
    down_db: np.ndarray
    up_db: np.ndarray
    z: np.ndarray
    uneven: np.ndarray  # mean difference of the bands from the depth, share of it
    misfit: np.ndarray  # mean square of those differences against what chance allows
    contrary: np.ndarray  # share of bands that lose less than half the depth
    slow_down_db: np.ndarray  # change of level outside, just before and just after
    slow_up_db: np.ndarray
    open_share: np.ndarray  # of bands in which hiss lies open on both sides
    floor_db: np.ndarray  # level inside against the hiss, mean of the bands
    top_db: np.ndarray  # of the band that lies highest above it
    frames: np.ndarray  # from step to step
    other_db: np.ndarray  # step of the other channel, the larger one; 0 without one
    below_share: np.ndarray  # of bands that lie clearly below their hiss inside
    below_db: np.ndarray  # how far, on the average
    below_spread_db: np.ndarray
    back_db: np.ndarray  # how far these bands lay below the hiss just outside (the lower side)
    held: np.ndarray  # share of bands with open hiss outside that did not fall
    below_z: np.ndarray
    other_below_db: np.ndarray  # level of the other channel inside against its own hiss, in those bands


@dataclass(frozen=True, slots=True)
class _Levels:
    """Mean levels of the windows about each hole [dB], shape (n, channels, n_bands)."""

    far_before: np.ndarray
    before: np.ndarray
    near_before: np.ndarray
    first: np.ndarray
    near_first: np.ndarray
    whole: np.ndarray
    near_last: np.ndarray
    last: np.ndarray
    near_after: np.ndarray
    after: np.ndarray
    far_after: np.ndarray


def evidence(heard: Heard, struck: np.ndarray, begins: Steps, ends: Steps, widest: int) -> Evidence:
    """Weigh holes between pairs of steps.

    Parameters
    ----------
    heard : Heard
    struck : bool, shape (n, channels)
        The channels of each hole.
    begins, ends : Steps of n rows each
    widest : int
        Frames of the windows beside an edge.
    """
    down, up = begins.at - heard.first, ends.at - heard.first
    inside_frames = up - 2 - down
    enough = (inside_frames >= 1) & (down >= CLEAR) & (up + CLEAR <= len(heard.powers))
    wide = np.minimum(widest, np.maximum(NEAR, inside_frames - 1))
    inside = np.maximum(1, np.minimum(wide, inside_frames))
    levels = _levels(heard.powers, np.where(enough, down, CLEAR), np.where(enough, up, 2 * CLEAR), wide, inside)
    enough &= (levels.whole.max(axis=2) > DECIBEL * np.log(NOTHING)).any(axis=1, where=struck)
    step_down, step_up = levels.before - levels.first, levels.after - levels.last
    by_down, k_down = _by_band(step_down, struck, begins, _calmer(begins, heard, wide, inside))
    by_up, k_up = _by_band(step_up, struck, ends, _calmer(ends, heard, wide, inside))
    down_db, up_db = _mean(by_down, k_down), _mean(by_up, k_up)
    known, bands = np.concatenate([k_down, k_up], axis=1), np.concatenate([by_down, by_up], axis=1)
    total, counted = known.sum(axis=(1, 2)), (known > WEIGHS).sum(axis=(1, 2))
    depth = (known * bands).sum(axis=(1, 2)) / np.maximum(total, 1e-9)
    enough &= (counted >= 2) & (depth > 0)
    depth = np.where(enough, depth, 1.0)
    apart = np.abs(bands - depth[:, None, None])
    total = np.maximum(total, 1e-9)

    trust = heard.trust * struck[:, :, None]
    share = trust / np.maximum(trust.sum(axis=(1, 2)), 1e-9)[:, None, None]
    against = levels.whole - heard.floor
    outside = np.minimum(levels.before, levels.after) - heard.floor
    highest = np.maximum(np.maximum(levels.near_first, levels.near_last), levels.whole) - heard.floor
    below = (highest < BELOW_DB) & struck[:, :, None]
    low = share * below
    low_total = np.maximum(low.sum(axis=(1, 2)), 1e-9)
    below_db = (low * against).sum(axis=(1, 2)) / low_total
    freedom = np.maximum(1.0, (below * heard.degrees).sum(axis=(1, 2)) * np.maximum(1, inside_frames - 1))
    quiet = share * (outside < OPEN_DB) * (against < MASKED_DB)  # where no programme came in meanwhile
    shares = low.sum(axis=2) / np.maximum(share.sum(axis=2), 1e-9)
    any_trust = trust.any(axis=(1, 2))
    other, other_below = _other(heard, struck, (begins, ends), (step_down, step_up), against, low)
    return Evidence(
        enough=enough,
        other_below_db=other_below,
        frames=up - down,
        depth_db=depth,
        down_db=down_db,
        up_db=up_db,
        z=depth * np.sqrt(total),
        uneven=(known * apart).sum(axis=(1, 2)) / total / depth,
        misfit=(known * apart**2).sum(axis=(1, 2)) / np.maximum(counted, 1),
        contrary=(known * (bands < depth[:, None, None] / 2)).sum(axis=(1, 2)) / total,
        slow_down_db=_slow(levels.near_before - levels.far_before, begins),
        slow_up_db=_slow(levels.near_after - levels.far_after, ends),
        open_share=(share * (outside < MASKED_DB)).sum(axis=(1, 2)),
        floor_db=np.where(any_trust, (share * against).sum(axis=(1, 2)), UNKNOWN_DB),
        top_db=np.where(any_trust, np.where(trust > 0, against, -UNKNOWN_DB).max(axis=(1, 2)), UNKNOWN_DB),
        other_db=other,
        below_share=np.where(struck, shares, 1.0).min(axis=1),
        below_db=below_db,
        below_spread_db=np.sqrt((low * (against - below_db[:, None, None]) ** 2).sum(axis=(1, 2)) / low_total),
        back_db=np.minimum(
            *((low * (x - heard.floor)).sum(axis=(1, 2)) / low_total for x in (levels.near_before, levels.near_after))
        ),
        held=(quiet * (against > below_db[:, None, None] / 2)).sum(axis=(1, 2))
        / np.maximum(quiet.sum(axis=(1, 2)), 1e-9),
        below_z=-below_db / np.sqrt(SPREAD_DB2 * 2 / freedom + 0.25),
    )


def _levels(powers: np.ndarray, down: np.ndarray, up: np.ndarray, wide: np.ndarray, inside: np.ndarray) -> _Levels:
    """Mean levels of all windows, by running sums of the powers."""
    near = np.minimum(NEAR, inside)
    windows = (
        (down - 6 - FAR, down - 6), (down - 1 - wide, down - 1), (down - 1 - NEAR, down - 1),
        (down + 1, down + 1 + inside), (down + 1, down + 1 + near), (down + 1, np.maximum(up - 1, down + 2)),
        (up - 1 - near, up - 1), (up - 1 - inside, up - 1),
        (up + 1, up + 1 + NEAR), (up + 1, up + 1 + wide), (up + 6, up + 6 + FAR),
    )  # fmt: skip
    sums = np.concatenate([np.zeros((1, *powers.shape[1:])), np.cumsum(powers, axis=0, dtype=float)])
    means = [(sums[end] - sums[first]) / (end - first)[:, None, None] for first, end in windows]
    return _Levels(*(DECIBEL * np.log(np.maximum(np.stack(means), 0) + QUIETEST)))


def _calmer(steps: Steps, heard: Heard, wide: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """How much less restless longer windows are than those of NEAR frames, shape (n, n_bands)."""
    chance = 4 * SPREAD_DB2 / (NEAR * heard.degrees)  # of a step of NEAR frames
    shorter = NEAR * (1 / wide + 1 / inside)[:, None, None] / 2
    longer = np.maximum(steps.unrest - chance, 0) + np.minimum(chance, steps.unrest) * shorter
    return (steps.unrest / np.maximum(longer, 0.3)).min(axis=1)


def _by_band(step: np.ndarray, struck: np.ndarray, at: Steps, calmer: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each band's step and weight, shape (n, channels, n_bands); no weight where a channel is not struck.

    All channels together must each make the step by itself; one alone is weighed with what the other one tells of it.
    """
    together = np.all(struck, axis=1, keepdims=True)[:, :, None]
    alone = ((at.weights * step).sum(axis=1) / np.maximum(at.sums, 1e-9))[:, None]
    if struck.shape[1] == 1:
        return alone, (at.sums * calmer)[:, None]
    weight = np.where(together, ((at.sums > 0) * calmer)[:, None] / at.unrest, (at.sums * calmer)[:, None])
    return np.where(together, step, alone), weight * struck[:, :, None]


def _mean(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    return (values * weights).sum(axis=(1, 2)) / np.maximum(weights.sum(axis=(1, 2)), 1e-9)


def _slow(change: np.ndarray, at: Steps) -> np.ndarray:
    return (at.weights * change).sum(axis=(1, 2)) / np.maximum(at.sums.sum(axis=1), 1e-9)


def _other(
    heard: Heard, struck: np.ndarray, at: tuple[Steps, Steps], steps: tuple[np.ndarray, np.ndarray],
    against: np.ndarray, low: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """The channel that was not struck: its larger step, and its level inside against its own hiss [dB]."""
    nothing = np.zeros(len(struck))
    if struck.shape[1] != 2:
        return nothing, nothing
    alone = ~struck.all(axis=1)
    spared = np.where(struck[:, 0], 1, 0)
    row = np.arange(len(struck))
    each = []
    for one, step in zip(at, steps, strict=True):
        calm = 1 / one.unrest[row, spared]
        each.append((calm * step[row, spared]).sum(axis=1) / calm.sum(axis=1))
    larger = np.where(np.abs(each[0]) >= np.abs(each[1]), each[0], each[1])
    shared = low[row, 1 - spared] * (heard.trust[spared] > 0)
    level = (shared * against[row, spared]).sum(axis=1) / np.maximum(shared.sum(axis=1), 1e-9)
    return np.where(alone, larger, 0.0), np.where(alone, level, 0.0)
