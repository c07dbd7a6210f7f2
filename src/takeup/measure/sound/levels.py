"""DC offset, noise floor, balance, correlation: plain averages over the right parts of a capture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.history import History, decibels, grouped
from takeup.measure.sound.loudness import sliding

NOISE_HOPS, NOISE_STEP, QUIETEST_SHARE = 40, 10, 0.1
FLOOR_HOPS, MOST_FLOORS = 500, 1000  # of a stretch of the floor over time, at least; of stretches, at most
PAUSE_SCATTER_DB = 1.5  # hops of 10 ms within a pause scatter less than this
PAUSE_RANGE_DB = 3.0  # pauses differ from each other by less than this


def dc_offset(history: History, zero: np.ndarray) -> np.ndarray:
    """Offset of each channel, share of full scale, signed. Shape (n_channels,).

    Seconds are weighted by how quiet they are: the offset is the same in all of them, the programme's own wandering
    is not. Digital silence is left out.
    """
    used = ~zero
    mean, squares = history.mean[used].astype(float), history.squares[used].astype(float)
    size = min(100, max(1, len(mean)))
    if not len(mean):
        return np.zeros(history.mean.shape[1])
    means, squares = grouped(mean, size), grouped(squares, size)
    weights = 1 / (np.maximum(squares - means**2, 0) + 1e-14)
    return (means * weights).sum(axis=0) / weights.sum(axis=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseFloor:
    """dBFS of the louder channel; ``at_most`` when its quietest blocks are not pauses."""

    dbfs: float
    at_most: bool
    by_channel: tuple[float, ...]


def noise_floor(power: np.ndarray, content: np.ndarray) -> NoiseFloor | None:
    """Pooled power of the quietest tenth of the 400 ms blocks that lie wholly in the content; None without any."""
    whole = sliding(content.astype(float), NOISE_HOPS, NOISE_STEP) > 1 - 0.5 / NOISE_HOPS
    if not whole.any():
        return None
    floors, at_most = [], []
    for channel in range(power.shape[1]):
        blocks = sliding(power[:, channel], NOISE_HOPS, NOISE_STEP)
        chosen = np.flatnonzero(whole)
        chosen = chosen[np.argsort(blocks[chosen], kind="stable")][: max(1, int(len(chosen) * QUIETEST_SHARE))]
        surest = chosen[: max(3, len(chosen) // 5)]
        hops = decibels(power[surest[:, None] * NOISE_STEP + np.arange(NOISE_HOPS), channel])
        pauses = bool(np.median(hops.std(axis=1)) <= PAUSE_SCATTER_DB)
        if pauses:  # with fewer pauses than a tenth the rest of the tenth is programme: not pooled
            chosen = chosen[decibels(blocks[chosen]) <= decibels(np.median(blocks[surest])) + PAUSE_RANGE_DB]
        floors.append(float(decibels(blocks[chosen].mean())))
        at_most.append(not pauses)
    louder = int(np.argmax(floors))
    return NoiseFloor(dbfs=floors[louder], at_most=at_most[louder], by_channel=tuple(floors))


def floor_over_time(power: np.ndarray, content: np.ndarray, hop_s: float) -> tuple[float, np.ndarray]:
    """The noise floor of each stretch of the capture: seconds of a stretch, and dBFS; -200 where no pause shows it."""
    size = max(FLOOR_HOPS, -(-len(power) // MOST_FLOORS))
    floors = np.full(-(-len(power) // size), -200.0)
    for at in range(len(floors)):
        part = slice(at * size, (at + 1) * size)
        floor = noise_floor(power[part], content[part])
        if floor is not None and not floor.at_most:
            floors[at] = floor.dbfs
    return size * hop_s, floors


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The first two channels together. None where a channel is silent."""

    balance_db: float | None  # left minus right
    correlation: float | None
    low_correlation: float | None  # below 1 kHz


def pair(history: History, power: np.ndarray, dc: np.ndarray, content: np.ndarray) -> Pair:
    """Balance and correlation over the content."""
    if not content.any():
        return Pair(balance_db=None, correlation=None, low_correlation=None)
    left, right = power[content, 0].mean(), power[content, 1].mean()
    mean, sums = history.mean[content].astype(float), history.pair[content].astype(float)
    cross = (sums[:, 0] - dc[0] * mean[:, 1] - dc[1] * mean[:, 0] + dc[0] * dc[1]).mean()
    low = sums[:, 1:].mean(axis=0) - np.array([dc[0] ** 2, dc[1] ** 2, dc[0] * dc[1]])
    silent = min(left, right) < 1e-18
    return Pair(
        balance_db=None if silent else float(10 * np.log10(left / right)),
        correlation=None if silent else float(np.clip(cross / np.sqrt(left * right), -1, 1)),
        low_correlation=None
        if silent or min(low[0], low[1]) <= 0
        else float(np.clip(low[2] / np.sqrt(low[0] * low[1]), -1, 1)),
    )
