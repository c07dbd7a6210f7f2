"""Is there sound at all in a video: digital nothing, a converter's own floor, tape hiss, or something recorded?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BLOCK_S = 0.4
LOWEST_DB, STEP_DB = -160.0, 0.1
BINS = 1700  # -160 to +10 dBFS


@dataclass(frozen=True, slots=True)
class Heard:
    """State: how often each level came in whole 0.4 s blocks, and the samples of the block in progress."""

    rate_hz: int
    counts: np.ndarray  # (channels, BINS); bin 0: digital nothing
    left: np.ndarray
    peaks: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """Levels of each channel [dBFS RMS, DC removed; -inf for digital nothing]."""

    peak_dbfs: tuple[float, ...]
    loud_dbfs: tuple[float, ...]  # 95th percentile of 0.4 s blocks
    quiet_dbfs: tuple[float, ...]  # 10th percentile of the blocks with anything in them
    method: str = "presence/1"


def begin(rate_hz: int, channels: int) -> Heard:
    """Nothing heard yet."""
    return Heard(rate_hz, np.zeros((channels, BINS), np.int64), np.zeros((0, channels), np.float32), (0.0,) * channels)


def step(state: Heard, samples: np.ndarray) -> Heard:
    """Hear more, shape (n_samples, n_channels), full scale 1.0."""
    if not len(samples):
        return state
    peaks = tuple(max(pair) for pair in zip(state.peaks, np.abs(samples).max(axis=0).tolist()))
    whole = np.concatenate([state.left, samples])
    size = int(BLOCK_S * state.rate_hz)
    number = len(whole) // size
    if not number:
        return Heard(state.rate_hz, state.counts, whole, peaks)
    blocks = whole[: number * size].reshape(number, size, -1).astype(np.float64)
    return Heard(state.rate_hz, state.counts + _counted(blocks), whole[number * size :].copy(), peaks)


def finish(state: Heard) -> Presence:
    """Levels of all that was heard; a part of a block counts when there is no whole one."""
    counts = state.counts
    if not counts.any() and len(state.left):
        counts = _counted(state.left[None].astype(np.float64))
    loud = [_level(row, 95) for row in counts]
    quiet = [_level(np.concatenate([[0], row[1:]]), 10) for row in counts]
    peaks = tuple(20 * float(np.log10(peak)) if peak else -np.inf for peak in state.peaks)
    return Presence(peak_dbfs=peaks, loud_dbfs=tuple(loud), quiet_dbfs=tuple(quiet))


def _counted(blocks: np.ndarray) -> np.ndarray:
    power = blocks.var(axis=1).T
    level = 10 * np.log10(np.maximum(power, 1e-30))
    at = np.clip(((level - LOWEST_DB) / STEP_DB).astype(int), 1, BINS - 1)
    at[power < 1e-15] = 0
    return np.stack([np.bincount(row, minlength=BINS) for row in at])


def _level(counts: np.ndarray, per_cent: float) -> float:
    if not counts.any():
        return -np.inf
    at = int(np.searchsorted(np.cumsum(counts), counts.sum() * per_cent / 100))
    return LOWEST_DB + (at + 0.5) * STEP_DB if at else -np.inf
