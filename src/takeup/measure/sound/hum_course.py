"""The course of a known hum over a capture, line by line, so that it can be taken out again.

A frame a second (Hann) gives the complex amplitude of every harmonic, and beside it (2 and 3 Hz away, where the window
hears nothing of the line) how much else sounds there. The mains wander by some hundredths of a hertz, all harmonics
together: that common turn is found first, then taken off. What is left of a hum then stands still, and the median over
half a minute is it, each frame weighing the more the less else sounds. A musical note on or beside a harmonic turns, or
ends before half of that half minute, so the median passes it by: it stays in the sound.

Limits: a hum whose frequency wavers within seconds (from a tape with strong wow) is followed only in the mean; a note
held for more than 15 s exactly on a harmonic is taken for hum; under a programme without a pause a line can be taken
out by about 13 dB more than it stands over the programme in 1 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

THIN_RATE_HZ = 4000.0
PASS_HZ = 2000.0  # corner of the thinning filter: flat to 1 kHz, and what folds down onto that is 70 dB lower
THIN_TURNS = 10  # of its sinc, both sides together
FRAME_S, HOP_S = 1.0, 0.5
HIGHEST_HZ = 1000.0  # the contract's family: fundamental and harmonics to here
BESIDE_HZ = (-3.0, -2.0, 2.0, 3.0)  # zeros of the window's spectrum
TURN_FRAMES, TURN_STEP = 41, 20  # the common turn is looked for in 20 s, every 10 s
FARTHEST_HZ, GRID_HZ = 0.12, 0.001  # how far the mains may be off the frequency told
STILL_FRAMES = 61  # half a minute
PHASE_FRAMES = 21  # 10 s: the phase of the surest line is read in shorter stretches
MEDIAN_COSTS = 1.57  # variance of a median over that of a mean, pi / 2
FRAMES_SHARE = 1.5  # frames that overlap by half hold so much less than as many apart
STANDS_OUT = 6.0  # times the variance of the estimate: a line, and no chance
LINE_SHARE = 0.1  # a line is one where it stands out for so much of the capture
QUIET_QUARTER = 25  # per cent: no frame weighs more than the quietest quarter's, or a leader would decide
FEWEST_FRAMES = 8
FINER = 2  # times that the turn is read once more from the surest line's own phase


@dataclass(frozen=True, slots=True, kw_only=True)
class HumCourse:
    """A hum over time. Line ``k`` of a channel is Re(amplitude * exp(i numbers[k] (2 pi hz t + turn)))."""

    hz: float  # fundamental as told
    numbers: tuple[int, ...]  # of the harmonics that were found; 1 is the fundamental
    first_s: float  # time of the first point; one every ``hop_s``
    hop_s: float
    turn: np.ndarray  # shape (n_points,) [rad]
    amplitude: np.ndarray  # complex, shape (n_points, n_channels, n_lines), full scale 1.0

    @property
    def mean_square(self) -> float:
        """Power of the whole family, mean over time, louder channel."""
        return float((np.abs(self.amplitude) ** 2 / 2).sum(axis=2).mean(axis=0).max()) if self.amplitude.size else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    hz: float
    thin: int  # one sample kept of so many
    taps: np.ndarray  # of the thinning filter
    basis: np.ndarray  # float32, shape (frame, 2 * 5 * n_lines): windowed cosines, then sines; the lines first
    left: np.ndarray  # samples still wanted, shape (n, channels)
    thinned: np.ndarray  # thin samples still wanted
    lines: tuple[np.ndarray, ...] = ()  # complex64, shape (channels, n_lines) for each frame
    others: tuple[np.ndarray, ...] = ()  # mean square of what sounds beside, the same shape

    @property
    def thin_rate_hz(self) -> float:
        return self.rate_hz / self.thin

    @property
    def hop(self) -> int:
        """Thin samples from frame to frame."""
        return round(HOP_S * self.thin_rate_hz)


def begin_course(rate_hz: int, channels: int, hz: float) -> CourseState:
    """Nothing heard yet. ``hz``: the fundamental of the hum, to about 0.1 Hz."""
    thin = max(1, int(rate_hz / THIN_RATE_HZ))
    reach = int(THIN_TURNS / 2 * rate_hz / (2 * PASS_HZ))
    corner = 2 * PASS_HZ / rate_hz
    taps = corner * np.sinc(corner * np.arange(-reach, reach + 1)) * np.kaiser(2 * reach + 1, 7.0)
    frame = round(FRAME_S * rate_hz / thin)
    window = np.hanning(frame + 1)[:frame]
    lines = hz * np.arange(1, max(1, int(HIGHEST_HZ / hz)) + 1)
    wanted = np.concatenate([lines + off for off in (0.0, *BESIDE_HZ)])
    angle = 2 * np.pi * thin / rate_hz * np.outer(np.arange(frame) - frame // 2, wanted)
    basis = np.concatenate([np.cos(angle), -np.sin(angle)], axis=1) * (2 / window.sum()) * window[:, None]
    return CourseState(
        rate_hz=rate_hz,
        hz=hz,
        thin=thin,
        taps=(taps / taps.sum()).astype(np.float32),
        basis=basis.astype(np.float32),
        left=np.zeros((reach, channels), np.float32),  # so that the first thin sample lies at the first frame
        thinned=np.zeros((0, channels), np.float32),
    )


def step_course(state: CourseState, block: np.ndarray) -> CourseState:
    """Take in one block, float32, shape (n, channels), full scale 1.0."""
    samples = np.concatenate([state.left, block.astype(np.float32, copy=False)])
    count = max(0, (len(samples) - len(state.taps)) // state.thin + 1)
    if count:
        windows = np.lib.stride_tricks.sliding_window_view(samples, len(state.taps), axis=0)[:: state.thin][:count]
        state = _framed(state, windows @ state.taps)
    return replace(state, left=samples[count * state.thin :].copy())


def _framed(state: CourseState, thin: np.ndarray) -> CourseState:
    samples = np.concatenate([state.thinned, thin])
    lines, others, at = list(state.lines), list(state.others), 0
    while at + len(state.basis) <= len(samples):
        parts = samples[at : at + len(state.basis)].T @ state.basis
        half = parts.shape[1] // 2
        values = (parts[:, :half] + 1j * parts[:, half:]).reshape(len(parts), 1 + len(BESIDE_HZ), -1)
        lines.append(values[:, 0])
        others.append((np.abs(values[:, 1:]) ** 2).mean(axis=1))
        at += state.hop
    if not at:
        return replace(state, thinned=samples)
    return replace(state, thinned=samples[at:].copy(), lines=tuple(lines), others=tuple(others))


def finish_course(state: CourseState) -> HumCourse | None:
    """The hum over the whole capture; None when there is none, or too little to go by."""
    if len(state.lines) < FEWEST_FRAMES:
        return None
    hop_s = state.hop / state.thin_rate_hz
    middles = np.arange(len(state.lines)) * hop_s + len(state.basis) // 2 / state.thin_rate_hz
    numbers = np.arange(1, state.lines[0].shape[1] + 1)
    raw = np.stack(state.lines) * np.exp(-2j * np.pi * state.hz * np.outer(middles, numbers))[:, None, :]
    weight = _weight(np.stack(state.others).astype(float))
    turn = _common_turn(raw, weight, numbers, hop_s)
    for _ in range(FINER):
        middle, variance = _running_median(_stilled(raw, turn, numbers), weight, PHASE_FRAMES)
        turn = turn + _left_over(middle, variance, numbers)
    middle, variance = _running_median(_stilled(raw, turn, numbers), weight, STILL_FRAMES)
    power = np.abs(middle) ** 2
    stands = (power > STANDS_OUT * variance).mean(axis=0) >= LINE_SHARE
    chosen = np.flatnonzero(stands.any(axis=0))
    if not len(chosen):
        return None
    sure = np.clip(1 - variance / np.maximum(power, 1e-30), 0, 1)  # what is unsure of a line is left in
    return HumCourse(
        hz=state.hz,
        numbers=tuple(int(number) for number in numbers[chosen]),
        first_s=float(middles[0]),
        hop_s=hop_s,
        turn=turn,
        amplitude=(middle * sure * stands)[:, :, chosen],
    )


def _weight(others: np.ndarray) -> np.ndarray:
    """One over the mean square of what else sounds, at every frame and line; 0 where nothing sounds at all."""
    padded = np.pad(others, ((1, 1), (0, 0), (0, 0)), mode="edge")
    smooth = (padded[:-2] + padded[1:-1] + padded[2:]) / 3
    sounding = others > 1e-20
    if not sounding.any():
        return np.zeros_like(others)
    least = np.percentile(np.where(sounding, smooth, np.nanmax(smooth)), QUIET_QUARTER, axis=0)
    return np.where(sounding, 1 / np.maximum(smooth, np.maximum(least, 1e-20)), 0.0)


def _common_turn(raw: np.ndarray, weight: np.ndarray, numbers: np.ndarray, hop_s: float) -> np.ndarray:
    """Phase of the fundamental against a steady one of the frequency told, at every frame [rad]."""
    grid = np.arange(-FARTHEST_HZ, FARTHEST_HZ + GRID_HZ / 2, GRID_HZ)
    at, off = [], []
    length = min(TURN_FRAMES, len(raw))
    turned = np.exp(-2j * np.pi * numbers[:, None, None] * np.outer(grid, np.arange(length) * hop_s))
    for first in range(0, len(raw) - length + 1, TURN_STEP):
        part, heavy = raw[first : first + length], weight[first : first + length]
        found = np.abs(turned @ (part * heavy).transpose(2, 0, 1)) ** 2  # lines, grid, channels
        score = (found / np.maximum(heavy.sum(axis=0), 1e-30).T[:, None, :]).sum(axis=(0, 2))
        at.append(first + (length - 1) / 2)
        off.append(_top(grid, score))
    smooth = np.median([off[:1] + off[:-1], off, off[1:] + off[-1:]], axis=0)
    course = np.interp(np.arange(len(raw)), at, smooth)
    steps = 2 * np.pi * hop_s * (course[1:] + course[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def _stilled(raw: np.ndarray, turn: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    return raw * np.exp(-1j * np.outer(turn, numbers))[:, None, :]


def _left_over(middle: np.ndarray, variance: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """What the phase of the line that tells it best still turns, for the fundamental [rad]."""
    sure = np.median(np.abs(middle) ** 2 / np.maximum(variance, 1e-30), axis=0) * numbers**2
    channel, line = np.unravel_index(np.argmax(sure), sure.shape)
    one = middle[:, channel, line]
    if sure[channel, line] < STANDS_OUT * numbers[line] ** 2:
        return np.zeros(len(one))
    phase = np.unwrap(np.angle(np.where(one == 0, 1, one)))
    half = PHASE_FRAMES // 2
    if len(phase) > 4 * half:  # at the ends the stretch is one-sided: there the phase goes on as it went
        steps = np.arange(1, half + 1)
        phase[:half] = (phase[half] - steps * (phase[2 * half] - phase[half]) / half)[::-1]
        phase[-half:] = phase[-half - 1] + steps * (phase[-half - 1] - phase[-2 * half - 1]) / half
    return (phase - phase[0]) / numbers[line]


def _top(grid: np.ndarray, score: np.ndarray) -> float:
    """Where a score peaks, between the points of its grid."""
    best = int(np.clip(np.argmax(score), 1, len(grid) - 2))
    left, here, right = score[best - 1 : best + 2]
    bend = left - 2 * here + right
    return float(grid[best] + (GRID_HZ * (left - right) / (2 * bend) if bend < 0 else 0.0))


def _running_median(still: np.ndarray, weight: np.ndarray, frames: int) -> tuple[np.ndarray, np.ndarray]:
    """Weighted median over some frames about each frame, of both parts, and the variance of it."""
    half = frames // 2
    around = ((half, half), (0, 0), (0, 0))
    values = np.lib.stride_tricks.sliding_window_view(np.pad(still, around), frames, axis=0)
    weights = np.lib.stride_tricks.sliding_window_view(np.pad(weight, around), frames, axis=0)
    middle, variance = np.zeros(still.shape, complex), np.zeros(still.shape)
    for first in range(0, len(still), 256):  # a part at a time: the windows would fill the memory
        some = slice(first, first + 256)
        middle[some] = _median(values[some].real, weights[some]) + 1j * _median(values[some].imag, weights[some])
        total = np.maximum(weights[some].sum(axis=-1), 1e-30)
        variance[some] = MEDIAN_COSTS * FRAMES_SHARE / total
    return middle, variance


def _median(values: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Weighted median along the last axis."""
    order = np.argsort(values, axis=-1)
    reached = np.cumsum(np.take_along_axis(weights, order, axis=-1), axis=-1)
    at = (reached < reached[..., -1:] / 2).sum(axis=-1)[..., None]
    place = np.take_along_axis(order, np.minimum(at, values.shape[-1] - 1), axis=-1)
    return np.take_along_axis(values, place, axis=-1)[..., 0]
