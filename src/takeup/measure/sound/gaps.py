"""The fold of lost samples: what goes to nothing, what comes twice, and where the wave may break.

- A hole: every sample exactly alike for a millisecond or more, with sound on both sides. No tape does that; a wave that
  was cut flat stands still too, but at its own highest or lowest.
- A repeat: the samples behind a step are exactly those of a moment before: a buffer played twice. No tape does that.
- A step: a place that towers over its neighbours in the second difference. Clicks and sharp onsets do that too (tried:
  plucked notes and cut syllables are steps from one sample to the next as well), so a step alone tells nothing; it says
  where samples are missing when the station's hum has jumped there (``hum_jumps``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.loops import Loops, compiled_loops

PIECE_S, REACH_S = 0.5, 0.06  # looked at together; seen before and behind
SLOT_S = 0.0005
QUIET_SLOTS, NEAR_SLOTS = 12, 2  # neighbours on each side that a step must tower over; nearest ones left out
TOWER = 2.5
HOLE_S, LONGEST_HOLE_S = 0.001, 0.3
SOUNDING = 1e-4  # RMS beside a hole, -80 dBFS: sixteen bits do not round this to nothing for a millisecond
BESIDE_S = 0.005
REPEAT_BACK_S, REPEAT_SAMPLES = 0.25, 48  # so many samples exactly alike, as noise never is
TURNS = 3  # a buffer is played twice or thrice, not more
PERIODIC = 0.3  # so many frames beside a repeat equal those before: a tone, no repeat
MOST_PAIRS = 200  # in a piece
PICK, TABLE = 7, 1 << 14  # one moment in eight is looked at; so many are remembered
MOST = 2000  # holes and repeats kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One place, and how many samples it says were lost."""

    at: int  # frame
    kind: str  # "hole", "repeat"
    lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """All places in their order; ``long_holes``: holes longer than a lost buffer, between sound."""

    places: tuple[Gap, ...]
    steps: tuple[int, ...]  # frames at which the wave may break, one in a piece at most
    long_holes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class GapState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    loops: Loops
    at: int = 0  # frame of the first sample in ``left``
    left: tuple[np.ndarray, ...] = ()
    count: int = 0
    hole_from: int | None = None  # where a hole began that reaches the end of what was looked at
    before_rms: float = 0.0
    places: tuple[Gap, ...] = ()
    steps: tuple[int, ...] = ()
    long_holes: int = 0


def begin_gaps(rate_hz: int, loops: Loops | None = None) -> GapState:
    """Nothing heard yet. ``loops``: ready-made ones; compiled here without them."""
    return GapState(rate_hz=rate_hz, loops=loops or compiled_loops())


def step_gaps(state: GapState, block: np.ndarray) -> GapState:
    """Take in one block, float32, shape (n, channels)."""
    state = replace(state, left=(*state.left, block), count=state.count + len(block))
    piece, reach = round(PIECE_S * state.rate_hz), round(REACH_S * state.rate_hz)
    if state.count < piece + 2 * reach:
        return state
    samples = np.concatenate([part.T for part in state.left], axis=1).T  # channel after channel: read so from here on
    start = 0
    while len(samples) - start >= piece + 2 * reach:
        state = _look(state, samples[start : start + piece + 2 * reach], state.at + start, reach)
        start += piece
    return replace(state, at=state.at + start, left=(samples[start:].T.copy().T,), count=len(samples) - start)


def finish_gaps(state: GapState) -> Gaps:
    """All places. What lies within 60 ms of both ends is not looked at."""
    reach = round(REACH_S * state.rate_hz)
    if state.count > 2 * reach:
        state = _look(state, np.concatenate([part.T for part in state.left], axis=1).T, state.at, reach)
    places = tuple(sorted(state.places, key=lambda gap: gap.at))
    return Gaps(places=places, steps=state.steps, long_holes=state.long_holes)


def _look(state: GapState, samples: np.ndarray, at: int, reach: int) -> GapState:
    state = _holes(state, samples, at, reach)
    holes = [gap.at - at for gap in state.places[-4:] if gap.kind == "hole"]
    near = 0.35 * state.rate_hz  # both edges of a hole are steps
    found = [
        Gap(at=at + place, kind="repeat", lost=lost)
        for place, lost in _repeats(samples, reach, state.rate_hz, state.loops)
        if all(abs(hole - place) >= near for hole in holes)
    ]
    state = replace(state, places=(*state.places, *found)[:MOST])
    step = None if found else _step(samples, reach, state.rate_hz, state.loops)
    if step is None or any(abs(hole - step) < near for hole in holes):
        return state
    return replace(state, steps=(*state.steps, at + step))


def _holes(state: GapState, samples: np.ndarray, at: int, reach: int) -> GapState:
    """Runs in which no channel moves, that end in this piece; one that goes on is remembered."""
    inner = samples[reach : len(samples) - reach + 1].T
    still = inner[0, 1:] == inner[0, :-1]
    if still.any():
        for plane in inner[1:]:
            still &= plane[1:] == plane[:-1]
    if not still.any() and state.hole_from is None:
        return state
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8))).reshape(-1, 2)
    least, beside = max(16, HOLE_S * state.rate_hz), round(BESIDE_S * state.rate_hz)
    open_end = (edges[:, 0] == 0) | (edges[:, 1] == len(still))
    places, long_holes, hole_from = list(state.places), state.long_holes, None
    before_rms = state.before_rms
    begun, known_rms = state.hole_from, state.before_rms
    for first, end in edges[open_end | (edges[:, 1] - edges[:, 0] + 1 >= least)].tolist():  # of a quiet side few
        start = at + reach + first
        rms = _rms(samples, reach + first - beside, reach + first)
        if first == 0 and begun is not None:
            start, rms = begun, known_rms
        if end == len(still):
            hole_from, before_rms = start, rms
            continue
        length = at + reach + end + 1 - start
        after = _rms(samples, reach + end + 1, reach + end + 1 + beside)
        if length >= least and min(rms, after) >= SOUNDING and not _is_top(samples, reach + first, reach + end, beside):
            long_holes += length > LONGEST_HOLE_S * state.rate_hz
            if len(places) < MOST:
                places.append(Gap(at=start, kind="hole", lost=length))
    return replace(state, places=tuple(places), long_holes=long_holes, hole_from=hole_from, before_rms=before_rms)


def _is_top(samples: np.ndarray, first: int, last: int, beside: int) -> bool:
    """Whether the wave stands still at its own highest or lowest, as a cut top does; a lost buffer stands anywhere."""
    near = np.concatenate([samples[max(0, first - 4 * beside) : first], samples[last + 1 : last + 1 + 4 * beside]])
    level = samples[last]
    far = np.abs(level) > SOUNDING
    return bool((far & ((level >= near.max(axis=0)) | (level <= near.min(axis=0)))).any())


def _rms(samples: np.ndarray, first: int, end: int) -> float:
    part = samples[max(0, first) : max(0, end)]
    return float(part.std(axis=0).max()) if len(part) else 0.0


def _step(samples: np.ndarray, reach: int, rate_hz: int, loops: Loops) -> int | None:
    """Where a piece bends most sharply, if it towers over what is around it."""
    slot = max(8, round(SLOT_S * rate_hz))
    count = (len(samples) - 2) // slot
    peaks = np.zeros(count, np.float32)
    for plane in samples.T:
        loops.slot_peaks(np.ascontiguousarray(plane), slot, peaks)
    around = np.zeros(count, np.float32)
    padded = np.pad(peaks, QUIET_SLOTS, mode="edge")
    for lag in range(NEAR_SLOTS, QUIET_SLOTS + 1):
        for side in (QUIET_SLOTS - lag, QUIET_SLOTS + lag):
            around = np.maximum(around, padded[side : side + count])
    first, last = -(-reach // slot), (len(samples) - reach) // slot
    if last <= first:
        return None
    over = peaks / np.maximum(around, 1e-7)
    highest = int(over[first:last].argmax()) + first
    return _place(samples, highest * slot, slot) if over[highest] >= TOWER else None


def _place(samples: np.ndarray, first: int, slot: int) -> int:
    part = samples[first : first + slot + 2]
    return first + int(np.abs(np.diff(part, n=2, axis=0)).max(axis=1).argmax()) + 1


def _repeats(samples: np.ndarray, reach: int, rate_hz: int, loops: Loops) -> list[tuple[int, int]]:
    """Stretches that are exactly those of a moment before: where the second one begins, and how much later."""
    pairs, last = np.empty((MOST_PAIRS + 1, 2), np.int64), np.empty((2, TABLE), np.int32)
    bits = np.ascontiguousarray(samples[:, 0]).view(np.uint32)
    loops.same_moments(bits, PICK, round(REPEAT_BACK_S * rate_hz), last, pairs)
    found: list[tuple[int, int]] = []
    told = pairs[: pairs[-1, 0]]
    for one, other in told[_long_enough(samples[:, 0], told)].tolist():
        lag = other - one
        if any(abs(other - at) <= 2 * lost for at, lost in found):
            continue
        first, end = _same_stretch(samples, other, lag)
        part = samples[first:end]
        if (
            REPEAT_SAMPLES <= end - first <= TURNS * lag
            and _alike_beside(samples, first, end, lag) < PERIODIC
            and reach <= first < len(samples) - reach
            and part.std(axis=0).max() > SOUNDING
        ):
            found.append((first, lag))
    return found


def _alike_beside(samples: np.ndarray, first: int, end: int, lag: int) -> float:
    """Share of frames beside a stretch that also equal those ``lag`` before them: a steady tone repeats for ever."""
    before, behind = max(lag, first - 2 * lag), min(len(samples), end + 1 + 2 * lag)
    at = np.concatenate([np.arange(before, first), np.arange(end + 1, behind)])
    return float((samples[at] == samples[at - lag]).all(axis=1).mean()) if len(at) else 1.0


def _long_enough(plane: np.ndarray, pairs: np.ndarray) -> np.ndarray:
    """Which pairs of moments are alike in one channel for as long as a repeat must be: by chance it is a few samples.

    ``pairs``: shape (k, 2). Returns bool, shape (k,).
    """
    lags = np.diff(pairs, axis=1)
    at = pairs[:, 1:] + np.arange(-REPEAT_SAMPLES, REPEAT_SAMPLES + 1)
    inside = (at >= lags) & (at < len(plane))
    at = np.where(inside, at, lags)
    unlike = (plane[at] != plane[at - lags]) | ~inside
    ends = np.ones((len(pairs), 1), bool)
    back = np.hstack([unlike[:, REPEAT_SAMPLES::-1], ends]).argmax(axis=1)
    on = np.hstack([unlike[:, REPEAT_SAMPLES:], ends]).argmax(axis=1)
    return back + on - 1 >= REPEAT_SAMPLES


def _same_stretch(samples: np.ndarray, at: int, lag: int) -> tuple[int, int]:
    """First and one past the last frame around ``at`` that equal those ``lag`` frames before them."""
    back = (samples[lag : at + 1] == samples[: at + 1 - lag]).all(axis=1)[::-1]
    on = (samples[at:] == samples[at - lag : len(samples) - lag]).all(axis=1)
    return at + 1 - int(np.argmin(np.append(back, False))), at + int(np.argmin(np.append(on, False)))
