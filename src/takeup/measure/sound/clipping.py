"""Cut tops: runs of equal samples at the extreme of their neighbourhood, entered and left by a jump.

Equal extremes again and again cannot come from tape, whose noise spreads over thousands of steps of a 24-bit converter:
they were cut in the station. Method ours (decision 0011); the flat-top shape is Laguna & Lerch's (AES 141, 2016,
abstract read).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from takeup.measure.sound.hops import Hops

NEAR, SAME = 5, 200  # hops: nothing near may exceed a cut top; where else within so many the same top counts too


@dataclass(frozen=True, slots=True, kw_only=True)
class CutTops:
    """One stretch of them, over all channels. Times in hops from the start of the file."""

    first: int
    end: int  # one past the last
    samples: int  # stuck at the extreme
    runs: int  # of at least three equal samples
    level: float  # highest of the extremes, share of full scale


@dataclass(frozen=True, slots=True, kw_only=True)
class ClippingState:
    """Frozen; ``step`` makes a new one."""

    gap: int  # hops: stretches nearer than this are one
    at: int = 0  # hop number of the first row of ``waiting``
    waiting: np.ndarray | None = None  # extremes, counts and runs of hops not decided yet
    found: tuple[CutTops, ...] = field(default=())

    @property
    def decided(self) -> int:
        """Hops from the start that no later sample can change."""
        return max(0, self.at + SAME)


def begin_clipping(gap: int) -> ClippingState:
    """Nothing heard yet."""
    return ClippingState(gap=gap)


def step_clipping(state: ClippingState, hops: Hops) -> ClippingState:
    """Look at the hops of one block; the last few wait for what follows them."""
    rows = np.stack(
        [
            np.concatenate([hops.high, -hops.low], axis=1),
            np.concatenate([hops.high_count, hops.low_count], axis=1),
            np.concatenate([hops.high_runs, hops.low_runs], axis=1),
        ],
        axis=2,
    )
    if state.waiting is None:
        before = np.zeros((2 * SAME, *rows.shape[1:]))
        return _decide(replace(state, at=-2 * SAME), np.concatenate([before, rows]))
    return _decide(state, np.concatenate([state.waiting, rows]))


def finish_clipping(state: ClippingState) -> tuple[CutTops, ...]:
    """All stretches, in order."""
    if state.waiting is None:
        return ()
    after = np.zeros((2 * SAME, *state.waiting.shape[1:]))
    return _decide(state, np.concatenate([state.waiting, after])).found


def _decide(state: ClippingState, rows: np.ndarray) -> ClippingState:
    """Decide every hop that has ``SAME`` decided-or-waiting hops around it."""
    keep = 2 * SAME
    count = len(rows) - keep
    if count <= 0:
        return replace(state, waiting=rows)
    found = list(state.found)
    if (rows[..., 2] > 0).any():
        stuck, runs, level = _stuck(rows)
        for hop in np.flatnonzero(stuck):
            _join(found, state.at + SAME + int(hop), int(stuck[hop]), int(runs[hop]), float(level[hop]), state.gap)
    return replace(state, at=state.at + count, waiting=rows[count:], found=tuple(found))


def _stuck(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stuck samples, runs and level of each hop that has ``SAME`` hops on both sides."""
    extreme, count, runs = rows[..., 0], rows[..., 1], rows[..., 2]
    padded = np.pad(extreme, ((NEAR, NEAR), (0, 0)))
    tops = (extreme > 0) & (extreme >= sliding_window_view(padded, 2 * NEAR + 1, axis=0).max(axis=-1))
    proven = tops & (runs > 0)
    stuck = np.zeros_like(proven)
    for column in np.flatnonzero(proven.any(axis=0)):
        for level in np.unique(extreme[proven[:, column], column]):
            same = extreme[:, column] == level
            stuck[:, column] |= tops[:, column] & same & _around(proven[:, column] & same, SAME)
    middle = slice(SAME, len(rows) - SAME)
    stuck = stuck[middle]
    samples = np.where(stuck, count[middle], 0).sum(axis=1)
    return samples, np.where(stuck, runs[middle], 0).sum(axis=1), np.where(stuck, extreme[middle], 0).max(axis=1)


def _around(mask: np.ndarray, reach: int) -> np.ndarray:
    """True wherever the mask is true within so many places."""
    sums = np.concatenate([np.zeros(reach + 1, int), np.cumsum(mask), np.full(reach, mask.sum())])
    return sums[2 * reach + 1 :] > sums[: len(mask)]


def _join(found: list[CutTops], hop: int, samples: int, runs: int, level: float, gap: int) -> None:
    if found and hop - found[-1].end <= gap:
        last = found[-1]
        found[-1] = replace(
            last,
            end=hop + 1,
            samples=last.samples + samples,
            runs=last.runs + runs,
            level=max(last.level, level),
        )
    else:
        found.append(CutTops(first=hop, end=hop + 1, samples=samples, runs=runs, level=level))
