"""The fold of slow matters: samples in, the same sound at about 12 kHz out (hum, speed, print-through, a test tone)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.loops import Loops, compiled_loops

THIN_RATE_HZ = 12_000.0
CORNER = 0.42  # of the thin rate: flat to 5 kHz at 12 kHz
TURNS = 12  # of the sinc on both sides together


@dataclass(frozen=True, slots=True, kw_only=True)
class ThinState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    step: int  # one sample kept of so many
    taps: np.ndarray  # float32, shape (TURNS * step,)
    loops: Loops
    left: np.ndarray  # frames still wanted, channel by channel: shape (channels, n)
    made: int = 0  # thin samples handed out

    @property
    def thin_rate_hz(self) -> float:
        """Exactly: a whole part of the rate."""
        return self.rate_hz / self.step


def begin_thin(rate_hz: int, channels: int, loops: Loops | None = None) -> ThinState:
    """Nothing heard yet. ``loops``: ready-made ones; compiled when none are handed in."""
    step = max(1, round(rate_hz / THIN_RATE_HZ))
    count = TURNS * step
    at = np.arange(count) - count / 2
    corner = CORNER / step
    taps = 2 * corner * np.sinc(2 * corner * at) * np.kaiser(count + 1, 8.0)[:count]
    return ThinState(
        rate_hz=rate_hz,
        step=step,
        taps=(taps / taps.sum()).astype(np.float32),
        loops=loops or compiled_loops(),
        left=np.zeros((channels, count // 2), np.float32),
    )


def step_thin(state: ThinState, block: np.ndarray) -> tuple[ThinState, np.ndarray]:
    """Take in one block.

    Parameters
    ----------
    block : ndarray, float32, shape (n, channels)

    Returns
    -------
    ThinState, ndarray
        Thin samples, float32, shape (m, channels). The first of the whole capture lies at its first frame, the next
        one ``step`` frames later. Some come a few milliseconds after their frames: the filter looks both ways.
    """
    samples = np.concatenate([state.left, block.T], axis=1)
    made = _thinned(samples, max(0, samples.shape[1] // state.step - TURNS + 1), state)
    return replace(state, left=samples[:, len(made) * state.step :].copy(), made=state.made + len(made)), made


def finish_thin(state: ThinState) -> np.ndarray:
    """The last thin samples, as if silence followed."""
    count = state.left.shape[1]
    samples = np.pad(state.left, ((0, 0), (0, TURNS * state.step)))
    wanted = -(-(count - TURNS * state.step // 2) // state.step)
    return _thinned(samples, max(0, wanted), state)


def _thinned(samples: np.ndarray, count: int, state: ThinState) -> np.ndarray:
    thin = np.empty((len(samples), count), np.float32)
    for channel, plane in enumerate(samples.astype(np.float32, copy=False)):
        state.loops.thin_plane(plane, state.taps, state.step, thin[channel])
    return np.ascontiguousarray(thin.T)
