"""Where a hum jumps in time: samples that never came shift all its lines at once, each by its own share of a turn.

The station's hum does not stop when samples are lost, so it comes back ahead of itself (check values, part 4, fault 15:
n samples lost are 2 pi f n / rate; known up to whole turns of the fundamental). Two seconds on both sides of each
quarter second are compared; a jump is what stands out of the slow drift that a grid has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.hum_zoom import Zoom

SIDE = 8  # blocks of a quarter second on each side
GRID = 121  # shifts tried over one turn of the fundamental
CERTAIN = 60.0  # chi-square gained by a shift: chance reaches it never in a year of sound
UNEXPLAINED = 0.25  # share of that which the best shift may leave
LEAST_ALIKE = 3.0  # blocks of a side that weigh alike
LEAST_S = 0.0005
MOST_LINES = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """One jump: the middle of the quarter second it lies in, and how far the hum came ahead, below one turn [s]."""

    at_s: float
    ahead_s: float


def jumps(zooms: Sequence[Zoom], hz: Sequence[float]) -> list[Jump]:
    """Jumps of a family in one chunk.

    Parameters
    ----------
    zooms : the strongest lines of the family, fundamental first
    hz : exact frequency of each of them
    """
    if not zooms or len(zooms[0].sums) < 4 * SIDE:
        return []
    places = np.arange(SIDE, len(zooms[0].sums) - SIDE)
    seen = [_phases(zoom, one, places) for zoom, one in zip(zooms[:MOST_LINES], hz)]
    phases, trust = np.array([phase for phase, _ in seen]), np.array([weight for _, weight in seen])
    phases = phases - _drift(phases)
    turn = 1 / hz[0]
    shifts = (np.arange(GRID) / (GRID - 1) - 0.5) * turn
    turns = 2 * np.pi * np.array(hz[:MOST_LINES])
    misfit = np.zeros((GRID, len(places)))
    for at, one in enumerate(turns):
        misfit += trust[at] * (2 - 2 * np.cos(phases[at][None, :] - one * shifts[:, None]))
    still = (trust * (2 - 2 * np.cos(phases))).sum(axis=0)
    best = misfit.argmin(axis=0)
    gained = still - misfit.min(axis=0)
    told = (gained > CERTAIN) & (misfit.min(axis=0) < UNEXPLAINED * still) & (np.abs(shifts[best]) >= LEAST_S)
    found = []
    for place in np.flatnonzero(told):
        low, high = max(0, place - SIDE), place + SIDE + 1
        if gained[place] == gained[low:high].max():
            at_s = (places[place] + 0.5) * zooms[0].block_s
            ahead = _between(misfit[:, place], int(best[place]), shifts)
            found.append(Jump(at_s=float(at_s), ahead_s=ahead % turn))
    return found


def undone(zoom: Zoom, hz: float, found: Sequence[Jump]) -> Zoom:
    """The same zoom with the jumps of a line at ``hz`` taken back, as if nothing had been lost."""
    ahead = np.zeros(len(zoom.sums))
    for jump in found:
        ahead += np.where(zoom.at_s > jump.at_s, jump.ahead_s, 0.0)
    return replace(zoom, sums=zoom.sums * np.exp(-2j * np.pi * hz * ahead)[:, None])


def _between(misfit: np.ndarray, best: int, shifts: np.ndarray) -> float:
    """The shift of least misfit, between the ones tried."""
    if not 0 < best < len(shifts) - 1:
        return float(shifts[best])
    before, here, after = misfit[best - 1 : best + 2]
    bend = max(before - 2 * here + after, 1e-30)
    return float(shifts[best] + (shifts[1] - shifts[0]) * 0.5 * (before - after) / bend)


def _phases(zoom: Zoom, hz: float, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Phase behind each place against that before it, and what it may be trusted: one over its variance."""
    still = zoom.sums * np.exp(-2j * np.pi * (hz - zoom.hz) * zoom.at_s)[:, None]
    before, behind = _side(still, zoom.weights, places - SIDE), _side(still, zoom.weights, places + 1)
    cross = (behind[0] * before[0].conj()).sum(axis=1)
    variance = (before[1] + behind[1]) / 2
    return np.angle(cross), np.where(np.abs(cross) > 0, 1 / np.maximum(variance, 1e-6), 0.0)


def _side(sums: np.ndarray, weights: np.ndarray, starts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean amplitude of each channel over the blocks from each start on, and its noise over its power."""
    at = starts[:, None] + np.arange(SIDE)
    total = np.maximum(weights[at].sum(axis=1), 1e-30)
    mean = sums[at].sum(axis=1) / total[:, None]
    left = sums[at] - mean[:, None, :] * weights[at][:, :, None]
    alike = total**2 / np.maximum((weights[at] ** 2).sum(axis=1), 1e-30)
    noise = (np.abs(left) ** 2).sum(axis=(1, 2)) * alike / np.maximum(alike - 1, 1e-3) / total**2
    noise[alike < LEAST_ALIKE] = np.inf  # one quiet moment among loud ones shows nothing of its own noise
    return mean, noise / np.maximum((np.abs(mean) ** 2).sum(axis=1), 1e-30)


def _drift(phases: np.ndarray) -> np.ndarray:
    """What the phases do slowly: the median over four times the width of a jump on either side."""
    reach = 4 * SIDE
    padded = np.pad(phases, ((0, 0), (reach, reach)), mode="reflect" if phases.shape[1] > reach else "edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=1), axis=2)
