"""Exposure: where highlights or shadows are cut off at the file's rails, and where the scanner's exposure breathes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.film.glances import Glances
from takeup.measure.film.stretches import Stretches, stretches


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """Clipped stretches of a film.

    ``high``, ``low`` share of each picture at the upper and lower rail [0..1]; ``gain`` by how much each picture is
    brighter than the first of its scene, content the same [natural log]; ``scenes`` runs without a cut; ``over``,
    ``under`` stretches cut off at a rail; ``over_pumps``, ``under_pumps`` those of them where the same scene stands
    unclipped next to them: the exposure moved, not the scene; ``rail`` the code at which highlights end.
    """

    high: np.ndarray
    low: np.ndarray
    gain: np.ndarray
    scenes: Stretches
    over: Stretches
    under: Stretches
    over_pumps: tuple[bool, ...]
    under_pumps: tuple[bool, ...]
    rail: int


def exposure(
    seen: Glances,
    counted: np.ndarray,
    *,
    over_share: float,
    under_share: float,
    pump_share: float,
    pump_gain: float,
    least_run: int,
    cut_correlation: float,
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
    pump_share : float
        The same where the exposure moved within the scene.
    pump_gain : float
        Brightness of one scene moving by more than this is the exposure's doing. [natural log]
    least_run : int
        Shorter stretches are passed over. [pictures]
    cut_correlation : float
        Neighbours that resemble each other less belong to two scenes.
    """
    high, rail = _rail(seen.at_255, seen.at_235, counted, 255, 235)
    low, _ = _rail(seen.at_0, seen.at_16, counted, 0, 16)
    change, same = _changes(seen.grid, rail)
    scenes = _scenes(same >= cut_correlation)
    gain = np.zeros(len(seen))
    for first, last in scenes:
        gain[first : last + 1] = np.cumsum(np.concatenate(([0.0], change[first:last])))
    over = _clipped(high, gain, scenes, counted, over_share, pump_share, pump_gain, least_run, 1)
    under = _clipped(low, gain, scenes, counted, under_share, pump_share, pump_gain, least_run, -1)
    return Exposure(
        high=high,
        low=low,
        gain=gain,
        scenes=scenes,
        over=tuple(run for run, _ in over),
        under=tuple(run for run, _ in under),
        over_pumps=tuple(pumps for _, pumps in over),
        under_pumps=tuple(pumps for _, pumps in under),
        rail=rail,
    )


def _rail(
    far: np.ndarray, near: np.ndarray, counted: np.ndarray, far_code: int, near_code: int
) -> tuple[np.ndarray, int]:
    """Shares at the rail this file uses: 0 and 255 where it goes there at all, else 16 and 235."""
    used = counted if counted.any() else np.ones(len(far), dtype=bool)
    beyond = near[used].sum()
    if far[used].sum() > 0.05 * beyond or beyond == 0:
        return far, far_code
    return near, near_code


def _changes(grid: np.ndarray, rail: int) -> tuple[np.ndarray, np.ndarray]:
    """Change of brightness from each picture to the next [natural log], and how alike the two are [-1..1]."""
    if len(grid) < 2:
        return np.zeros(0), np.zeros(0)
    blocks = grid.reshape(len(grid), -1).astype(np.float64)
    floor = 16.0 if rail == 235 else 0.0
    change, alike = np.zeros(len(grid) - 1), np.zeros(len(grid) - 1)
    for at in range(len(grid) - 1):
        before, after = blocks[at] - floor, blocks[at + 1] - floor
        told = (before > 8) & (after > 8) & (before < rail - floor - 6) & (after < rail - floor - 6)
        if told.sum() >= 12:
            change[at] = float(np.median(np.log(after[told] / before[told])))
            alike[at] = _correlation(np.log(before[told]), np.log(after[told]))
        else:
            alike[at] = _correlation(before, after)
    return change, alike


def _correlation(one: np.ndarray, other: np.ndarray) -> float:
    one, other = one - one.mean(), other - other.mean()
    power = np.sqrt((one**2).sum() * (other**2).sum())
    return float((one * other).sum() / power) if power > 1e-9 else 1.0


def _scenes(joined: np.ndarray) -> Stretches:
    cuts = np.flatnonzero(~joined) + 1
    edges = [0, *cuts.tolist(), len(joined) + 1]
    return tuple((first, last - 1) for first, last in zip(edges[:-1], edges[1:]))


def _clipped(
    share: np.ndarray,
    gain: np.ndarray,
    scenes: Stretches,
    counted: np.ndarray,
    most: float,
    pump_share: float,
    pump_gain: float,
    least_run: int,
    sign: int,
) -> list[tuple[tuple[int, int], bool]]:
    """Clipped stretches scene by scene, each with whether exposure alone brought it about."""
    found = []
    for first, last in scenes:
        here = slice(first, last + 1)
        open_ = counted[here] & (share[here] < pump_share / 2)
        usual = float(np.median(sign * gain[here][open_])) if open_.sum() >= least_run else np.inf
        moved = counted[here] & (share[here] >= pump_share) & (sign * gain[here] > usual + pump_gain)
        for run in stretches(moved | (counted[here] & (share[here] >= most))):
            if run[1] - run[0] + 1 >= least_run:
                pumped = moved[run[0] : run[1] + 1].mean() > 0.5
                found.append(((first + run[0], first + run[1]), bool(pumped)))
    return found
