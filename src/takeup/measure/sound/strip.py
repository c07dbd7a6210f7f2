"""The spectrogram strip: third-octave levels over time, a bounded number of columns for any length.

Bands: exact base-ten third octaves, 10^(n/10) hertz (IEC 61260-1, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.history import decibels
from takeup.measure.sound.windows import SPACING_S, Windows, WindowState

FIRST, LAST = 15, 46  # bands, as n: 31.6 Hz to 40 kHz
MOST = 2048  # columns; twice as many are joined in pairs
OFFSET_DB = 140.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StripState:
    """Sums of the bands' powers by columns. Frozen; ``step`` makes a new one."""

    rate_hz: int
    column_s: float
    hz: tuple[float, ...]
    weights: np.ndarray  # shape (bins, n_bands)
    sums: np.ndarray  # shape (columns, n_bands)
    counts: np.ndarray  # windows in each column


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """``levels``: column after column, one byte for each band: dBFS + 140, 0 for nothing at all."""

    step_s: float
    hz: tuple[float, ...]
    levels: bytes


def third_octaves(rate_hz: int) -> np.ndarray:
    """Middles of the bands that lie wholly under half the rate [Hz]."""
    middles = 10 ** (np.arange(FIRST, LAST + 1) / 10)
    return middles[middles * 10**0.05 <= rate_hz / 2]


def band_weights(windows: WindowState, middles: np.ndarray) -> np.ndarray:
    """What turns a window's squared spectrum into the mean square of each third octave. Shape (bins, n_bands)."""
    bins = windows.hz
    width = bins[1]
    low, high = middles * 10**-0.05, middles * 10**0.05
    share = np.clip(np.minimum(bins[:, None] + width / 2, high) - np.maximum(bins[:, None] - width / 2, low), 0, width)
    return share / width * 2 / (windows.size * windows.window_power)


def begin_strip(windows: WindowState) -> StripState:
    """Nothing heard yet."""
    middles = third_octaves(windows.rate_hz)
    return StripState(
        rate_hz=windows.rate_hz,
        column_s=windows.size / windows.rate_hz,
        hz=tuple(float(one) for one in middles),
        weights=band_weights(windows, middles),
        sums=np.zeros((0, len(middles))),
        counts=np.zeros(0, int),
    )


def step_strip(state: StripState, windows: Windows | None) -> StripState:
    """Take in some windows; the channels are averaged."""
    if windows is None:
        return state
    column_s, sums, counts = state.column_s, list(state.sums), list(state.counts)
    for start, spectra in zip(windows.starts, windows.spectra):
        powers = (spectra.real.astype(float) ** 2 + spectra.imag.astype(float) ** 2).mean(axis=0) @ state.weights
        at = int(start / state.rate_hz / column_s + 1e-9)
        while at >= 2 * MOST:
            column_s, sums, counts = _joined(column_s, sums, counts)
            at = int(start / state.rate_hz / column_s + 1e-9)
        while len(sums) <= at:
            sums.append(np.zeros(len(state.hz)))
            counts.append(0)
        sums[at] = sums[at] + powers
        counts[at] += 1
    return replace(state, column_s=column_s, sums=np.array(sums), counts=np.array(counts))


def finish_strip(state: StripState) -> Strip:
    """The strip; columns between two windows hold what the one before holds."""
    column_s, sums, counts = state.column_s, list(state.sums), list(state.counts)
    while len(sums) > MOST or (len(sums) * column_s > 4 * SPACING_S and column_s < SPACING_S and 0 in counts):
        column_s, sums, counts = _joined(column_s, sums, counts)
    levels, before = [], np.zeros(len(state.hz), np.uint8)
    for total, count in zip(sums, counts):
        if count:
            before = np.clip(np.round(decibels(total / count) + OFFSET_DB), 0, 255).astype(np.uint8)
        levels.append(before.tobytes())
    return Strip(step_s=column_s, hz=state.hz, levels=b"".join(levels))


def _joined(column_s: float, sums: list, counts: list) -> tuple[float, list, list]:
    """Neighbours two by two."""
    if len(sums) % 2:
        sums, counts = [*sums, np.zeros_like(sums[0])], [*counts, 0]
    pairs = range(0, len(sums), 2)
    return 2 * column_s, [sums[at] + sums[at + 1] for at in pairs], [counts[at] + counts[at + 1] for at in pairs]
