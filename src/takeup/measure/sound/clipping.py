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
EXTREME, COUNT, RUNS = 0, 1, 2  # what is kept of each hop and column (the highest of each channel, then the lowest)


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
    at: int = 0  # hop number of the first row of ``kept``
    kept: np.ndarray | None = None  # extremes, counts and runs of the last hops: (n, columns, 3)
    proven: tuple[tuple[int, float, int], ...] = ()  # column, level, hop of the last proof of it, for twice SAME hops
    found: tuple[CutTops, ...] = field(default=())

    @property
    def decided(self) -> int:
        """Hops from the start that no later sample can add to a stretch."""
        return max(0, self.at + NEAR)


def begin_clipping(gap: int) -> ClippingState:
    """Nothing heard yet."""
    return ClippingState(gap=gap)


def step_clipping(state: ClippingState, hops: Hops) -> ClippingState:
    """Look at the hops of one block.

    A cut top is told as soon as ``NEAR`` hops have followed it. A stretch keeps the beginning it is first told with:
    what a later proof of another level finds before it counts, but does not move it.
    """
    rows = np.stack(
        [
            np.concatenate([hops.high, -hops.low], axis=1),
            np.concatenate([hops.high_count, hops.low_count], axis=1),
            np.concatenate([hops.high_runs, hops.low_runs], axis=1),
        ],
        axis=2,
    )
    if state.kept is None:
        before = np.zeros((SAME + 2 * NEAR, *rows.shape[1:]))
        return _decide(replace(state, at=-len(before)), np.concatenate([before, rows]))
    return _decide(state, np.concatenate([state.kept, rows]))


def finish_clipping(state: ClippingState) -> tuple[CutTops, ...]:
    """All stretches, in order."""
    if state.kept is None:
        return ()
    after = np.zeros((NEAR, *state.kept.shape[1:]))
    return _decide(state, np.concatenate([state.kept, after])).found


def _decide(state: ClippingState, rows: np.ndarray) -> ClippingState:
    """Decide every hop that has ``NEAR`` hops behind it; ``SAME`` decided ones are kept before it."""
    first, count = SAME + NEAR, len(rows) - SAME - 2 * NEAR
    if count <= 0:
        return replace(state, kept=rows)
    found, proven = state.found, state.proven
    if proven or (rows[first : first + count, :, RUNS] > 0).any():
        stuck, proven = _stuck(rows, first, state)
        found = _joined(found, stuck, state.gap)
    return replace(state, at=state.at + count, kept=rows[count:].copy(), proven=proven, found=found)


def _stuck(rows: np.ndarray, first: int, state: ClippingState) -> tuple[np.ndarray, tuple[tuple[int, float, int], ...]]:
    """Hops newly known to be stuck, in the order in which they became known, and the proofs still of use.

    Each is: hop in which it became known, hop, stuck samples, runs, level; shape (n, 5). A hop is stuck where a proven
    top of the same level lies within ``SAME`` hops: one before it makes it known at once, one behind it then.
    """
    around = sliding_window_view(rows[..., EXTREME], 2 * NEAR + 1, axis=0).max(axis=-1)  # from row NEAR on
    extreme = rows[NEAR : len(rows) - NEAR, :, EXTREME]
    tops = (extreme > 0) & (extreme >= around)
    begin, at = first - NEAR, state.at + NEAR  # of the rows above: the first undecided one; the hop of the first one
    proofs = tops & (rows[NEAR : len(rows) - NEAR, :, RUNS] > 0)
    known: dict[tuple[int, float], int] = {(column, level): hop for column, level, hop in state.proven}
    stuck = [np.empty((0, 5))]
    levels = {(int(column), float(extreme[row + begin, column])) for row, column in np.argwhere(proofs[begin:])}
    for column, level in sorted(levels | known.keys()):
        same = tops[:, column] & (extreme[:, column] == level)
        places, new = np.flatnonzero(same), np.flatnonzero(same[begin:] & proofs[begin:, column]) + begin
        before = known.get((column, level), at - SAME - 1) - at
        last = np.concatenate([[before], new])[np.searchsorted(new, places, side="right")]
        at_once = places - last <= SAME
        behind = np.append(new, len(rows) + SAME)[np.searchsorted(new, places)]
        chosen = np.where(at_once, places >= begin, behind - places <= SAME)
        told = np.where(at_once, places, behind)[chosen] + at
        places = places[chosen]
        figures = rows[NEAR + places, column]
        stuck.append(np.column_stack([told, places + at, figures[:, COUNT], figures[:, RUNS], figures[:, EXTREME]]))
        if len(new):
            known[column, level] = int(new[-1]) + at
    events = np.concatenate(stuck)
    end = at + len(extreme)
    useful = tuple((*key, hop) for key, hop in sorted(known.items()) if end - hop <= 2 * SAME)
    return events[np.lexsort((events[:, 1], events[:, 0]))], useful


def _joined(found: tuple[CutTops, ...], stuck: np.ndarray, gap: int) -> tuple[CutTops, ...]:
    """Stretches with more hops put to the last one, or to a new one."""
    stretches = [[one.first, one.end, one.samples, one.runs, one.level] for one in found[-1:]]
    for _, hop, samples, runs, level in stuck.tolist():
        if stretches and hop - stretches[-1][1] <= gap:
            last = stretches[-1]
            last[1:] = [max(last[1], hop + 1), last[2] + samples, last[3] + runs, max(last[4], level)]
        else:
            stretches.append([hop, hop + 1, samples, runs, level])
    made = (
        CutTops(first=int(first), end=int(end), samples=int(samples), runs=int(runs), level=level)
        for first, end, samples, runs, level in stretches
    )
    return (*found[:-1], *made)
