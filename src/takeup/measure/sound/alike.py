"""Whether two channels hold one and the same sound, as a mono recording played by a stereo head gives it.

Cross spectra of windows of 85 ms between 200 Hz and 2 kHz, where neither a leaning head nor hiss has much of a say,
kept apart by level. Over the louder half, one gain and one delay are all that may lie between the channels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

LOWEST_HZ, HIGHEST_HZ = 200.0, 2000.0
WINDOW = 4096  # frames at 48 kHz
FARTHEST_US, GRID_US = 100.0, 1.0  # a head leans no farther; microphones apart do
LEVELS = 120  # classes of 1 dB, 0 to -120 dBFS


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Of the louder half. ``unlike``: the share of power that one gain and one delay do not explain, 0 to 1."""

    unlike: float
    balance_db: float  # left minus right
    identical: bool  # sample for sample


@dataclass(frozen=True, slots=True, kw_only=True)
class AlikeState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    sums: np.ndarray  # complex, shape (LEVELS, 3, n_bins): left, right, left with right
    counts: np.ndarray  # windows of each level
    left: np.ndarray  # frames that do not fill a window yet
    identical: bool = True


def begin_alike(rate_hz: int) -> AlikeState:
    """Nothing heard yet."""
    bins = int(_used(rate_hz).sum())
    return AlikeState(
        rate_hz=rate_hz,
        sums=np.zeros((LEVELS, 3, bins), complex),
        counts=np.zeros(LEVELS, int),
        left=np.zeros((0, 2), np.float32),
    )


def step_alike(state: AlikeState, block: np.ndarray) -> AlikeState:
    """Take in one block, shape (n, 2), full scale 1.0."""
    samples = np.concatenate([state.left, block])
    count = len(samples) // WINDOW
    same = state.identical and bool(np.array_equal(block[:, 0], block[:, 1]))
    if not count:
        return replace(state, left=samples, identical=same)
    cut = samples[: count * WINDOW].reshape(count, WINDOW, 2) * np.hanning(WINDOW + 1)[:WINDOW, None]
    spectra = np.fft.rfft(cut, axis=1)[:, _used(state.rate_hz)]
    one, other = spectra[..., 0], spectra[..., 1]
    power = (np.abs(spectra) ** 2).sum(axis=(1, 2)) / WINDOW**2
    level = np.clip(-10 * np.log10(np.maximum(power, 1e-30)), 0, LEVELS - 1).astype(int)
    sums, counts = state.sums.copy(), state.counts.copy()
    np.add.at(sums, level, np.stack([one * one.conj(), other * other.conj(), one.conj() * other], axis=1))
    np.add.at(counts, level, 1)
    return replace(state, sums=sums, counts=counts, left=samples[count * WINDOW :], identical=same)


def finish_alike(state: AlikeState) -> Alike | None:
    """What the louder half says; None when nothing sounds in one of the channels."""
    total = int(state.counts.sum())
    if not total:
        return None
    chosen = np.cumsum(state.counts) - state.counts < total / 2  # the loudest classes, half of the windows together
    frequency = np.fft.rfftfreq(WINDOW, 1 / state.rate_hz)[_used(state.rate_hz)]
    one, other, cross = state.sums[chosen].sum(axis=0) * frequency**2  # weighted: programme falls with frequency
    powers = float(one.real.sum()), float(other.real.sum())
    if min(powers) <= 1e-20:
        return None
    grid = np.arange(-FARTHEST_US, FARTHEST_US + GRID_US / 2, GRID_US) * 1e-6
    best = float((np.exp(2j * np.pi * np.outer(grid, frequency)) @ cross).real.max())
    share = max(0.0, best) ** 2 / (powers[0] * powers[1])
    plain = state.sums[chosen].sum(axis=(0, 2)).real
    return Alike(
        unlike=float(max(0.0, 1 - share)),
        balance_db=float(10 * np.log10(plain[0] / plain[1])),
        identical=state.identical,
    )


def _used(rate_hz: int) -> np.ndarray:
    bins = np.fft.rfftfreq(WINDOW, 1 / rate_hz)
    return (bins >= LOWEST_HZ) & (bins <= HIGHEST_HZ)
