"""The fold under the hum: thin samples in, chunks of at most ten minutes at about 2.4 kHz out, and the treble beside.

Work is done on pieces of a fixed length, so that no cutting into blocks can change a bit of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.loops import Loops, compiled_loops

LEAST_HZ = 2400.0  # carries harmonics up to 1.1 kHz
PASS_HZ, STOP_HZ = 1050.0, 1450.0
TAPS_S = 0.0095  # a Kaiser window of beta 5.65 falls by 60 dB between the two corners in this time
KAISER = 5.65
HALF_S = 0.5  # treble power is kept for each half second
PIECE_HALVES, CHUNK_PIECES = 10, 120
CHANNELS = 2  # a tape has no more; further channels of a file are not heard for hum


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    step: int  # one thin sample kept of so many
    rate_hz: float  # of what is handed out
    piece: int  # thin samples
    taps: np.ndarray
    loops: Loops
    waiting: tuple[np.ndarray, ...] = ()  # thin samples, not yet a whole piece
    waiting_count: int = 0
    tail: np.ndarray | None = None  # thin samples that the filter still sees
    pieces: tuple[np.ndarray, ...] = ()  # of the chunk being gathered
    treble: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """Up to ten minutes. ``samples``: float32, shape (n, channels), at ``rate_hz``.

    ``treble``: mean square of the thin stream's second differences (hiss has much of them, hum next to nothing) for
    each half second, shape (n_halves,), the louder channel; 0 where every sample is the same.
    """

    rate_hz: float
    samples: np.ndarray
    treble: np.ndarray


def begin_slow(thin_rate_hz: float, loops: Loops | None = None) -> SlowState:
    """Nothing heard yet. ``loops``: ready-made ones; compiled when none are handed in."""
    step = max(1, int(thin_rate_hz / LEAST_HZ))
    count = max(1, round(TAPS_S * thin_rate_hz)) | 1
    at = np.arange(count) - count // 2
    corner = (PASS_HZ + STOP_HZ) / 2 / thin_rate_hz
    taps = 2 * corner * np.sinc(2 * corner * at) * np.kaiser(count, KAISER)
    half = step * round(HALF_S * thin_rate_hz / step)
    return SlowState(
        step=step,
        rate_hz=thin_rate_hz / step,
        piece=PIECE_HALVES * half,
        taps=(taps / taps.sum()).astype(np.float32),
        loops=loops or compiled_loops(),
    )


def step_slow(state: SlowState, thin: np.ndarray) -> tuple[SlowState, list[Chunk]]:
    """Take in thin samples, shape (n, channels); chunks that are full by now."""
    state = replace(
        state, waiting=(*state.waiting, thin[:, :CHANNELS].copy()), waiting_count=state.waiting_count + len(thin)
    )
    chunks: list[Chunk] = []
    if state.waiting_count < state.piece:
        return state, chunks
    waiting = np.concatenate(state.waiting)
    while len(waiting) >= state.piece:
        state = _take(state, waiting[: state.piece])
        waiting = waiting[state.piece :]
        if len(state.pieces) == CHUNK_PIECES:
            chunks.append(_chunk(state))
            state = replace(state, pieces=(), treble=())
    return replace(state, waiting=(waiting.copy(),), waiting_count=len(waiting)), chunks


def finish_slow(state: SlowState) -> Chunk | None:
    """The last chunk; None where nothing is left."""
    if state.waiting_count:
        state = _take(state, np.concatenate(state.waiting))
    return _chunk(state) if state.pieces else None


def _chunk(state: SlowState) -> Chunk:
    return Chunk(
        rate_hz=state.rate_hz, samples=np.concatenate(state.pieces), treble=np.concatenate(state.treble).astype(float)
    )


def _take(state: SlowState, piece: np.ndarray) -> SlowState:
    """Filter one piece; keep every ``step``-th sample. The filter looks back only: the stream comes a little late."""
    before = len(state.taps) - 1
    tail = np.zeros((before, piece.shape[1]), np.float32) if state.tail is None else state.tail
    seen = np.concatenate([tail, piece])
    kept = -(-len(piece) // state.step)
    out = np.empty((piece.shape[1], kept), np.float32)
    for channel in range(piece.shape[1]):
        plane = np.ascontiguousarray(seen[:, channel], dtype=np.float32)
        state.loops.thin_plane(plane, state.taps, state.step, out[channel])
    return replace(
        state,
        waiting=(),
        waiting_count=0,
        tail=seen[len(seen) - before :].copy(),
        pieces=(*state.pieces, np.ascontiguousarray(out.T)),
        treble=(*state.treble, _treble(seen[before - 2 :], state.piece // PIECE_HALVES)),
    )


def _treble(samples: np.ndarray, half: int) -> np.ndarray:
    whole = (len(samples) - 2) // half
    powers = np.zeros((samples.shape[1], whole), np.float32)
    for channel in range(samples.shape[1]):
        steps = np.diff(samples[: whole * half + 2, channel], n=2).reshape(whole, half)
        powers[channel] = np.einsum("ij,ij->i", steps, steps) / half
    return powers.max(axis=0)
