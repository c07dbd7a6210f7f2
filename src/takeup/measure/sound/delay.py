"""How much later one channel is than the other: the slope of the phase between them, weighted by coherence.

Maximum-likelihood weighting of the generalised cross-correlation, g2 / (1 - g2) (Knapp & Carter 1976, abstract read):
a coarse peak first, then a weighted fit of the phase slope, 300 Hz to 12 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.windows import Windows

LOWEST_HZ, HIGHEST_HZ = 300.0, 12_000.0
FARTHEST_US = 1000.0
FEWEST = 8  # windows
QUIET_SHARE = 0.01
GRID_ROW = 20  # steps of the coarse search to one wide step


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """Of the right channel against the left [us]: positive when the right one is late."""

    microseconds: float
    spread_us: float  # standard error
    coherence: float  # weighted mean square coherence of the band used, 0 to 1
    halves_us: tuple[float, float]  # of the first and of the second half of the capture
    bands_us: tuple[float, float]  # below and above 2.5 kHz


@dataclass(frozen=True, slots=True, kw_only=True)
class DelayState:
    """Sums of spectra, by parts of the capture. Frozen; ``step`` makes a new one."""

    rate_hz: int
    size: int
    parts: tuple[tuple[int, np.ndarray, int], ...] = ()  # tens of seconds, sums (3, n_bins), windows


def begin_delay(rate_hz: int, size: int) -> DelayState:
    """Nothing heard yet. ``size``: frames of a window, as :mod:`windows` cuts them."""
    return DelayState(rate_hz=rate_hz, size=size)


def step_delay(state: DelayState, windows: Windows | None) -> DelayState:
    """Take in the spectra of some windows of two or more channels; the first two are compared."""
    if windows is None:
        return state
    parts = list(state.parts)
    for start, (one, other) in zip(windows.starts, windows.spectra[:, :2].astype(np.complex128)):
        sums = np.stack([one * one.conj(), other * other.conj(), one.conj() * other])
        _add(parts, sums, int(start / state.rate_hz / 10))
    return replace(state, parts=tuple(parts))


def _add(parts: list, sums: np.ndarray, tens: int) -> None:
    """Add a window's spectra to its ten seconds; windows without sound add nothing."""
    if parts and parts[-1][0] == tens:
        parts[-1] = (tens, parts[-1][1] + sums, parts[-1][2] + 1)
    else:
        parts.append((tens, sums, 1))
        if len(parts) > 64:  # hours: neighbours are joined, so that the sums stay small
            parts[:] = [
                (one[0], one[1] + other[1], one[2] + other[2]) for one, other in zip(parts[::2], parts[1::2])
            ] + ([parts[-1]] if len(parts) % 2 else [])


def finish_delay(state: DelayState) -> Delay | None:
    """The delay over the whole capture; None with too little to go by."""
    parts = _with_sound(state.parts)
    count = sum(part[2] for part in parts)
    if count < FEWEST:
        return None
    sums = np.sum([part[1] for part in parts], axis=0)
    fitted = _fit(sums, count, state, LOWEST_HZ, HIGHEST_HZ)
    if fitted is None:
        return None
    tau, error, coherence = fitted
    halves, bands = [], []
    middle = (len(parts) + 1) // 2
    for some in (parts[:middle], parts[middle:]):
        if some:
            some_sums, some_count = np.sum([part[1] for part in some], axis=0), sum(part[2] for part in some)
            half = _fit(some_sums, some_count, state, LOWEST_HZ, HIGHEST_HZ, tau)
            halves.append(half[0] if half else tau)
    for low, high in ((LOWEST_HZ, 2500.0), (2500.0, HIGHEST_HZ)):
        band = _fit(sums, count, state, low, high, tau)
        bands.append(band[0] if band else tau)
    return Delay(
        microseconds=tau * 1e6,
        spread_us=error * 1e6,
        coherence=coherence,
        halves_us=(halves[0] * 1e6, halves[-1] * 1e6),
        bands_us=(bands[0] * 1e6, bands[1] * 1e6),
    )


def _with_sound(parts: tuple[tuple[int, np.ndarray, int], ...]) -> list[tuple[int, np.ndarray, int]]:
    """The parts that are not 20 dB quieter than the loudest: pauses and blank tape tell nothing."""
    loudness = [float((part[1][0] + part[1][1]).real.sum()) / part[2] for part in parts]
    return [part for part, loud in zip(parts, loudness) if loud >= QUIET_SHARE * max(loudness) > 0]


def _fit(
    sums: np.ndarray, count: int, state: DelayState, low: float, high: float, near: float | None = None
) -> tuple[float, float, float] | None:
    """Delay [s], its standard error [s], weighted coherence."""
    if count < 2:
        return None
    bins = np.fft.rfftfreq(state.size, 1 / state.rate_hz)
    used = (bins >= low) & (bins <= min(high, 0.45 * state.rate_hz))
    one, other, cross = (part[used] for part in sums)
    frequency = bins[used]
    square = np.abs(cross) ** 2 / np.maximum(one.real * other.real, 1e-300)
    square = np.clip((square - 1 / count) / (1 - 1 / count), 0, 0.9999)  # what chance alone gives, taken off
    weight = square / (1 - square)
    if weight.sum() <= 0:
        return None
    tau = near if near is not None else _coarse(cross, weight, frequency)
    for _ in range(4):
        phase = np.angle(cross * np.exp(2j * np.pi * frequency * tau))
        tau -= float((weight * frequency * phase).sum() / (2 * np.pi * (weight * frequency**2).sum()))
    error = float(1 / np.sqrt(2 * count * (4 * np.pi**2 * frequency**2 * weight).sum()))
    return tau, error, float((weight * square).sum() / weight.sum())


def _coarse(cross: np.ndarray, weight: np.ndarray, frequency: np.ndarray) -> float:
    """Where the weighted cross-correlation peaks, on a grid of 5 us."""
    grid = np.arange(-FARTHEST_US, FARTHEST_US + 1, 5.0) * 1e-6
    step = max(1, len(frequency) // 800)
    some = frequency[::step]
    direction = (weight * cross / np.maximum(np.abs(cross), 1e-300))[::step]
    coarse, fine = (np.exp(2j * np.pi * np.outer(at, some)) for at in (grid[::GRID_ROW], grid[:GRID_ROW] - grid[0]))
    sums = (coarse * direction) @ fine.T  # a turn is the product of a wide one and a narrow one
    return float(grid[np.argmax(sums.real.reshape(-1)[: len(grid)])])
