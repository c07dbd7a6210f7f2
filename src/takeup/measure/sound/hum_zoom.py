"""Looking closely at a line: how steady, at exactly what frequency, one line or two, how strong in each channel.

A line is turned down to standstill and summed over quarter seconds; what is left turns slowly. One that keeps its
phase over the whole chunk (a grid's, or a steady tape's) is known as well as noise allows: 0.3 mHz of 60 s at 10 dB
over the noise in 1 Hz, the bound of the check values (part 4, fault 8).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

BLOCK_S = 0.25
FRAME_BLOCKS = 32
NEAR_HZ = 0.6  # how far from the expected place a line, or its neighbour, is looked for
RING_HZ = (0.7, 1.8)  # where the noise beside it is taken
PADDING = 4
CERTAIN = 16.0  # times the noise: chance reaches it once in some 10^5 chunks
LEAST_SHARE = 2e-3  # of the stronger line's power
RESIDUE = 0.15  # of the line's power left when it is taken away as a steady one: more, and it wanders
APART = 2.0  # times 1 / T: nearer lines cannot be told apart
UNEVEN = 1.3  # of the natural logarithm of power between quartiles: 5.6 dB
OFFSETS_HZ = (-1.5, -1.25, -1.0, 1.0, 1.25, 1.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Zoom:
    """A line at standstill: sums over quarter seconds, complex, shape (n_blocks, channels), and of their weights."""

    hz: float
    sums: np.ndarray
    weights: np.ndarray  # shape (n_blocks,)
    block_s: float

    @property
    def at_s(self) -> np.ndarray:
        return (np.arange(len(self.sums)) + 0.5) * self.block_s

    @property
    def seconds(self) -> float:
        return len(self.sums) * self.block_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Close:
    """What was seen. ``hz``: one steady line, two of them, or (``steady`` False) the mean of a wandering one."""

    hz: tuple[float, ...]
    steady: bool
    over_noise: float  # of the strongest: its power over that of the noise in 1 Hz


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A chunk times its weights, in quarter seconds: float32, shape (channels, n_blocks, block)."""

    blocks: np.ndarray
    weights: np.ndarray  # sum over each block
    rate_hz: float


def weigh(samples: np.ndarray, weights: np.ndarray, rate_hz: float) -> Weighed:
    """Make a chunk ready for looking at many lines of it. ``samples``: (n, channels); ``weights``: (n,)."""
    block = round(BLOCK_S * rate_hz)
    count = len(samples) // block
    weighed = weights[: count * block].astype(np.float32)
    blocks = np.stack([(plane[: count * block] * weighed).reshape(count, block) for plane in samples.T])
    return Weighed(blocks=blocks, weights=weighed.reshape(count, block).sum(axis=1).astype(float), rate_hz=rate_hz)


def zoom_in(weighed: Weighed, hz: Sequence[float]) -> list[Zoom]:
    """Turn each of some frequencies down to standstill."""
    channels, count, block = weighed.blocks.shape
    at = (np.arange(block) - (block - 1) / 2) / weighed.rate_hz
    turns = np.exp(-2j * np.pi * np.array(hz)[None, :] * at[:, None])
    parts = weighed.blocks @ np.concatenate([turns.real, turns.imag], axis=1).astype(np.float32)
    middles = (np.arange(count) * block + (block - 1) / 2) / weighed.rate_hz
    zooms = []
    for place, one in enumerate(hz):
        sums = (parts[:, :, place] + 1j * parts[:, :, len(hz) + place]).T * np.exp(-2j * np.pi * one * middles)[:, None]
        zooms.append(Zoom(hz=one, sums=sums, weights=weighed.weights, block_s=block / weighed.rate_hz))
    return zooms


def look_close(zoom: Zoom, others: list[Zoom]) -> Close | None:
    """How the line at standstill behaves; None where none stands out.

    Parameters
    ----------
    zoom : Zoom
        At the family's strongest line.
    others : list of Zoom
        At further multiples of the same fundamental: they sharpen a steady frequency.
    """
    noise = _noise(zoom)
    first = _peak(zoom.sums, zoom, ())
    if first is None or first[1] < CERTAIN * noise:
        return None
    one = _steady(zoom, (first[0],))
    rest = _peak(one[1], zoom, one[0])
    over = first[1] / noise / zoom.seconds
    wanted = max(CERTAIN * noise, LEAST_SHARE * first[1])
    if rest is None or rest[1] < wanted:
        return Close(hz=(_sharpened(one[0][0], zoom, others, over),), steady=True, over_noise=over)
    two = _steady(zoom, (one[0][0], rest[0]))
    apart = abs(two[0][0] - two[0][1]) * zoom.seconds >= APART
    last = _peak(two[1], zoom, two[0])
    if apart and (last is None or last[1] < max(CERTAIN * noise, 0.1 * rest[1])):
        return Close(hz=two[0], steady=True, over_noise=over)
    if rest[1] < RESIDUE * first[1]:
        return Close(hz=one[0], steady=True, over_noise=over)
    return Close(hz=one[0], steady=False, over_noise=over)


def spread_hz(near_s: float, parts_hz: np.ndarray, spacing_s: float) -> float:
    """How far a frequency moves within ``near_s``: RMS of differences of frames that far apart, over the root of 2."""
    lag = max(2, round(near_s / spacing_s))
    if len(parts_hz) <= lag:
        return 0.0
    return float(np.sqrt(np.median((parts_hz[lag:] - parts_hz[:-lag]) ** 2) / 0.455 / 2))


def _power(sums: np.ndarray, zoom: Zoom, hz: float) -> float:
    turned = np.exp(-2j * np.pi * (hz - zoom.hz) * zoom.at_s) @ sums
    return float((np.abs(turned) ** 2).sum())


def _spectrum(sums: np.ndarray, zoom: Zoom) -> tuple[np.ndarray, np.ndarray]:
    size = PADDING * len(sums)
    power = (np.abs(np.fft.fft(sums, size, axis=0)) ** 2).sum(axis=1)
    return np.fft.fftfreq(size, zoom.block_s), power


def _noise(zoom: Zoom) -> float:
    offset, power = _spectrum(zoom.sums, zoom)
    ring = (np.abs(offset) >= RING_HZ[0]) & (np.abs(offset) <= RING_HZ[1])
    return float(np.median(power[ring]) / np.log(2)) + 1e-30


def _peak(sums: np.ndarray, zoom: Zoom, known: tuple[float, ...]) -> tuple[float, float] | None:
    """Frequency and power of the highest place near the middle that is no nearer than 2 / T to a known line."""
    offset, power = _spectrum(sums, zoom)
    power = np.where(np.abs(offset) <= NEAR_HZ, power, 0.0)
    for hz in known:
        power[np.abs(offset - (hz - zoom.hz)) < 0.9 * APART / zoom.seconds] = 0.0
    at = int(power.argmax())
    return (zoom.hz + float(offset[at]), float(power[at])) if power[at] > 0 else None


def _steady(zoom: Zoom, start: tuple[float, ...]) -> tuple[tuple[float, ...], np.ndarray]:
    """Steady lines fitted by least squares from a first guess: their frequencies, and the sums without them."""
    hz, reach = list(start), 0.5 / zoom.seconds
    for _ in range(4):
        for at in range(len(hz)):
            others = [one for k, one in enumerate(hz) if k != at]
            sums = _without(zoom, others, hz) if others else zoom.sums
            hz[at] = _highest(partial(_power, sums, zoom), hz[at], reach)
        reach /= 3
    return tuple(hz), _without(zoom, hz, hz)


def _without(zoom: Zoom, taken: list[float], fitted: list[float]) -> np.ndarray:
    """The sums less the lines ``taken``; amplitudes by least squares of all ``fitted``."""
    turned = np.exp(2j * np.pi * (np.array(fitted)[None, :] - zoom.hz) * zoom.at_s[:, None]) * zoom.weights[:, None]
    amplitudes = np.linalg.lstsq(turned, zoom.sums, rcond=None)[0]
    keep = [fitted.index(one) for one in taken]
    return zoom.sums - turned[:, keep] @ amplitudes[keep]


def _highest(height: Callable[[float], float], middle: float, reach: float) -> float:
    """Where a smooth hump is highest: a coarse comb, then parabolas."""
    for _ in range(3):
        at = np.linspace(middle - reach, middle + reach, 7)
        values = [height(float(one)) for one in at]
        best = int(np.argmax(values))
        middle = float(at[best])
        if 0 < best < 6:
            before, here, after = values[best - 1 : best + 2]
            bend = before - 2 * here + after
            if bend < 0:
                middle += float(at[1] - at[0]) * 0.5 * (before - after) / bend
        reach /= 4
    return middle


def _sharpened(hz: float, zoom: Zoom, others: list[Zoom], over: float) -> float:
    """The same frequency seen through further multiples: each is turned so many times faster."""
    used = [(zoom, 1.0, _noise(zoom))]
    for other in sorted(others, key=lambda one: one.hz):
        times = other.hz / zoom.hz
        noise = _noise(other)
        error = np.sqrt(3 / (2 * np.pi**2 * max(over, 1e-9) * zoom.seconds**3)) * times
        if _power(other.sums, other, hz * times) < CERTAIN * noise or error > 0.2 / zoom.seconds:
            continue
        used.append((other, times, noise))
    if len(used) == 1:
        return hz
    fastest = max(times for _, times, _ in used)

    def height(value: float) -> float:
        return sum(_power(one.sums, one, value * times) / noise for one, times, noise in used)

    return _highest(height, hz, 0.4 / (zoom.seconds * fastest))


def levels(
    zoom: Zoom, steady_hz: tuple[float, ...] | None, track_hz: np.ndarray | None = None, *, steady: bool = False
) -> np.ndarray:
    """Mean square of the lines at a zoom, shape (n_lines, channels), the noise's share taken off.

    Parameters
    ----------
    zoom : Zoom
    steady_hz : tuple of float, optional
        Two steady lines that lie near each other: both are fitted over the whole chunk.
    track_hz : ndarray, shape (n_blocks,), optional
        Where the line is at each block, otherwise.
    steady : bool
        The family keeps its phase: whatever lies beside the exact multiple is none of it.
    """
    if steady_hz is not None:
        turned = np.exp(2j * np.pi * (np.array(steady_hz)[None, :] - zoom.hz) * zoom.at_s[:, None])
        amplitudes = np.linalg.lstsq(turned * zoom.weights[:, None], zoom.sums, rcond=None)[0]
        return 2 * np.abs(amplitudes) ** 2
    assert track_hz is not None
    if steady and not _at_its_place(zoom, float(track_hz[0])):
        return np.zeros((1, zoom.sums.shape[1]))
    turning = np.exp(-2j * np.pi * np.cumsum(track_hz - zoom.hz) * zoom.block_s)
    still = replace(zoom, sums=zoom.sums * turning[:, None])
    power, noise = _by_frames(still)
    if not len(power):
        return np.zeros((1, zoom.sums.shape[1]))
    usual = np.median(noise.sum(axis=1))
    if np.quantile(power.sum(axis=1) / np.maximum(noise.sum(axis=1), 1e-30), 0.3) < 3.0:
        return _whole(zoom, float(track_hz[0])) if steady else np.zeros((1, zoom.sums.shape[1]))
    clear = np.maximum(power - noise, 0)
    standing = clear.sum(axis=1)[power.sum(axis=1) > 10 * noise.sum(axis=1)]
    if len(standing) > 3 and np.subtract(*np.log(np.percentile(standing, [75, 25]))) > UNEVEN:
        return np.zeros((1, zoom.sums.shape[1]))  # notes, not hum
    about = np.median(clear.sum(axis=1))
    here = power.sum(axis=1) > about / 4  # a tape's hum is not in the leader
    power, noise = power[here], noise[here]
    floor = np.maximum(noise.sum(axis=1), usual / 4)
    weights = 1 / (floor**2 + 2 * floor * about + 1e-40)
    return 2 * np.maximum((weights[:, None] * (power - noise)).sum(axis=0) / weights.sum(), 0)[None]


def _whole(zoom: Zoom, hz: float) -> np.ndarray:
    """Mean square of a steady line that only the whole chunk shows; nothing where even that does not."""
    clear = _power(zoom.sums, zoom, hz) > 2 * CERTAIN * _noise(zoom)
    turned = np.exp(-2j * np.pi * (hz - zoom.hz) * zoom.at_s) @ zoom.sums
    return (2 * np.abs(turned / max(zoom.weights.sum(), 1e-30)) ** 2 * clear)[None]


def _at_its_place(zoom: Zoom, hz: float) -> bool:
    """Whether the highest place within half a hertz is the expected one."""
    offset, power = _spectrum(zoom.sums, zoom)
    near = np.abs(offset) <= 0.5
    return _power(zoom.sums, zoom, hz) > 0.5 * float(power[near].max())


def _by_frames(zoom: Zoom) -> tuple[np.ndarray, np.ndarray]:
    """Power at standstill and of the noise beside it, by frames of 8 s that overlap by half; (n_frames, channels)."""
    size = min(FRAME_BLOCKS, len(zoom.sums))
    window = np.hanning(size + 2)[1:-1]
    view = np.lib.stride_tricks.sliding_window_view
    step = max(1, size // 2)
    total = view(zoom.weights, size)[::step] @ window
    parts = view(zoom.sums, size, axis=0)[::step]  # (n_frames, channels, size)
    parts = parts[total > 0] / total[total > 0, None, None]
    offsets = np.exp(-2j * np.pi * np.array((0.0, *OFFSETS_HZ))[:, None] * np.arange(size) * zoom.block_s)
    power = np.abs(parts @ (window * offsets).T) ** 2
    return power[:, :, 0], np.median(power[:, :, 1:], axis=2) / np.log(2)
