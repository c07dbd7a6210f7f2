"""The true peak of decoded sound, interpolated 16 times at 48 kHz: what a player's converter will reach."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.weighting import HALF_TAPS, interpolator

WORTH = 0.5  # a block is interpolated when its samples reach this share of the true peak so far
BLOCK = 2048  # samples interpolated at a time


class DecodedPeak:
    """Hears blocks, keeps the largest true peak of each channel."""

    def __init__(self) -> None:
        self._phases: np.ndarray | None = None
        self._left: np.ndarray | None = None
        self._peaks: np.ndarray | None = None

    def hear(self, block: np.ndarray, rate_hz: int) -> None:
        """Take in one block, shape (channels, n), full scale 1.0."""
        if self._phases is None or self._left is None or self._peaks is None:
            self._phases = interpolator(rate_hz).T.astype(np.float32)
            self._left, self._peaks = np.zeros((len(block), 2 * HALF_TAPS - 1), np.float32), np.zeros(len(block))
        samples = np.concatenate([self._left, block.astype(np.float32)], axis=1)
        step = BLOCK - 2 * HALF_TAPS
        for channel, plane in enumerate(samples):
            for first in range(0, max(1, len(plane) - 2 * HALF_TAPS + 1), step):
                self._look(channel, plane[first : first + BLOCK])
        self._left = samples[:, -(2 * HALF_TAPS - 1) :]

    def _look(self, channel: int, plane: np.ndarray) -> None:
        assert self._phases is not None and self._peaks is not None
        highest = float(np.abs(plane).max(initial=0.0))
        if highest > WORTH * self._peaks[channel] and len(plane) >= 2 * HALF_TAPS:
            windows = np.lib.stride_tricks.sliding_window_view(plane, 2 * HALF_TAPS)
            highest = max(highest, float(np.abs(windows @ self._phases).max()))
        self._peaks[channel] = max(self._peaks[channel], highest)

    def finish(self) -> tuple[float, ...]:
        """True peak of each channel, share of full scale."""
        if self._peaks is None or self._left is None:
            return ()
        self.hear(np.zeros((len(self._peaks), 2 * HALF_TAPS), np.float32), 0)
        return tuple(float(peak) for peak in self._peaks)
