"""The fold of slow spectra: samples in, spectra of 85 ms windows out, side by side at first, then one a second."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

WINDOW_S, DENSE_S, SPACING_S = 0.085, 15.0, 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    size: int  # frames
    at: int = 0  # frames before ``left``
    next_at: int = 0  # where the next window begins
    left: np.ndarray | None = None  # shape (channels, n)

    @property
    def window_power(self) -> float:
        """Sum of the squared window: |spectrum|^2 / (size * this) is the two-sided mean square of a bin."""
        return float((_window(self.size).astype(float) ** 2).sum())

    @property
    def hz(self) -> np.ndarray:
        """Frequency of each bin."""
        return np.fft.rfftfreq(self.size, 1 / self.rate_hz)


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Spectra of some windows: where each begins [frames], and complex64 of shape (n_windows, channels, bins)."""

    starts: np.ndarray
    spectra: np.ndarray


def begin_windows(rate_hz: int) -> WindowState:
    """Nothing heard yet. Window lengths are powers of two."""
    return WindowState(rate_hz=rate_hz, size=max(16, 2 ** round(np.log2(WINDOW_S * rate_hz))))


def step_windows(state: WindowState, block: np.ndarray) -> tuple[WindowState, Windows | None]:
    """Take in one block, float32, shape (n, channels); the windows that it completed, None when there is none.

    Each window is taken about its own mean and through a Hann window.
    """
    end = state.at + (0 if state.left is None else state.left.shape[1]) + len(block)
    if state.next_at >= end:  # the next window is not here yet: nothing to keep
        return replace(state, at=end, left=None), None
    samples = block.T if state.left is None else np.concatenate([state.left, block.T], axis=1)
    starts, next_at = [], state.next_at
    while next_at + state.size <= end:
        starts.append(next_at)
        dense = next_at < DENSE_S * state.rate_hz
        next_at += state.size if dense else int(SPACING_S * state.rate_hz)
    found = _spectra(samples, starts, state) if starts else None
    cut = min(max(next_at - state.at, 0), samples.shape[1])
    return replace(state, at=state.at + cut, next_at=next_at, left=samples[:, cut:].copy()), found


def _spectra(samples: np.ndarray, starts: list[int], state: WindowState) -> Windows:
    window = _window(state.size)
    spectra = []
    for start in starts:  # one at a time: rounding must not depend on how many there are
        planes = np.ascontiguousarray(samples[:, start - state.at : start - state.at + state.size])
        spectra.append(np.fft.rfft((planes - planes.mean(axis=1, keepdims=True)) * window, axis=1))
    return Windows(starts=np.array(starts), spectra=np.stack(spectra))


@cache
def _window(size: int) -> np.ndarray:
    return np.hanning(size).astype(np.float32)
