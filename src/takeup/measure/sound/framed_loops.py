"""The loop behind the traces of lossy coding: how often each line lies near zero at each offset of the frames."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.compiling import compiled


def _near_zero(lines: np.ndarray, period: int, limits: np.ndarray, about: np.ndarray, counts: np.ndarray) -> None:
    """Count, for each line and offset, the frames in which the line lies near zero against its mean square about it.

    Parameters
    ----------
    lines : float32 array, shape (k, n)
        Each line at every offset.
    period : int
        Offsets from frame to frame; whole frames are counted.
    limits : float32 array, shape (l,)
        What is near, as shares of the mean square within half a period on each side.
    about : float32 array, shape (2, n), changed in place
        Room for the sum of the squares about each offset, and over how many it is taken.
    counts : float32 array of nothing, shape (l * k, period), changed in place
        Limit after limit.
    """
    count, half, end = lines.shape[0], period // 2, lines.shape[1]
    sums, spans = about[0], about[1]
    for at in range(end):
        spans[at] = min(end - 1, at + half) - max(0, at - half)
    for line in range(count):
        values = lines[line]
        total = 0.0  # of the squares behind the window's first value up to and with its last
        for at in range(1, min(half, end)):
            total += values[at] * values[at]
        for at in range(min(half + 1, end)):
            if at + half < end:
                total += values[at + half] * values[at + half]
            sums[at] = total
        for at in range(half + 1, end - half):  # one sum to wait for at each step, not two
            coming, going = values[at + half] * values[at + half], values[at - half] * values[at - half]
            total += np.float64(coming) - np.float64(going)
            sums[at] = total
        for at in range(max(half + 1, end - half), end):
            total -= values[at - half] * values[at - half]
            sums[at] = total
        for which in range(limits.shape[0]):
            limit, row = limits[which], counts[which * count + line]
            for first in range(0, end - period + 1, period):
                here, total_here = values[first : first + period], sums[first : first + period]
                span = spans[first : first + period]
                for offset in range(period):
                    square = here[offset] * here[offset] * span[offset]
                    row[offset] += np.float32(square < limit * total_here[offset])


near_zero = compiled(_near_zero)
