"""What may be put right in an everyday copy when somebody asks: a hum taken out, a late channel brought forward."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from takeup.measure.sound.hum_course import HumCourse

HALF_TAPS = 64  # of the delaying filter: flat to 23 kHz at 48 kHz
KAISER = 8.0  # 80 dB
ROW = 128  # turns of a hum that are worked out one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Mends:
    """What is put right. ``late_us``: by how much the right channel is late (negative: the left one)."""

    late_us: float = 0.0
    hum: HumCourse | None = None


@dataclass(slots=True)
class Mender:
    """Takes blocks of shape (channels, n) in, gives mended ones out, a little later; in sum as many samples.

    A hum is subtracted as its course tells it, so all else stays as it was. A channel is brought forward by a fraction
    of a sample with a windowed sinc, which leaves every level as it is.
    """

    mends: Mends
    rate_hz: int
    channels: int
    _kernel: np.ndarray | None = field(default=None, init=False)
    _left: np.ndarray = field(init=False)
    _at: int = field(default=0, init=False)  # samples freed of hum

    def __post_init__(self) -> None:
        if self.mends.late_us and self.channels == 2:
            self._kernel = sooner(abs(self.mends.late_us) * 1e-6 * self.rate_hz)
        reach = 0 if self._kernel is None else len(self._kernel) // 2
        self._left = np.zeros((self.channels, reach), np.float32)

    def step(self, block: np.ndarray) -> np.ndarray:
        """Mend one block."""
        clean = block.astype(np.float32)
        if self.mends.hum is not None:
            clean -= hum_of(self.mends.hum, self._at, block.shape[1], self.rate_hz)
        self._at += block.shape[1]
        return self._moved(clean).astype(np.float32)

    def finish(self) -> np.ndarray:
        """What is still held back."""
        reach = 0 if self._kernel is None else len(self._kernel) // 2
        return self._moved(np.zeros((self.channels, reach))).astype(np.float32)

    def _moved(self, block: np.ndarray) -> np.ndarray:
        if self._kernel is None:
            return block
        samples = np.concatenate([self._left, block], axis=1)
        reach = len(self._kernel) // 2
        self._left = samples[:, -2 * reach :]
        if samples.shape[1] <= 2 * reach:
            return np.zeros((self.channels, 0))
        out = samples[:, reach:-reach].copy()
        late = 1 if self.mends.late_us > 0 else 0
        out[late] = np.convolve(samples[late], self._kernel, "valid")
        return out


def sooner(samples: float) -> np.ndarray:
    """Taps that bring a signal forward by so many samples when convolved about their middle."""
    reach = HALF_TAPS + math.ceil(samples)
    at = np.arange(-reach, reach + 1) + samples
    window = np.i0(KAISER * np.sqrt(np.clip(1 - (at / (HALF_TAPS + 1)) ** 2, 0, None))) * (np.abs(at) <= HALF_TAPS + 1)
    taps = np.sinc(at) * window
    return taps / taps.sum()


def hum_of(course: HumCourse, first: int, count: int, rate_hz: int) -> np.ndarray:
    """The hum of some samples, float32, shape (channels, count)."""
    out = np.zeros((course.amplitude.shape[1], count), np.float32)
    done = 0
    while done < count:
        point, end = _segment(course, first + done, rate_hz)
        many = min(count - done, max(1, end - first - done))
        _add_stretch(out[:, done : done + many], course, point, first + done, rate_hz)
        done += many
    return out


def _segment(course: HumCourse, at: int, rate_hz: int) -> tuple[int, int]:
    """The point of the course at or before a sample (-1: before the first), and the sample where its stretch ends."""
    point = math.floor((at / rate_hz - course.first_s) / course.hop_s + 1e-9)
    point = max(-1, min(point, len(course.turn) - 1))
    if point == len(course.turn) - 1:
        return point, at + rate_hz
    return point, math.ceil((course.first_s + (point + 1) * course.hop_s) * rate_hz - 1e-6)


def _add_stretch(out: np.ndarray, course: HumCourse, point: int, first: int, rate_hz: int) -> None:
    """The hum between two points; outside them all it goes on as it last went."""
    last = len(course.turn) - 1
    one, other = max(point, 0), min(point + 1, last)
    share = ((first + np.arange(out.shape[1])) / rate_hz - course.first_s) / course.hop_s - one
    slope = course.turn[min(one + 1, last)] - course.turn[min(one + 1, last) - 1]
    begin = 2 * np.pi * course.hz * first / rate_hz + course.turn[one] + slope * share[0]
    wheel = _wheel(begin, (2 * np.pi * course.hz + slope / course.hop_s) / rate_hz, out.shape[1])
    share = share.astype(np.float32) if one < other else np.zeros(out.shape[1], np.float32)
    turned, number = np.ones(out.shape[1], np.complex64), 0
    for line, wanted in enumerate(course.numbers):
        while number < wanted:
            turned, number = turned * wheel, number + 1
        for channel in range(len(out)):
            start, end = course.amplitude[[one, other], channel, line].astype(np.complex64)
            move = end - start
            out[channel] += (start.real + move.real * share) * turned.real
            out[channel] -= (start.imag + move.imag * share) * turned.imag


def _wheel(begin: float, step: float, count: int) -> np.ndarray:
    """exp(i (begin + step n)), complex64: the turns of a row times where each row begins, instead of every one."""
    rows = np.exp(1j * np.remainder(begin + step * ROW * np.arange(-(-count // ROW)), 2 * np.pi))
    return np.outer(rows, np.exp(1j * step * np.arange(ROW))).reshape(-1)[:count].astype(np.complex64)
