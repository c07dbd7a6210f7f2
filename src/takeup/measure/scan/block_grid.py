"""Tells a lossy block grid (JPEG) behind pixels that are stored whole, and where its blocks begin.

Packing with loss rounds the cosine coefficients of 8 x 8 blocks to steps. Once the picture is unpacked, coefficients
taken on the same grid still crowd round whole multiples of their step; on each of the other 63 grids they do not. So
every scan carries its own 63 controls: texture, grain and blur treat all grids alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

BLOCK = 8
# Coefficients looked at (down, across): the upper ones, where steps are widest, spread over the block.
LOOKED_AT = ((0, 3), (3, 0), (1, 4), (4, 1), (2, 5), (5, 2), (3, 3), (4, 4), (7, 3), (3, 6))
BINS_PER_CODE = 8
REACH_CODES = 24  # coefficients beyond are left out: steps are told from the many small ones
# Steps tried, in codes; 6 % apart, so that a picture whose contrast was changed after unpacking is still told.
STEPS = tuple(float(step) for step in 0.95 * 1.06 ** np.arange(52))
LEAST_PX = 64 * 64
LEAST_HELD, LEAST_COEFFICIENTS = 200, 4  # blocks per grid, and coefficients with so many, before anything is told
# Half sure where the best grid stands so far out. The lead counts twice: where few coefficients lie the other grids
# scatter, yet none comes near the packed one; and enlarged scans favour several grids at once (decision 0094).
HALF_SURE_Z, HALF_SURE_LEAD = 9.0, 3.0
STEEPNESS = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockGrid:
    """How sure it is that the pixels were packed in blocks.

    Attributes
    ----------
    certainty : float
        0 to 1.
    cropped : (int, int)
        Columns and rows that were cut off the packed picture, each modulo 8; meaningless when certainty is low.
    z : float
        How far the best grid stands above the others, in their robust standard deviations.
    lead : float
        The same, in distances of the second best.
    """

    certainty: float
    cropped: tuple[int, int]
    z: float
    lead: float


def block_grid(planes: Sequence[np.ndarray], corners: Sequence[tuple[int, int]]) -> BlockGrid | None:
    """Look for a grid in several places of one scan.

    Parameters
    ----------
    planes : sequence of ndarray, shape (rows, columns), float32
        Luma of each place in 8-bit codes.
    corners : sequence of (int, int)
        Where each place begins in the scan (x, y).

    Returns
    -------
    BlockGrid or None
        None when too few pixels vary to tell.

    Notes
    -----
    The mean cosine of a coefficient's phase within its step (its characteristic function), after the coefficient comb
    of Fan and de Queiroz, IEEE Trans. Image Process. 12(2) 2003; the step of each coefficient is whichever fits best.
    """
    counts = np.zeros((len(LOOKED_AT), BLOCK * BLOCK, _bins()), np.float64)
    for plane, (x, y) in zip(planes, corners, strict=True):
        if plane.size >= LEAST_PX and float(plane.std()) > 0.3:
            counts += _histograms(plane, x, y)
    counts = counts[counts.sum(axis=2).min(axis=1) >= LEAST_HELD]
    if len(counts) < LEAST_COEFFICIENTS:
        return None
    held = counts.sum(axis=2)
    fit = counts @ _cosines() / held[..., None]  # (coefficient, grid, step)
    spread = np.sqrt(_variance(counts, held) / held[..., None])
    middle = np.median(fit, axis=1, keepdims=True)
    above = (fit - middle) / np.maximum(spread, 1e-4)
    told = np.sqrt(np.maximum(above, 0.0).max(axis=2)).sum(axis=0)  # the root, so that no coefficient decides alone
    return _best(told)


def _best(told: np.ndarray) -> BlockGrid:
    best = int(told.argmax())
    row, column = divmod(best, BLOCK)
    grid = told.reshape(BLOCK, BLOCK)
    apart = np.delete(np.delete(grid, row, axis=0), column, axis=1)  # a grid that fits one way only fits half
    middle = float(np.median(apart))
    scale = 1.4826 * float(np.median(np.abs(apart - middle)))
    out = float(told[best]) - middle
    z, lead = out / max(scale, 1e-6), out / max(float(apart.max()) - middle, 1e-6)
    odds = (z / HALF_SURE_Z * (lead / HALF_SURE_LEAD) ** 2) ** (STEEPNESS / 3) if out > 0 else 0.0
    return BlockGrid(certainty=odds / (1.0 + odds), cropped=(-column % BLOCK, -row % BLOCK), z=z, lead=lead)


def _histograms(plane: np.ndarray, x: int, y: int) -> np.ndarray:
    """Of every coefficient on each of the 64 grids of the scan: (coefficient, grid, bin)."""
    rows, columns = (side - BLOCK + 1 for side in plane.shape)
    grid = ((np.arange(rows) + y) % BLOCK * BLOCK)[:, None] + ((np.arange(columns) + x) % BLOCK)[None, :]
    bins = _bins()
    base = (grid * bins).astype(np.int32)
    found = np.empty((len(LOOKED_AT), BLOCK * BLOCK, bins))
    for number, (down, across) in enumerate(LOOKED_AT):
        slid = cv2.sepFilter2D(plane, cv2.CV_32F, _wave(across), _wave(down), anchor=(0, 0))[:rows, :columns]
        at = np.abs(slid)
        at *= BINS_PER_CODE
        np.minimum(at, bins, out=at)
        where = np.rint(at).astype(np.int32)
        inside = where < bins
        found[number] = np.bincount((base + where)[inside], minlength=BLOCK * BLOCK * bins).reshape(-1, bins)
    return found


def _bins() -> int:
    return REACH_CODES * BINS_PER_CODE


@cache
def _wave(order: int) -> np.ndarray:
    """A cosine of the block transform, orthonormal."""
    at = np.arange(BLOCK)
    scale = np.sqrt((1 if order == 0 else 2) / BLOCK)
    return (scale * np.cos((2 * at + 1) * order * np.pi / (2 * BLOCK))).astype(np.float32)


@cache
def _cosines() -> np.ndarray:
    size = np.arange(_bins()) / BINS_PER_CODE
    waves: np.ndarray = np.cos(2 * np.pi * size[:, None] / np.asarray(STEPS)[None, :])
    return waves


def _variance(counts: np.ndarray, held: np.ndarray) -> np.ndarray:
    """Variance of the cosine over all grids together: (coefficient, 1, step)."""
    whole = counts.sum(axis=1) / held.sum(axis=1)[:, None]
    mean, square = whole @ _cosines(), whole @ _cosines() ** 2
    spread: np.ndarray = np.maximum(square - mean**2, 0.0)[:, None, :]  # rounding may leave a little less than none
    return spread
