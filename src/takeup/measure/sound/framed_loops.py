"""The loop behind the traces of lossy coding: how often each line lies near zero at each offset of the frames."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.compiling import compiled


def _near_zero(lines: np.ndarray, period: int, limits: np.ndarray, counts: np.ndarray) -> None:
    """Count, for each line and offset, the frames in which the line lies near zero against its mean square about it.

    Parameters
    ----------
    lines : float32 array, shape (k, n)
        Each line at every offset.
    period : int
        Offsets from frame to frame; whole frames are counted.
    limits : float32 array, shape (l,)
        What is near, as shares of the mean square within half a period on each side.
    counts : float32 array of nothing, shape (l * k, period), changed in place
        Limit after limit.
    """
    count, half, end = lines.shape[0], period // 2, lines.shape[1]
    for line in range(count):
        values = lines[line]
        total, low, high = 0.0, 0, 0  # of the squares behind ``low`` up to and with ``high``
        for at in range(1, half):
            total += values[at] * values[at]
            high = at
        for frame in range(end // period):
            for offset in range(period):
                at = frame * period + offset
                if at + half < end:
                    high = at + half
                    total += values[high] * values[high]
                if at > half:
                    low = at - half
                    total -= values[low] * values[low]
                square = values[at] * values[at] * np.float32(high - low)
                about = np.float32(total)
                for which in range(limits.shape[0]):
                    counts[which * count + line, offset] += np.float32(square < limits[which] * about)


near_zero = compiled(_near_zero)
