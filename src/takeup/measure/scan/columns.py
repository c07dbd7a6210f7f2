"""What is usual among columns of a lid, and how a streak of some columns stands out from it.

A lid's own weave makes columns next to each other go together; what the others say of a column is taken out of it.
"""

from __future__ import annotations

import cv2
import numpy as np

SHARED_PX = 21  # columns of a weave that are known to go together: what the others say of a column is taken out
CLIPPED = 3.0  # times what is usual: what lies farther off has no more say in that
SIGMA = 1.4826  # standard deviations in a median absolute deviation


def usual_size(values: np.ndarray, where: np.ndarray) -> float:
    """Standard deviation of what lies about nought, by its median."""
    return SIGMA * float(np.median(values[where])) if where.any() else 1.0


def covariance(away: np.ndarray, rows: np.ndarray, told: np.ndarray) -> np.ndarray:
    """How columns next to each other go together, shape (SHARED_PX, SHARED_PX), 1 for each with itself."""
    unit = (away * rows).sum(axis=0) / np.sqrt(np.maximum(rows.sum(axis=0), 1))
    most = CLIPPED * usual_size(np.abs(unit), told)
    unit, there = np.where(told, np.clip(unit, -most, most), 0).astype(np.float64), told.astype(np.float64)
    shared = np.zeros(SHARED_PX)
    for lag in range(min(SHARED_PX, unit.size // 2)):
        count = there[: unit.size - lag] @ there[lag:]
        shared[lag] = unit[: unit.size - lag] @ unit[lag:] / max(count, 1.0)
    shared = shared / max(shared[0], 1e-12)
    shared[1:] *= 1 - np.arange(1, SHARED_PX) / SHARED_PX  # what is estimated from few pairs must not seem sure
    at = np.abs(np.subtract.outer(np.arange(SHARED_PX), np.arange(SHARED_PX)))
    return np.asarray(shared[at] + 1e-3 * np.eye(SHARED_PX))


def standing_out(away: np.ndarray, covariance: np.ndarray, width: int) -> np.ndarray:
    """How much a streak of ``width`` columns from each on stands out, given what its neighbours say."""
    first = (SHARED_PX - width) // 2
    shape = np.zeros(SHARED_PX)
    shape[first : first + width] = 1
    weights = np.linalg.solve(covariance, shape)
    kernel = (weights / (weights @ shape)).astype(np.float32)
    one = np.ones(1, np.float32)
    return cv2.sepFilter2D(away, -1, kernel, one, anchor=(first, 0), borderType=cv2.BORDER_CONSTANT)


def widened(values: np.ndarray, width: int) -> np.ndarray:
    """Sums over ``width`` columns from each on; nothing where the scan ends before."""
    if width == 1:
        return values
    total = np.cumsum(np.pad(values, ((0, 0), (1, 0))), axis=1)
    summed = np.zeros_like(values)
    summed[:, : -width + 1] = total[:, width:] - total[:, :-width]
    return summed


def running(values: np.ndarray, flip: bool) -> np.ndarray:
    """Sums from the first stretch of rows (or, flipped, the last) up to each but the last."""
    sums = np.ascontiguousarray(values[::-1] if flip else values)[:-1].copy()
    for row in range(1, len(sums)):  # faster than a cumulative sum, which walks down the columns
        sums[row] += sums[row - 1]
    return sums
