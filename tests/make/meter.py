"""Test tones in steps of level, and the energy that a loudness meter sees of them."""

from __future__ import annotations

import numpy as np
from make.sound import db

from takeup.measure.sound.history import condense
from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops

RATE = 48_000
Steps = list[tuple[float, float]]


def staircase(steps: Steps, rate: int = RATE, channels: int = 2) -> np.ndarray:
    """A 1 kHz tone through levels [dBFS peak, None: silence], phase running on. Shape (n, channels)."""
    amplitude = np.concatenate([np.full(round(s * rate), db(level)) for level, s in steps])
    wave = amplitude * np.sin(2 * np.pi * 1000 * np.arange(len(amplitude)) / rate)
    return np.repeat(wave[:, None], channels, axis=1)


def energy_of(samples: np.ndarray, rate: int = RATE) -> np.ndarray:
    state, hops = step_hops(begin_hops(rate, samples.shape[1]), samples.astype(np.float32))
    last = condense(finish_hops(state), state.hop)[0][: int(len(state.left) > 0)]
    return np.concatenate([condense(hops, state.hop)[0], last])
