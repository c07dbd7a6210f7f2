"""Dropouts: short holes in which the tape's signal goes, programme and hiss together, and comes back.

Ours (decision 0061): no published method for programme is known (check values, part 4, fault 2). A loss of contact
multiplies everything by one factor, within a millisecond or two, and gives it all back: the same step down and up in
every band, in one channel or in both. A pause, a fade, a staccato note leaves the hiss where it was; a noise gate takes
the hiss too, but slowly. Where bands disagree, where the programme itself makes such steps all the time, where no hiss
is known and little speaks for a hole, nothing is told.

Stands on the stream of :mod:`fine`; decides a second and a bit after a hole's end, never changes its mind, and keeps a
few seconds of it whatever the capture's length.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.dropout_edges import (
    AROUND,
    BLOCK,
    DECIBEL,
    NEAR,
    PEAK,
    QUIETEST,
    Steps,
    find_steps,
    hypotheses,
    moments,
    steps_of,
    weigh,
)
from takeup.measure.sound.dropout_evidence import Heard
from takeup.measure.sound.dropout_floor import Floor, begin_floor, hear_floor, known_floor, leave_out
from takeup.measure.sound.dropout_holes import Hole, find_holes

CHUNK, AHEAD = 1000, 160  # frames of about 1 ms: decided together; heard beyond them
LONGEST = 1000  # frames: what is away for longer is no dropout
BEHIND = LONGEST + 32  # frames kept before a chunk
CROWD = 500  # frames before a hole in which other steps count against it
LAST = 20  # holes told that a new one may not meet
EDGE = NEAR + 1  # frames before a step that it needs
END = 2  # frames at the very end that silence reaches into
MOST_CHANNELS = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropout:
    """One hole. ``channel``: 0, 1, or None when all channels are struck (also of a mono capture)."""

    from_s: float
    to_s: float
    depth_db: float
    channel: int | None
    certainty: float  # 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class DropoutState:
    """Between two pieces. Frozen; ``step`` makes a new one."""

    hop_s: float
    channels: int
    degrees: np.ndarray  # of freedom of one frame, shape (n_bands,)
    widths_hz: np.ndarray
    powers: np.ndarray  # frames still wanted, float32, shape (n, channels, n_bands)
    first: int = 0  # frame of powers[0]
    decided: int = 0  # frames
    heard: int = 0  # frames
    before: np.ndarray | None = None  # moments of the blocks before the next chunk
    floor: Floor
    steps: Steps | None = None  # of the last second and a half
    holes: tuple[Hole, ...] = ()  # the last ones told
    found: tuple[Dropout, ...] = ()


def begin_dropouts(channels: int, edges_hz: tuple[float, ...], hop_s: float) -> DropoutState | None:
    """Nothing heard yet; None where the fine stream has fewer than two bands, or for more than two channels."""
    if len(edges_hz) < 3 or channels > MOST_CHANNELS:
        return None
    widths = np.diff(np.array(edges_hz))
    count = len(widths)
    return DropoutState(
        hop_s=hop_s,
        channels=channels,
        degrees=2 * np.maximum(1.0, np.round(widths / 1000)),  # the fine stream looks at one bin of each kilohertz
        widths_hz=widths,
        powers=np.empty((0, channels, count), np.float32),
        floor=begin_floor(channels, count),
    )


def step_dropouts(state: DropoutState, piece: np.ndarray) -> DropoutState:
    """Take in frames of the fine stream, float32, shape (n, channels, n_bands)."""
    if not len(piece):
        return state
    state = replace(state, powers=np.concatenate([state.powers, piece]), heard=state.heard + len(piece))
    while state.heard >= state.decided + CHUNK + AHEAD:
        state = _decide(state)
    return state


def finish_dropouts(state: DropoutState) -> tuple[Dropout, ...]:
    """Every dropout, by its beginning."""
    rest = state.heard - state.decided - END
    if rest > 0:
        whole = state.powers[: state.heard - END - state.first]
        missing = CHUNK + AHEAD - rest
        last = np.repeat(whole[-1:], missing, axis=0) if missing > 0 else whole[:0]
        state = replace(state, powers=np.concatenate([whole, last]))
        state = _decide(state)
        if missing < 0:
            state = replace(state, powers=np.concatenate([state.powers, np.repeat(whole[-1:], CHUNK, axis=0)]))
            state = _decide(state)
    return tuple(sorted(state.found, key=lambda one: (one.from_s, one.channel or 0)))


def _decide(state: DropoutState) -> DropoutState:
    """Settle all holes that end in the next chunk."""
    at = state.decided - state.first  # of the chunk in the frames kept
    lead = min(at, EDGE + PEAK)
    reach = slice(at - lead, at + CHUNK + AHEAD)
    levels = np.float32(DECIBEL) * np.log(state.powers[reach] + np.float32(QUIETEST))
    floor = hear_floor(state.floor, state.powers[reach], levels, state.decided - lead)
    heard = known_floor(floor, state.degrees, state.widths_hz)
    means, between = steps_of(levels)
    steps = np.zeros((CHUNK + AHEAD + PEAK, *levels.shape[1:]), np.float32)  # from PEAK before the chunk on
    shift = EDGE - lead + PEAK
    steps[shift : shift + len(between)] = between
    blocks = (CHUNK + AHEAD - EDGE) // BLOCK
    now = moments(steps[PEAK : PEAK + blocks * BLOCK])
    before = np.repeat(now[:1], AROUND, axis=0) if state.before is None else state.before
    weights = weigh(np.concatenate([before, now])[: CHUNK // BLOCK + 2 * AROUND], heard.used)
    found = find_steps(
        steps[: CHUNK + 2 * PEAK], means + heard.bias.astype(np.float32), lead - EDGE, weights, heard.level, heard.trust
    )
    kept = found.moved(state.decided)
    if state.steps is not None:
        kept = state.steps.chosen(state.steps.at > state.decided - BEHIND - CROWD).followed_by(kept)
    scene = Heard(powers=state.powers, first=state.first, floor=heard.level, trust=heard.trust, degrees=state.degrees)
    holes = find_holes(scene, kept, hypotheses(state.channels), state.decided, LONGEST, CROWD, state.holes)
    floor = leave_out(floor, holes)
    decided = state.decided + CHUNK
    drop = max(0, decided - BEHIND - state.first)
    return replace(
        state,
        powers=state.powers[drop:].copy(),
        first=state.first + drop,
        decided=decided,
        before=now[CHUNK // BLOCK - AROUND : CHUNK // BLOCK],
        floor=floor,
        steps=kept,
        holes=(*state.holes, *holes)[-LAST:],
        found=(*state.found, *(_told(hole, state) for hole in holes)),
    )


def _told(hole: Hole, state: DropoutState) -> Dropout:
    return Dropout(
        from_s=hole.first * state.hop_s,
        to_s=hole.end * state.hop_s,
        depth_db=hole.depth_db,
        channel=hole.which[0] if len(hole.which) == 1 and state.channels > 1 else None,
        certainty=hole.certainty,
    )
