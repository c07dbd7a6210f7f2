"""Sharp steps of the level in all bands at once: where a dropout may begin or end.

A tape that loses contact with the head loses programme and hiss alike, in every band by the same factor; what stops by
itself (a word, a note) stops in its own bands and leaves the hiss. Each step is therefore weighed by how steadily a
band went on just before and after: bands in which the hiss lies open count most.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

DECIBEL = 10 / np.log(10)
QUIETEST = 1e-15  # mean square of a band: nothing at all
NEAR = 3  # frames of about 1 ms on each side of a step
BLOCK = 50  # frames over which a band's unrest is one figure
AROUND = 3  # blocks before and after, of the same figure
CLIP_DB = 8.0  # a step larger than this says no more about unrest
CALMEST_DB2 = 1.0  # unrest below which a band counts no more: one steady tone may not outweigh all the rest
CALMEST_PAIR_DB2 = 0.7
CLOSEST = 0.97  # correlation of two channels that is believed at most
LEAST_DB, LEAST_Z = 3.0, 3.5  # a step worth a second look
PEAK = 3  # frames on each side over which it is the highest
UNEVEN, CONTRARY = 0.45, 0.25  # a step of that kind is the programme's own ...
OPEN_SHARE, OPEN_DB = 0.3, -3.0  # ... unless so much of the hiss lies so far below its floor beside it


@dataclass(frozen=True, slots=True)
class Weights:
    """How steps of channels and bands add up to one, for each hypothesis and block."""

    steps: np.ndarray  # shape (n_hypotheses, n_blocks, channels, n_bands)
    sums: np.ndarray  # shape (n_hypotheses, n_blocks, n_bands)
    unrest: np.ndarray  # [dB^2], shape (n_blocks, channels, n_bands)


@dataclass(frozen=True, slots=True)
class Steps:
    """Steps with the weights of their place, one row each. ``at``: the step lies between frames at - 1 and at."""

    hypothesis: np.ndarray
    at: np.ndarray
    db: np.ndarray  # positive: up
    z: np.ndarray
    open: np.ndarray  # bool: hiss below its floor on the low side
    weights: np.ndarray  # shape (n, channels, n_bands)
    sums: np.ndarray  # shape (n, n_bands)
    unrest: np.ndarray  # [dB^2], shape (n, channels, n_bands)

    def chosen(self, rows: np.ndarray) -> Steps:
        """Some rows, by number or by yes and no."""
        return Steps(*(getattr(self, one.name)[rows] for one in fields(self)))

    def moved(self, frames: int) -> Steps:
        """Counted from a frame that lies so far before."""
        return replace(self, at=self.at + frames)

    def followed_by(self, later: Steps) -> Steps:
        """These rows, then those of ``later``."""
        return Steps(*(np.concatenate([getattr(self, one.name), getattr(later, one.name)]) for one in fields(self)))


def hypotheses(channels: int) -> tuple[tuple[int, ...], ...]:
    """Which channels may be struck: each alone, all together."""
    return ((0,),) if channels == 1 else (*((at,) for at in range(channels)), tuple(range(channels)))


def steps_of(levels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means of NEAR frames, and the step at each frame.

    Parameters
    ----------
    levels : ndarray [dB], shape (n, channels, n_bands)

    Returns
    -------
    means : shape (n - 2, ...); entry k spans frames k to k + 2
    steps : shape (n - 7, ...); entry k is the step between frames k + 3 and k + 4, the two about it left out
    """
    means = (levels[:-2] + levels[1:-1] + levels[2:]) / NEAR
    return means, means[5:] - means[:-5]


def moments(steps: np.ndarray) -> np.ndarray:
    """Mean squares of the clipped steps of whole blocks, and of the first two channels' products.

    Shape (n_blocks, channels + 1, n_bands).
    """
    clipped = np.clip(steps, -CLIP_DB, CLIP_DB)
    blocks = clipped.reshape(-1, BLOCK, *steps.shape[1:])
    squares = (blocks * blocks).mean(axis=1)
    product = (blocks[:, :, 0] * blocks[:, :, -1]).mean(axis=1)
    return np.concatenate([squares, product[:, None]], axis=1)


def weigh(around: np.ndarray, used: np.ndarray) -> Weights:
    """Weights of the best linear estimate of a step that channels share, and of one that only one of them makes.

    Parameters
    ----------
    around : shape (n_blocks + 2 * AROUND, channels + 1, n_bands)
        Moments of the chunk's blocks and those about it.
    used : bool, shape (channels, n_bands)
        Bands in which a tape's hiss can be.
    """
    count = len(around) - 2 * AROUND
    smooth = np.mean([around[at : at + count] for at in range(2 * AROUND + 1)], axis=0)
    channels = used.shape[0]
    unrest = np.maximum(smooth[:, :channels], CALMEST_DB2)
    if channels == 1:
        one = used / unrest
        return Weights(one[None], one[None, :, 0], unrest)
    left, right = unrest[:, 0], unrest[:, 1]
    root = np.sqrt(left * right)
    alike = np.clip(smooth[:, 2] / root, -CLOSEST, CLOSEST)
    rest = 1 - alike * alike
    both = used.all(axis=0)
    alone = [used[at] / np.maximum(own * rest, CALMEST_PAIR_DB2) for at, own in enumerate((left, right))]
    leaning = [alike * np.sqrt(left / right) * used[1], alike * np.sqrt(right / left) * used[0]]
    shared = np.stack([right - alike * root, left - alike * root], axis=1) * (both / (left * right * rest))[:, None]
    total = shared.sum(axis=1)
    shared = shared * np.minimum(1.0, 1 / (CALMEST_PAIR_DB2 * np.maximum(total, 1e-9)))[:, None]
    steps = np.stack(
        [
            np.stack([alone[0], -alone[0] * leaning[0]], axis=1),
            np.stack([-alone[1] * leaning[1], alone[1]], axis=1),
            shared,
        ]
    )
    return Weights(steps, np.stack([alone[0], alone[1], shared.sum(axis=1)]), unrest)


def find_steps(
    steps: np.ndarray, means: np.ndarray, first: int, weights: Weights, floor: np.ndarray, trust: np.ndarray
) -> Steps:
    """Steps of a chunk that may be a dropout's.

    Parameters
    ----------
    steps : shape (n_blocks * BLOCK + 2 * PEAK, channels, n_bands)
        With PEAK more on each side.
    means : ndarray [dB]
        Means of NEAR frames; those before the chunk's first step begin at entry ``first``, those after it five later.
    weights : Weights
    floor : ndarray [dB], shape (channels, n_bands)
    trust : ndarray, shape (channels, n_bands)
        Weight of each band's floor, 0 where it is not known.
    """
    blocks = weights.steps.shape[1]
    count = blocks * BLOCK
    sums = np.maximum(weights.sums.sum(axis=2).T, 1e-9)  # block, hypothesis
    flat = weights.steps.reshape(weights.steps.shape[0], blocks, -1).transpose(1, 2, 0)
    flat = np.ascontiguousarray(flat / np.sqrt(sums)[:, None], dtype=np.float32)  # steps in units of their spread
    spread = np.concatenate(
        [
            steps[:PEAK].reshape(PEAK, -1) @ flat[0],
            (steps[PEAK:-PEAK].reshape(blocks, BLOCK, -1) @ flat).reshape(count, -1),
            steps[-PEAK:].reshape(PEAK, -1) @ flat[-1],
        ]
    )
    size = np.abs(spread)
    at, which = np.nonzero(size[PEAK:-PEAK] >= LEAST_Z)
    highest = size[at[:, None] + np.arange(2 * PEAK + 1), which[:, None]].max(axis=1)
    z = spread[at + PEAK, which]
    block = at // BLOCK
    db = z / np.sqrt(sums[block, which])
    high = (np.abs(z) >= highest) & (np.abs(db) >= LEAST_DB)
    at, which, block, z, db = at[high], which[high], block[high], z[high], db[high]
    here, band_sums = weights.steps[which, block], weights.sums[which, block]
    raw = steps[at + PEAK]
    by_band = ((here * raw).sum(axis=1) / np.maximum(band_sums, 1e-9))[:, None]
    shares = band_sums[:, None] * np.ones((1, floor.shape[0], 1))
    together = which == weights.steps.shape[0] - 1  # every channel must do so by itself
    by_band = np.where(together[:, None, None], raw, by_band)
    shares = np.where(together[:, None, None], (band_sums[:, None] > 0) / weights.unrest[block], shares)
    total, size = shares.sum(axis=(1, 2)), np.abs(db)[:, None, None]
    uneven = (shares * np.abs(by_band - db[:, None, None])).sum(axis=(1, 2)) / np.maximum(total, 1e-9) / np.abs(db)
    contrary = (shares * (by_band * np.sign(db)[:, None, None] < size / 2)).sum(axis=(1, 2)) / np.maximum(total, 1e-9)
    low = means[np.clip(at + first + np.where(db > 0, 0, 5), 0, len(means) - 1)] - floor
    channels = floor.shape[0]
    struck = np.ones((1, 1)) if channels == 1 else np.concatenate([np.eye(channels), np.ones((1, channels))])
    struck = struck[which]
    share = trust * struck[:, :, None]
    open_ = (share * (low < OPEN_DB)).sum(axis=(1, 2)) >= OPEN_SHARE * share.sum(axis=(1, 2))
    open_ &= share.sum(axis=(1, 2)) > 0
    kept = (uneven <= UNEVEN) & (contrary <= CONTRARY) | open_
    return Steps(which, at, db, z, open_, here, band_sums, weights.unrest[block]).chosen(kept)
