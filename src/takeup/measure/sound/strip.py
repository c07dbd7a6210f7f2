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
PAIR = np.ones(2, np.float32)  # real and imaginary part of a spectrum are added up


@dataclass(frozen=True, slots=True, kw_only=True)
class StripState:
    """Sums of the bands' powers by columns. Frozen; ``step`` makes a new one."""

    rate_hz: int
    column_s: float
    hz: tuple[float, ...]
    weights: np.ndarray  # shape (bins, n_bands)
    sums: np.ndarray  # float32, shape (columns, n_bands)
    counts: np.ndarray  # windows in each column
    last: np.ndarray  # sums of the column that is still being filled
    windows: int = 0  # in it


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
        sums=np.zeros((0, len(middles)), np.float32),
        counts=np.zeros(0, np.int32),
        last=np.zeros(len(middles)),
    )


def step_strip(state: StripState, windows: Windows | None) -> StripState:
    """Take in some windows; the channels are averaged."""
    if windows is None:
        return state
    for start, spectra in zip(windows.starts, windows.spectra):
        parts = np.square(spectra.view(np.float32)).reshape(len(spectra), -1, 2)
        powers = (parts.sum(axis=0) @ PAIR) / len(spectra)
        at = _column(start, state)
        while at >= 2 * MOST:
            state = _joined(_filled(state))
            at = _column(start, state)
        if at > len(state.sums):
            state = _filled(state, at)
        state = replace(state, last=state.last + powers @ state.weights, windows=state.windows + 1)
    return state


def finish_strip(state: StripState) -> Strip:
    """The strip; columns between two windows hold what the one before holds."""
    state = _filled(state)
    while len(state.sums) > MOST or (state.column_s < SPACING_S and (state.counts == 0).any()):
        state = _joined(state)
    levels, before = [], np.zeros(len(state.hz), np.uint8)
    for total, count in zip(state.sums, state.counts):
        if count:
            before = np.clip(np.round(decibels(total / count) + OFFSET_DB), 0, 255).astype(np.uint8)
        levels.append(before.tobytes())
    return Strip(step_s=state.column_s, hz=state.hz, levels=b"".join(levels))


def _column(start: int, state: StripState) -> int:
    return int(start / state.rate_hz / state.column_s + 1e-9)


def _filled(state: StripState, until: int = 0) -> StripState:
    """The column in hand put to the others, and empty ones up to ``until``."""
    if not state.windows and until <= len(state.sums):
        return state
    until = max(until, len(state.sums) + 1)
    sums = np.zeros((until - len(state.sums), len(state.hz)), np.float32)
    counts = np.zeros(len(sums), np.int32)
    sums[0], counts[0] = state.last, state.windows
    return replace(
        state,
        sums=np.concatenate([state.sums, sums]),
        counts=np.concatenate([state.counts, counts]),
        last=np.zeros(len(state.hz)),
        windows=0,
    )


def _joined(state: StripState) -> StripState:
    """Neighbours two by two."""
    odd = len(state.sums) % 2
    sums = np.pad(state.sums, ((0, odd), (0, 0))).reshape(-1, 2, len(state.hz)).sum(axis=1)
    counts = np.pad(state.counts, (0, odd)).reshape(-1, 2).sum(axis=1)
    return replace(state, column_s=2 * state.column_s, sums=sums, counts=counts)
