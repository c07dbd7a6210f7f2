"""Noise of the picture: the RMS of luma on even areas, told as a distance to full white.

Tape noise is independent from line to line, along a line it is not. So it is read from the vertical second difference
within one field (variance 6 s^2), and only where a smoothed picture is even: the choice of places looks at block means,
the noise at what is left between them, so that choosing even places does not choose quiet ones.
"""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.video.glance import inner

LINES, COLUMNS = 8, 32  # of a block in one field
EVEN_SHARE = 0.06  # the most even blocks of a picture
UNEVEN = 5.0  # quarters of an even block differ by no more than this, and by what noise explains [8-bit codes]


def noise_codes(luma: np.ndarray, bits: int) -> float | None:
    """RMS noise of one picture [8-bit codes]; None when it is too small to hold enough blocks.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    """
    unit = 2.0 ** (bits - 8)
    part = inner(luma)
    found = [_field(part[parity::2].astype(np.float32) / unit) for parity in (0, 1)]
    powers = np.concatenate(found)
    return float(np.sqrt(np.median(powers))) if len(powers) >= 6 else None


def _field(lines: np.ndarray) -> np.ndarray:
    """Noise power of the most even blocks of a field."""
    rows, columns = lines.shape[0] // LINES, lines.shape[1] // COLUMNS
    if rows < 3 or columns < 3:
        return np.zeros(0)
    lines = lines[: rows * LINES, : columns * COLUMNS]
    small = cv2.resize(lines, (2 * columns, 2 * rows), interpolation=cv2.INTER_AREA)
    parts = small.reshape(rows, 2, columns, 2)
    means = parts.mean(axis=(1, 3))
    uneven = parts.max(axis=(1, 3)) - parts.min(axis=(1, 3))
    around = np.zeros_like(means)  # a block beside an edge is not even either
    around[1:-1, 1:-1] = np.max(
        [
            np.abs(means[1:-1, 1:-1] - means[a : a + rows - 2, b : b + columns - 2])
            for a in (0, 1, 2)
            for b in (0, 1, 2)
        ],
        axis=0,
    )
    second = lines[2:] - 2 * lines[1:-1] + lines[:-2]
    second = np.concatenate([second, np.zeros((2, lines.shape[1]), np.float32)])
    inside = second.reshape(rows, LINES, columns, COLUMNS)[:, : LINES - 2]
    power = np.square(inside).mean(axis=(1, 3)) / 6
    usable = (means > 8) & (means < 246)
    usable[[0, -1], :] = usable[:, [0, -1]] = False
    order = np.argsort(np.where(usable, uneven + around, np.inf), axis=None)
    number = max(4, int(EVEN_SHARE * usable.sum()))
    chosen = order[: min(number, int(usable.sum()))]
    power, uneven = power.ravel()[chosen], uneven.ravel()[chosen]
    return power[uneven <= UNEVEN + 0.2 * np.minimum(np.sqrt(power), 15.0)]
