"""The fold every measure of sound stands on: samples in, sums of each hop of about 10 ms out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from takeup.errors import UnusableSamples
from takeup.measure.sound.loops import Loops, compiled_loops
from takeup.measure.sound.sums import (
    BOTH,
    CHANNEL_SUMS,
    HIGH,
    HIGH_COUNT,
    HIGH_RUNS,
    LEFT,
    LOW,
    LOW_COUNT,
    LOW_RUNS,
    PEAK,
    RIGHT,
    SQUARES,
    STATE,
    STEPS,
    SUM,
    SUMS,
    TAIL,
)
from takeup.measure.sound.weighting import as_state_updates, interpolator, k_weighting

LOW_RATE_HZ = 6000.0
LOW_CORNER_HZ = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hops:
    """Sums over hops: arrays of shape (n_hops, n_channels) unless said otherwise. Full scale 1.0."""

    total: np.ndarray  # of samples
    squares: np.ndarray
    k_squares: np.ndarray  # after K-weighting
    steps: np.ndarray  # of squared differences of neighbours
    high: np.ndarray  # highest sample, how often reached, runs of it that are cut tops
    high_count: np.ndarray
    high_runs: np.ndarray
    low: np.ndarray  # lowest sample, likewise
    low_count: np.ndarray
    low_runs: np.ndarray
    peak: np.ndarray  # highest true peak so far
    pair: np.ndarray  # shape (n_hops, 4), of the first two channels: product; below 1 kHz: squares of both, product


@dataclass(frozen=True, slots=True, kw_only=True)
class HopState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    channels: int
    hop: int  # frames
    frames: int  # heard so far
    left: np.ndarray  # frames that do not fill a hop yet
    tails: tuple[np.ndarray, ...]
    states: tuple[np.ndarray, ...]
    memories: tuple[np.ndarray, ...]  # of the K-weighting
    filters: np.ndarray
    phases: np.ndarray
    low_step: int
    loops: Loops

    @property
    def hop_s(self) -> float:
        return self.hop / self.rate_hz


def begin_hops(rate_hz: int, channels: int, loops: Loops | None = None) -> HopState:
    """Nothing heard yet. ``loops``: ready-made ones; compiled when none are handed in."""
    pairs, hop = len(_pairs(channels)), max(1, round(rate_hz / 100))
    return HopState(
        rate_hz=rate_hz,
        channels=channels,
        hop=hop,
        frames=0,
        left=np.empty((0, channels), np.float32),
        tails=tuple(np.zeros((2, TAIL), np.float32) for _ in range(pairs)),
        states=tuple(np.zeros(STATE) for _ in range(pairs)),
        memories=tuple(np.zeros(8) for _ in range(pairs)),
        filters=as_state_updates(k_weighting(rate_hz)),
        phases=interpolator(rate_hz),
        low_step=_low_step(hop, rate_hz),
        loops=loops or compiled_loops(),
    )


def step_hops(state: HopState, block: np.ndarray) -> tuple[HopState, Hops]:
    """Hear one block.

    Parameters
    ----------
    block : ndarray, float32, shape (n, n_channels)

    Returns
    -------
    HopState, Hops
        The state after it; the hops that it completed (none, perhaps).

    Raises
    ------
    UnusableSamples
        If the block has another number of channels.
    """
    if block.ndim != 2 or block.shape[1] != state.channels:
        raise UnusableSamples("sound.wrong-shape", shape=block.shape, channels=state.channels)
    block = np.ascontiguousarray(block, dtype=np.float32)
    samples = np.concatenate([state.left, block]) if len(state.left) else block
    count = len(samples) // state.hop
    whole, left = samples[: count * state.hop], samples[count * state.hop :]
    after = _fresh(state, frames=state.frames + len(block), left=left.copy())
    return after, _hear(whole, after, count)


def finish_hops(state: HopState) -> Hops:
    """The samples left over, filled up with silence to one last hop, and one more hop of it: the true peak is late."""
    filled = np.zeros((2 * state.hop, state.channels), np.float32)
    filled[: len(state.left)] = state.left
    return _hear(filled, _fresh(state), 2)


def _fresh(state: HopState, **changes: Any) -> HopState:
    """A state whose arrays may be written."""
    arrays: dict[str, Any] = {
        name: tuple(one.copy() for one in getattr(state, name)) for name in ("tails", "states", "memories")
    }
    return replace(state, **arrays, **changes)


def _hear(whole: np.ndarray, state: HopState, count: int) -> Hops:
    share = 1 - np.exp(-2 * np.pi * LOW_CORNER_HZ / (state.rate_hz / state.low_step))
    pairs = _pairs(state.channels)
    sums, weighed = np.empty((len(pairs), count, SUMS)), np.empty((len(pairs), count, 2))

    planes = np.empty((2, TAIL + state.hop), np.float32)
    for at, (one, other) in enumerate(pairs if count else []):
        state.loops.weigh_pair(whole, one, other, state.filters, state.hop, state.memories[at], weighed[at])
        state.loops.hear_pair(
            whole, one, other, state.hop, state.low_step, share, state.phases,
            state.tails[at], state.states[at], planes, sums[at],
        )  # fmt: skip
    by_channel = np.stack([sums[:, :, LEFT:RIGHT], sums[:, :, RIGHT:BOTH]], axis=2)  # pair, hop, side, sum
    by_channel = by_channel.transpose(1, 0, 2, 3).reshape(count, 2 * len(pairs), CHANNEL_SUMS)[:, : state.channels]
    return Hops(
        total=by_channel[..., SUM],
        squares=by_channel[..., SQUARES],
        k_squares=weighed.transpose(1, 0, 2).reshape(count, 2 * len(pairs))[:, : state.channels],
        steps=by_channel[..., STEPS],
        high=by_channel[..., HIGH],
        high_count=by_channel[..., HIGH_COUNT],
        high_runs=by_channel[..., HIGH_RUNS],
        low=by_channel[..., LOW],
        low_count=by_channel[..., LOW_COUNT],
        low_runs=by_channel[..., LOW_RUNS],
        peak=by_channel[..., PEAK],
        pair=sums[0, :, BOTH:],
    )


def _pairs(channels: int) -> list[tuple[int, int]]:
    """Columns heard together; a last odd one is heard with itself."""
    return [(at, min(at + 1, channels - 1)) for at in range(0, channels, 2)]


def _low_step(hop: int, rate_hz: float) -> int:
    """The divisor of a hop that brings the low band's rate nearest to 6 kHz."""
    divisors = [step for step in range(1, hop + 1) if hop % step == 0]
    return min(divisors, key=lambda step: abs(np.log(rate_hz / step / LOW_RATE_HZ)))
