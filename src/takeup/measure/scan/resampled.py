"""Tells whether a scan was enlarged after it was read off the glass, and how far.

Pixels made between other pixels are means of them, and means vary less: so the size of fine differences comes and goes
with the old pixels' spacing, in grain and noise alike (after Gallagher, Proc. CRV 2005, and Kirchner, Proc. MM&Sec
2008). Differences of odd order stand between pixels and those of even order on them: together they see every kernel
and phase, exact doubling included, where the second difference alone sees nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

LAG = 4  # rows are compared with the fourth next: upright edges fall out, grain stays (enlarged fourfold at most)
ORDERS = 4
LEAST_SIDE = 96
QUIET_SHARE = 0.4  # of a place: where grain and noise speak, not edges
SLOWEST = 10  # cycles along a place: slower changes are the picture's
NEIGHBOURS = 33  # bins whose median a peak is compared with
BOTH_RATIO, ONE_RATIO = 45.0, 200.0  # natives of the trial reach 13 and 33, enlarged scans begin at 140 (decision 0094)
# Where nothing fine is left beside rounding, as after enlarging twice and more, a weaker line on both axes counts: the
# few old pixels of a place make no stronger one, and a scanner's own noise would fill the spectrum.
COLLAPSED_CODES, COLLAPSED_RATIO = 0.33, 20.0
LAID_OVER = 1.12  # times what rounding leaves: white noise above this was added after enlarging, the scanner's own
LAID_OVER_IN_BLOCKS = 0.42  # codes: packing with loss rounds a second time
LEAST_NOISE = 0.05  # codes: no scanner has less
OTHER_AXIS = 12.0  # of a line on one axis, at least: enlarging goes both ways, printed lines go one
EIGHTHS = (0.125, 0.25, 0.375, 0.5)
NEAR = 0.006
BLOCK = 64  # of the spectrum: many of them lie in the quiet part of a place


@dataclass(frozen=True, slots=True, kw_only=True)
class Resampled:
    """How far a scan was enlarged.

    Attributes
    ----------
    factor : float or None
        1.0 for true pixels; None when only the grid of lossy blocks, or nothing fine at all, is seen.
    across, down : float
        The same for each axis.
    strength : float
        Of the stronger axis: peak over its neighbours.
    laid_over : float
        White noise [codes] that cannot have been enlarged.
    why : str
        "" or why there is no factor: "plain", "blocks".
    """

    factor: float | None
    across: float = 1.0
    down: float = 1.0
    strength: float = 0.0
    laid_over: float = 0.0
    why: str = ""


def resampled(planes: Sequence[np.ndarray], *, rounding: float, in_blocks: bool = False) -> Resampled:
    """Look for the traces of enlarging in several places of one scan.

    Parameters
    ----------
    planes : sequence of ndarray, shape (rows, columns), float32
        Luma of each place in 8-bit codes; all of one shape.
    rounding : float
        Standard deviation of what rounding to whole codes adds to a pixel of a plane [codes of 255].
    in_blocks : bool
        Whether a grid of lossy blocks was found: it has periods of its own, the eighths, which then tell nothing.
    """
    fine = [plane for plane in planes if min(plane.shape) >= LEAST_SIDE and _varies(plane)]
    if not fine:
        return Resampled(factor=None, why="plain")
    axes = [_axis(fine), _axis([np.ascontiguousarray(plane.T) for plane in fine])]
    floor = [_white(_spectrum(plane)) for plane in fine]
    noise, mid = float(np.median([n for n, _ in floor])), float(np.median([m for _, m in floor]))
    both_ratio = BOTH_RATIO if max(noise, mid) > COLLAPSED_CODES else COLLAPSED_RATIO
    peaks = [_peak(axis, other, in_blocks, both_ratio) for axis, other in (axes, axes[::-1])]
    factors, strengths = [1.0, 1.0], [0.0, 0.0]
    hidden = False
    floor_power = max(LAID_OVER * rounding, LAID_OVER_IN_BLOCKS if in_blocks else LEAST_NOISE) ** 2
    for number, (rate, strength, both) in enumerate(peaks):
        if strength < (both_ratio if both else ONE_RATIO):
            continue
        if in_blocks and min(abs(rate - eighth) for eighth in EIGHTHS) < NEAR:
            hidden = True
            continue
        turned = fine if number == 0 else [np.ascontiguousarray(plane.T) for plane in fine]
        factor = _factor(axes[number], axes[1 - number], rate, turned)
        if min(noise, _least_step(turned, rate)) ** 2 > floor_power + _passes(factor) * mid**2:
            continue
        factors[number], strengths[number] = factor, strength
    if hidden and max(factors) == 1.0:
        return Resampled(factor=None, strength=max(strengths), laid_over=noise, why="blocks")
    return Resampled(
        factor=max(factors), across=factors[0], down=factors[1], strength=max(p[1] for p in peaks), laid_over=noise
    )


def _varies(plane: np.ndarray) -> bool:
    """Whether fine differences are nearly everywhere: a drawn page without noise tells nothing."""
    return float((np.abs(np.diff(plane[::4], axis=1)) > 0.02).mean()) > 0.05


@dataclass(frozen=True, slots=True)
class _Axis:
    ratio: np.ndarray  # peak over neighbours, by cycles per pixel
    rates: np.ndarray


def _axis(planes: Sequence[np.ndarray]) -> _Axis:
    size = (min(plane.shape[1] for plane in planes) - ORDERS) // 8 * 8
    power: np.ndarray = np.zeros((ORDERS, size // 2 + 1))
    for plane in planes:
        power += _periods(plane, size)
    pad = NEIGHBOURS // 2
    around = np.lib.stride_tricks.sliding_window_view(
        np.pad(power, ((0, 0), (pad, pad)), "reflect"), NEIGHBOURS, axis=1
    )
    ratio = (power / np.maximum(np.median(around, axis=2), 1e-12)).max(axis=0)
    ratio[:SLOWEST] = 0
    return _Axis(ratio, np.arange(ratio.size) / size)


def _periods(plane: np.ndarray, size: int) -> np.ndarray:
    """Power, by cycles per column, of the size of differences of each order in the quiet part of a place."""
    found = []
    fine = plane[LAG:] - plane[:-LAG]
    for _ in range(ORDERS):
        fine = fine[:, 1:] - fine[:, :-1]
        large = np.abs(fine)
        around = cv2.blur(large, (15, 15))
        quiet = around <= np.quantile(around[::4, ::4], QUIET_SHARE)
        used = quiet.sum(axis=0)[:size]
        sums = (np.minimum(large, 4 * around) * quiet).sum(axis=0)[:size]
        column = sums / np.maximum((around * quiet).sum(axis=0)[:size], 1e-3)
        good = used >= 12
        column = np.where(good, column - (column[good].mean() if good.any() else 0.0), 0.0)
        found.append(np.abs(np.fft.rfft(column * np.minimum(1.0, used / 50.0) ** 0.5 * np.hanning(size))) ** 2)
    return np.asarray(found)


def _peak(axis: _Axis, other: _Axis, in_blocks: bool, both_ratio: float) -> tuple[float, float, bool]:
    """The rate [cycles per pixel], strength, and whether the other axis has it too."""
    own, across = axis.ratio.copy(), _widened(other.ratio)
    if in_blocks:
        clear = np.min([np.abs(axis.rates - eighth) for eighth in EIGHTHS], axis=0) >= NEAR
        if (own * clear).max() >= BOTH_RATIO:
            own = own * clear
    n = min(own.size, across.size)
    shared = np.minimum(own[:n], across[:n])
    if shared.max() >= both_ratio:
        best = int(shared.argmax())
        return _refined(own, best) / (2 * (own.size - 1)), float(shared[best]), True
    best = int((own[:n] * (across[:n] >= OTHER_AXIS)).argmax())
    return _refined(own, best) / (2 * (own.size - 1)), float(own[best]), False


def _widened(ratio: np.ndarray) -> np.ndarray:
    wide: np.ndarray = np.maximum(ratio, np.maximum(np.roll(ratio, 1), np.roll(ratio, -1)))
    return wide


def _refined(ratio: np.ndarray, best: int) -> float:
    """The peak between bins, by the parabola through the logarithms."""
    if not 0 < best < ratio.size - 1:
        return float(best)
    left, top, right = np.log(np.maximum(ratio[best - 1 : best + 2], 1e-6))
    return best + 0.5 * float(left - right) / min(float(left - 2 * top + right), -1e-6)


def _factor(axis: _Axis, other: _Axis, rate: float, planes: Sequence[np.ndarray]) -> float:
    """The enlargement whose old pixels come at this rate.

    Above one half, rates fold: fourfold and 1.333 look alike. They are parted by what is left beyond the rates that the
    coarser pixels can hold.
    """
    strong = np.minimum(axis.ratio, _widened(other.ratio)[: axis.ratio.size])
    least = max(BOTH_RATIO, 0.02 * float(strong[round(rate / axis.rates[1])]))
    tops = [n for n in range(1, strong.size) if strong[n] >= least and strong[n] == strong[max(0, n - 3) : n + 4].max()]
    rates = sorted({float(_refined(axis.ratio, n) * axis.rates[1]) for n in tops} | {float(rate)})
    copied = _copied(planes)
    if copied > 1.1:
        return copied
    spectrum = np.mean([_spectrum(plane) for plane in planes], axis=0)
    by_strength = sorted(rates, key=lambda one: -float(strong[min(round(one / axis.rates[1]), strong.size - 1)]))
    for slow in (1 / one for one in by_strength if one < SLOWEST_FOLDED):
        if slow <= MOST_TOLD and _empty_beyond(spectrum, slow):
            return _named(slow)
    half = min(rates, key=lambda one: abs(one - rate / 2))
    first = half if abs(half - rate / 2) < NEAR else rate
    return _named(1 / (1 - first))


SLOWEST_FOLDED = 0.46  # rates above belong to enlargements about 2, where both readings agree
MOST_TOLD = 6.3
EMPTY_SHARE = 0.055  # of 64 enlarged places of known factor: the slow reading leaves up to 0.048, the fast one 0.004
EMPTY_CODES = 0.2  # ... up to 0.14 over the corner, the fast one from 0.25: one of the two always parts them


def _empty_beyond(spectrum: np.ndarray, slow: float) -> bool:
    """Whether nothing fine is left beyond what pixels so far apart can hold: little against what lies below, for a
    picture has most of its power there, and little against a scanner's noise, which has not."""
    rates = np.arange(spectrum.shape[0]) / BLOCK
    fast = slow / (slow - 1)
    line = np.median(spectrum[(rates >= 0.06) & (rates <= 0.5 / slow + 0.01)], axis=0)
    corner, middle = _white(spectrum)
    highest = min(0.5 / fast, 1 / slow)
    beyond = line[(rates >= min(0.65 / slow, highest - 2 / BLOCK)) & (rates <= highest)].mean() - corner**2
    below = line[(rates >= 0.25 / slow) & (rates <= 0.45 / slow)].mean() - corner**2
    return bool(beyond < EMPTY_SHARE * max(below, 1e-6) and middle**2 - corner**2 < EMPTY_CODES**2)


def _copied(planes: Sequence[np.ndarray]) -> float:
    """The enlargement by columns that are whole copies of the one before; 1.0 without any."""
    same = [float((np.abs(np.diff(plane, axis=1)).max(axis=0) < 1e-3).mean()) for plane in planes]
    share = float(np.median(same))
    return _named(1 / (1 - share), reach=0.015) if share < 0.95 else 1.0


def _named(factor: float, reach: float = 0.006) -> float:
    """To the next of the factors that settings have, when within the reach of the measure."""
    usual = (1.0, 1.25, 4 / 3, 1.5, 5 / 3, 2.0, 2.5, 8 / 3, 3.0, 4.0, 6.0, 8.0)
    near = min(usual, key=lambda one: abs(one / factor - 1))
    return round(near if abs(near / factor - 1) < reach else factor, 3)


def _spectrum(plane: np.ndarray) -> np.ndarray:
    """Power by rate down and across (each 0 to 1/2), where a place is quiet: white noise of one code gives one."""
    blocks = np.lib.stride_tricks.sliding_window_view(plane, (BLOCK, BLOCK))[:: BLOCK // 2, :: BLOCK // 2]
    blocks = blocks.reshape(-1, BLOCK, BLOCK)
    rough = np.abs(np.diff(blocks[:, ::2], axis=2)).mean(axis=(1, 2))
    quiet = blocks[rough <= np.quantile(rough, QUIET_SHARE)]
    lens = np.hanning(BLOCK)[:, None] * np.hanning(BLOCK)[None, :]
    power = np.abs(np.fft.rfft2((quiet - quiet.mean(axis=(1, 2), keepdims=True)) * lens)) ** 2
    mean: np.ndarray = power.mean(axis=0)[: BLOCK // 2 + 1] / float((lens**2).sum())
    return mean


def _white(spectrum: np.ndarray) -> tuple[float, float]:
    """Standard deviation [codes] that white noise would have to fill the corner of a spectrum, and its middle.

    Medians over the rates: a printed picture's screen stands on few of them.
    """
    corner, low, high = (round(rate * BLOCK) for rate in (0.44, 0.16, 0.34))
    return float(np.sqrt(np.median(spectrum[corner:, corner:]))), float(
        np.sqrt(np.median(spectrum[low : high + 1, low : high + 1]))
    )


def _least_step(planes: Sequence[np.ndarray], rate: float) -> float:
    """The noise [codes] of first and second differences at the phase of the period where they are least: none where
    pixels were doubled, or lie midway between two others."""
    least = []
    for plane in planes:
        fine = plane[LAG:] - plane[:-LAG]
        for gain in (2.0, 12.0**0.5):
            fine = fine[:, 1:] - fine[:, :-1]
            sizes = np.median(np.abs(fine), axis=0) / (0.6745 * gain)
            phase = np.floor((np.arange(sizes.size) * rate + 1 / 64) % 1.0 * 8).astype(int) % 8
            least.append(min(float(sizes[phase == p].mean()) for p in range(8) if (phase == p).any()))
    return float(np.median(np.asarray(least).reshape(-1, 2).min(axis=1)))


def _passes(factor: float) -> float:
    """The share of the middle's power that the widest of the usual kernels lets through at the corner."""
    return 0.06 if factor < 1.4 else 0.02 if factor < 1.8 else 0.003
