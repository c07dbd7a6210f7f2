"""The blurred step that fits an edge best, and how lopsided the edge is beside it."""

from __future__ import annotations

from dataclasses import dataclass
from math import erf

import numpy as np

from takeup.measure.scan import edges

REACH_PX = 24.0  # the step is fitted so far to each side
PIECES = 5  # of an edge, each fitted by itself
PHI_AT = np.linspace(-6, 6, 961)
PHI = np.array([(1 + erf(z / 2**0.5)) / 2 for z in PHI_AT])


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The blurred step that fits an edge best: ``sigma`` of the blur and where it lies [px]; ``lopsided``: by how much
    its two halves differ, in shares of its height (root mean square)."""

    sigma: float
    at: float
    lopsided: float


def step_fit(grey: np.ndarray, distance: np.ndarray, side: float) -> Step | None:
    """Fit a blurred step to an edge; None when none fits.

    Notes
    -----
    Least squares (Gauss-Newton) of low + (high - low) Phi((d - at) / sigma) over means of quarters of a pixel.
    """
    reach = min(side, REACH_PX)
    inside = (distance > -reach) & (distance < reach)
    number = ((distance[inside] + reach) * edges.BINS).astype(np.int64)
    count = np.bincount(number)
    known = count > 0
    places = np.bincount(number, distance[inside])[known] / count[known]
    levels = np.bincount(number, grey[inside])[known] / count[known]
    weight = count[known] / count.max()
    at, sigma = 0.0, 1.2
    for _ in range(12):
        z = (places - at) / sigma
        share = np.interp(z, PHI_AT, PHI)
        bell = np.exp(-(z**2) / 2) / (sigma * (2 * np.pi) ** 0.5)
        low, high = _solved(np.stack([1 - share, share]), levels, weight)
        height = high - low
        slopes = np.stack([-height * bell, -height * bell * z, 1 - share, share])
        change = _solved(slopes, levels - low - height * share, weight)
        at += float(np.clip(change[0], -0.5, 0.5))
        sigma = float(np.clip(sigma * np.clip(1 + change[1] / sigma, 0.7, 1.4), 0.2, side / 2))
        if abs(at) > side / 2:
            return None
        if abs(change[0]) < 1e-3 and abs(change[1]) < 1e-3 * sigma:
            break
    return Step(sigma=sigma, at=at, lopsided=_lopsided(places - at, levels - low - height * share, sigma) / abs(height))


def step_error(grey: np.ndarray, distance: np.ndarray, side: float) -> float:
    """By how much an edge's blur may be wrong: standard error, in shares of it, by how far its pieces differ."""
    pieces = np.array_split(np.arange(grey.shape[0]), PIECES)
    steps = [step_fit(grey[piece], distance[piece], side) for piece in pieces]
    logs = [np.log(step.sigma) for step in steps if step is not None]
    return float(np.std(logs, ddof=1) / len(logs) ** 0.5) if len(logs) > PIECES / 2 else float("inf")


def _lopsided(off: np.ndarray, left: np.ndarray, sigma: float) -> float:
    """What a fit leaves alike on both sides of an edge: a blur that is the same both ways leaves nothing."""
    near = np.linspace(0.25, max(3 * sigma, 2.0), 24)
    both = (np.interp(near, off, left) + np.interp(-near, off, left)) / 2
    return float(np.sqrt((both**2).mean()))


def _solved(parts: np.ndarray, wanted: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weighted least squares: shares of the parts that add up to what is wanted."""
    square = (parts * weight) @ parts.T
    return np.linalg.solve(square + 1e-9 * np.trace(square) * np.eye(len(parts)), (parts * weight) @ wanted)
