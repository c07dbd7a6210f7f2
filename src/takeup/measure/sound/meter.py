"""The fold of the meters: hops in, level and peak of each 100 ms out, and what has come in so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.hops import Hops

HOPS = 10  # of about 10 ms: meters move ten times a second
RECENT = 100  # moments that a recent peak looks back: 10 s


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """100 ms of sound. Mean squares and peaks of each channel, full scale 1.0."""

    to_s: float  # where it ends
    power: tuple[float, ...]
    peak: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    hop: int  # frames
    rate_hz: int
    nothing: float  # mean square about its own mean, up to which a channel brings nothing
    sums: np.ndarray  # of the hops that do not fill a moment yet: total, squares, peak; shape (n, 3, channels)
    moments: int = 0  # so far
    still: tuple[int, ...] = ()  # moments in a row, up to now, in which a channel brought nothing
    loudest: float = 0.0  # sample so far
    recent: tuple[float, ...] = ()  # peaks of the last ``RECENT`` moments, all channels together

    @property
    def moment_s(self) -> float:
        return HOPS * self.hop / self.rate_hz


def begin_meter(hop: int, rate_hz: int, channels: int, nothing_dbfs: float) -> MeterState:
    """Nothing heard yet. ``nothing_dbfs``: a channel that stays at or below this level brings nothing."""
    return MeterState(
        hop=hop,
        rate_hz=rate_hz,
        nothing=10 ** (nothing_dbfs / 10),
        sums=np.empty((0, 3, channels)),
        still=(0,) * channels,
    )


def step_meter(state: MeterState, hops: Hops) -> tuple[MeterState, tuple[Moment, ...]]:
    """Take in some hops; hand out the moments they complete."""
    fresh = np.stack([hops.total, hops.squares, np.maximum(hops.high, -hops.low)], axis=1)
    sums = np.concatenate([state.sums, fresh]) if len(state.sums) else fresh
    count = len(sums) // HOPS
    if not count:
        return replace(state, sums=sums), ()
    grouped = sums[: count * HOPS].reshape(count, HOPS, *sums.shape[1:])
    frames = HOPS * state.hop
    mean, power = grouped[:, :, 0].sum(axis=1) / frames, grouped[:, :, 1].sum(axis=1) / frames
    peak = np.abs(grouped[:, :, 2]).max(axis=1)
    quiet = power - mean**2 <= state.nothing
    moments = tuple(
        Moment(to_s=(state.moments + at + 1) * state.moment_s, power=tuple(power[at]), peak=tuple(peak[at]))
        for at in range(count)
    )
    return replace(
        state,
        sums=sums[count * HOPS :].copy(),
        moments=state.moments + count,
        still=tuple(_in_a_row(quiet[:, at], before) for at, before in enumerate(state.still)),
        loudest=max(state.loudest, float(peak.max())),
        recent=(*state.recent, *peak.max(axis=1).tolist())[-RECENT:],
    ), moments


def _in_a_row(quiet: np.ndarray, before: int) -> int:
    """How many of the last moments were quiet, those before this block included."""
    other = np.flatnonzero(~quiet)
    return len(quiet) - 1 - int(other[-1]) if len(other) else before + len(quiet)
