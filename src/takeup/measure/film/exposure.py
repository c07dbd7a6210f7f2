"""Exposure: where highlights or shadows are cut off at the file's rails, and where the scanner's exposure breathes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.film.glances import Glances
from takeup.measure.film.stretches import Stretches, stretches

CLOSE_TO_RAIL = 6.0  # a block whose mean is nearer to a rail tells nothing of the exposure [code]
SAME_VIEW = 0.8  # likeness of two pictures of one view under two exposures
BEYOND = 0.005  # share of luma beyond 16 to 235 that coding alone does not leave
LEAST_BLOCKS = 24  # blocks that must tell


@dataclass(frozen=True, slots=True, kw_only=True)
class Clipped:
    """One stretch cut off at a rail. ``pumps``: the same view stands uncut beside it, so the exposure moved."""

    first: int
    last: int
    pumps: bool
    share: float  # of the picture at the rail, mean over the stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """Clipped stretches of a film.

    ``high``, ``low`` share of each picture at the upper and lower rail [0..1]; ``scenes`` runs without a cut;
    ``over``, ``under`` stretches cut off; ``top``, ``bottom`` the codes at which this file's light ends.
    """

    high: np.ndarray
    low: np.ndarray
    scenes: Stretches
    over: tuple[Clipped, ...]
    under: tuple[Clipped, ...]
    top: int
    bottom: int


def exposure(
    seen: Glances,
    counted: np.ndarray,
    *,
    over_share: float,
    under_share: float,
    dark_light: float,
    pump_share: float,
    pump_gain: float,
    least_run: int,
    cut_correlation: float,
    full_range: bool,
) -> Exposure:
    """Find what the scanner's exposure cut off.

    Parameters
    ----------
    seen : Glances
        Of pictures without repeats.
    counted : ndarray, shape (n,), bool
        Pictures with something on them.
    over_share, under_share : float
        Share of a picture at a rail from which on it counts as cut off.
    dark_light : float
        A picture whose brightest hundredth stays under this counts as dark all over. [code]
    pump_share : float
        Share at a rail that counts where the exposure moved and the view did not.
    pump_gain : float
        One view brighter or darker by this is the exposure's doing. [natural log]
    least_run : int
        Shorter stretches are passed over. [pictures]
    cut_correlation : float
        Neighbours that resemble each other less belong to two scenes.
    full_range : bool
        Whether the file says that its codes run from 0 to 255; one that says 16 to 235 and goes beyond is taken so too.
    """
    used = counted if counted.any() else np.ones(len(seen), dtype=bool)
    full = full_range or float(seen.beyond[used].mean()) > BEYOND
    top, bottom = (255, 0) if full else (235, 16)
    high = seen.white if full else seen.video_white
    low = seen.black if full else seen.video_black
    low = np.where(seen.light < dark_light, 1.0, low)
    view = _View(seen.grid, float(bottom), float(top))
    scenes = _scenes(view.alike() >= cut_correlation)
    over = _clipped(high, view, scenes, counted, over_share, pump_share, pump_gain, least_run, 1)
    under = _clipped(low, view, scenes, counted, under_share, pump_share, pump_gain, least_run, -1)
    return Exposure(high=high, low=low, scenes=scenes, over=over, under=under, top=top, bottom=bottom)


class _View:
    """The pictures' blocks as light above black, and how two pictures compare."""

    def __init__(self, grid: np.ndarray, bottom: float, top: float) -> None:
        self.grid = grid.reshape(len(grid), -1)
        self.bottom = bottom
        self.most = top - bottom - CLOSE_TO_RAIL

    def compare(self, one: int, other: int) -> tuple[float, float]:
        """Brightness of ``other`` over ``one`` [natural log] and the likeness of the two [-1..1]."""
        before, after = (self.grid[at].astype(np.float64) - self.bottom for at in (one, other))
        told = (np.minimum(before, after) > CLOSE_TO_RAIL) & (np.maximum(before, after) < self.most)
        if told.sum() < LEAST_BLOCKS:
            return 0.0, _likeness(before, after)
        logs = np.log(before[told]), np.log(after[told])
        return float(np.median(logs[1] - logs[0])), _likeness(*logs)

    def alike(self) -> np.ndarray:
        """Likeness of each picture with the next, shape (n - 1,)."""
        return np.array([self.compare(at, at + 1)[1] for at in range(len(self.grid) - 1)])


def _likeness(one: np.ndarray, other: np.ndarray) -> float:
    one, other = one - one.mean(), other - other.mean()
    power = np.sqrt((one**2).sum() * (other**2).sum())
    return float((one * other).sum() / power) if power > 1e-9 else 1.0


def _scenes(joined: np.ndarray) -> Stretches:
    edges = [0, *(np.flatnonzero(~joined) + 1).tolist(), len(joined) + 1]
    return tuple((first, last - 1) for first, last in zip(edges[:-1], edges[1:]))


def _clipped(
    share: np.ndarray,
    view: _View,
    scenes: Stretches,
    counted: np.ndarray,
    most: float,
    pump_share: float,
    pump_gain: float,
    least_run: int,
    sign: int,
) -> tuple[Clipped, ...]:
    """Clipped stretches, scene by scene."""
    found: list[Clipped] = []
    for first, last in scenes:
        here = np.arange(first, last + 1)[counted[first : last + 1]]
        if len(here) < least_run:
            continue
        usual = float(np.percentile(share[here], 10))  # a window in the shot is there all the time
        open_ = here[share[here] < usual + pump_share / 2]
        moved = np.zeros(last - first + 1, dtype=bool)
        for low, high in _runs(here[share[here] >= 2 * usual + pump_share], first, last, least_run):
            run = np.arange(low, high + 1)
            if _pumps(view, run, open_, sign, pump_gain):
                moved[low - first : high + 1 - first] = True
                found.append(_stretch(share, low, high, pumps=True))
        heavy = here[(share[here] >= most) & ~moved[here - first]]
        found.extend(_stretch(share, *run, pumps=False) for run in _runs(heavy, first, last, least_run))
    return tuple(sorted(found, key=lambda one: one.first))


def _runs(at: np.ndarray, first: int, last: int, least_run: int) -> list[tuple[int, int]]:
    marked = np.zeros(last - first + 1, dtype=bool)
    marked[at - first] = True
    return [(first + low, first + high) for low, high in stretches(marked) if high - low + 1 >= least_run]


def _stretch(share: np.ndarray, first: int, last: int, *, pumps: bool) -> Clipped:
    return Clipped(first=first, last=last, pumps=pumps, share=float(share[first : last + 1].mean()))


def _pumps(view: _View, run: np.ndarray, open_: np.ndarray, sign: int, pump_gain: float) -> bool:
    """Whether the same view stands uncut next to the run, darker (or brighter) by more than ``pump_gain``."""
    beside = [*open_[open_ < run[0]][-1:].tolist(), *open_[open_ > run[-1]][:1].tolist()]
    for uncut in beside:
        moved = 0
        tried = np.unique(np.linspace(0, len(run) - 1, 5).astype(int))
        for at in run[tried]:
            gain, alike = view.compare(uncut, int(at))
            moved += alike >= SAME_VIEW and sign * gain >= pump_gain
        if moved > len(tried) / 2:
            return True
    return False
