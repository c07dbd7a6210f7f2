"""Which way time runs: what sounds begins at once and dies away, on the scale of one to three milliseconds.

Whatever is struck, plucked, spoken or clapped drives something that rings: the level in a band rises faster than it
falls. Played backwards it is the other way round. The figure is the skewness of the change of level over one to three
frames of the fine stream, where a band stands well above its quietest. Ours (decision 0066): the check values name the
skewness of the envelope's slope; over tenths of a second its sign follows the music (a flute swells and stops), over
milliseconds it follows the ringing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

LAGS = (1, 2, 3)  # frames of about 1 ms
SEGMENT = 5000  # frames looked at together
PIECE = 20  # frames: one figure for the floor
LOWEST_SHARE = 0.1
REMEMBERED = 9  # segments whose floors count
CLAMP_DB, ABOVE_DB = 6.0, 12.0  # over the floor: nothing below the first counts, nothing that stays below the second
LARGEST_DB = 20.0  # one sudden change, of a leader or an edit, does not outweigh the rest
LEAST = 300  # frames of a segment in which a band says something
QUIETEST = 1e-15  # mean square of a band: nothing at all


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """``skewness``: median of all segments, positive where sounds die away as they should."""

    skewness: float
    backward_share: float  # of segments in which it is the other way round
    segments: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectionState:
    """Between two pieces. Frozen; ``step`` makes a new one."""

    left: tuple[np.ndarray, ...] = ()  # levels not looked at yet
    count: int = 0
    floors: np.ndarray | None = None  # of the last segments [dB], shape (n, n_bands)
    segments: tuple[float, ...] = ()


def begin_direction() -> DirectionState:
    """Nothing heard yet."""
    return DirectionState()


def step_direction(state: DirectionState, piece: np.ndarray) -> DirectionState:
    """Take in frames of the fine stream, shape (n, channels, n_bands); a low rate has no bands."""
    if not piece.size:
        return state
    levels = 10 * np.log10(piece.mean(axis=1) + QUIETEST)
    state = replace(state, left=(*state.left, levels), count=state.count + len(levels))
    if state.count < SEGMENT:
        return state
    together = np.concatenate(state.left)
    start = 0
    while len(together) - start >= SEGMENT:
        state = _with_segment(state, together[start : start + SEGMENT])
        start += SEGMENT
    return replace(state, left=(together[start:].copy(),), count=len(together) - start)


def finish_direction(state: DirectionState) -> Direction | None:
    """What all whole segments say; None where nothing sounded long enough."""
    if not state.segments:
        return None
    segments = np.array(state.segments)
    return Direction(
        skewness=float(np.median(segments)), backward_share=float((segments < 0).mean()), segments=len(segments)
    )


def _with_segment(state: DirectionState, levels: np.ndarray) -> DirectionState:
    pieces = levels[: len(levels) // PIECE * PIECE].reshape(-1, PIECE, levels.shape[1]).mean(axis=1)
    lowest = np.quantile(pieces, LOWEST_SHARE, axis=0)
    floors = lowest[None] if state.floors is None else np.concatenate([state.floors, lowest[None]])[-REMEMBERED:]
    floor = np.minimum(lowest, np.median(floors, axis=0))  # the median: a leader's own is no tape's
    clamped = np.maximum(levels, floor + CLAMP_DB)
    found = []
    for lag in LAGS:
        change = np.clip(clamped[lag:] - clamped[:-lag], -LARGEST_DB, LARGEST_DB)
        heard = np.maximum(clamped[lag:], clamped[:-lag]) > floor + ABOVE_DB
        frames, squares = heard.sum(axis=0), (heard * change**2).sum(axis=0)
        enough = (frames >= LEAST) & (squares > 0)
        cubes = (heard * change**3).sum(axis=0)
        found += (cubes[enough] / np.sqrt(squares[enough] ** 3 / frames[enough])).tolist()
    return replace(state, floors=floors, segments=(*state.segments, float(np.mean(found))) if found else state.segments)
