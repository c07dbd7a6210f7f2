"""What is kept of a capture while it is heard: a few figures each hop, in single precision (11 MB an hour)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from takeup.measure.sound.hops import Hops
from takeup.measure.sound.weighting import channel_weights

QUIETEST = 1e-20  # power that stands for nothing at all: -200 dBFS
NOTHING_DBFS = -190.0  # a level that rounding may lift from there still means nothing at all


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Figures by hop. ``power`` is the mean square about the file's own DC offset."""

    hop_s: float
    loudness: np.ndarray  # K-weighted, channel-weighted mean square; shape (n,)
    mean: np.ndarray  # shape (n, channels)
    squares: np.ndarray  # mean square, shape (n, channels)
    steps: np.ndarray  # mean squared difference of neighbours, shape (n, channels)
    constant: np.ndarray  # bool, shape (n, channels): every sample of the hop is the same
    pair: np.ndarray  # shape (n, 4): see Hops

    def __len__(self) -> int:
        return len(self.loudness)

    def power(self, dc: np.ndarray) -> np.ndarray:
        """Mean square about an offset of each channel, shape (n, channels)."""
        squares, mean = self.squares.astype(float), self.mean.astype(float)
        power = np.maximum(squares - 2 * dc * mean + dc * dc, QUIETEST)
        power[self.constant & (np.abs(mean - dc) < 1e-6)] = QUIETEST
        return power


def condense(hops: Hops, hop: int) -> tuple[np.ndarray, ...]:
    """One block's hops as single precision means, in the order of the fields of :class:`History`."""
    weights = channel_weights(hops.total.shape[1])
    return (
        (hops.k_squares @ weights / hop).astype(np.float32),
        (hops.total / hop).astype(np.float32),
        (hops.squares / hop).astype(np.float32),
        (hops.steps / hop).astype(np.float32),
        hops.high == hops.low,
        (hops.pair / hop).astype(np.float32),
    )


def gather(pieces: list[tuple[np.ndarray, ...]], hop_s: float, count: int) -> History:
    """All blocks together, ``count`` hops of them (the last ones may hold nothing but filling)."""
    together = (np.concatenate(parts)[:count] for parts in zip(*pieces, strict=True))
    loudness, mean, squares, steps, constant, pair = together
    return History(
        hop_s=hop_s, loudness=loudness, mean=mean, squares=squares, steps=steps, constant=constant, pair=pair
    )


def decibels(power: Any) -> Any:
    """Ten times the logarithm; what is nothing at all reads -200 dB."""
    return 10 * np.log10(np.maximum(power, QUIETEST))


def grouped(values: np.ndarray, size: int) -> np.ndarray:
    """Means of ``size`` neighbours; what does not fill the last group is left out."""
    count = len(values) // size
    return values[: count * size].reshape(count, size, *values.shape[1:]).mean(axis=1, dtype=float)


def runs_of(mask: np.ndarray) -> np.ndarray:
    """Where a mask is true: first and one past the last of each run, shape (n_runs, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return edges.reshape(-1, 2)
