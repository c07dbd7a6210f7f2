"""The fold of mains hum: every ten minutes its lines are looked for, at the end they are put together.

Method ours: lasting lines (``hum_frames``), families of multiples (``hum_family``), a close look at each
(``hum_zoom``). What was recorded and what the station adds are told apart by the judge, from the facts here: how
exactly and how steadily a line stands, whether it is also there where the tape is not (leader), whether it stops in
pauses as a note does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.hum_family import Family, families_of
from takeup.measure.sound.hum_frames import Frames, frames_of, lasting_lines
from takeup.measure.sound.hum_jumps import Jump, jumps, undone
from takeup.measure.sound.hum_places import where_it_is
from takeup.measure.sound.hum_zoom import Close, Weighed, Zoom, levels, look_close, spread_hz, weigh, zoom_in
from takeup.measure.sound.loops import Loops
from takeup.measure.sound.slow import HALF_S, Chunk, SlowState, begin_slow, finish_slow, step_slow

HIGHEST_HZ = 1000.0
NEAR_S = 16.0  # within this time no grid moves by what a tape machine moves
SHARPENERS = 3
BESIDE_S = 5.0  # what is left of a jump within this time is no second one
SKIRT_BINS = 4  # of the frames' spectra: nearer than this the close look would have told two lines
SIDE_HZ, SIDE_DB, UNSTEADY_DB = 3.0, 15.0, 6.0  # sidebands of wow, skirts of loud moments
SAME = 0.004  # of the frequency: lines of two chunks that are one


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkLine:
    """One family in one chunk. ``track``: power of its strongest line for each half second."""

    hz: float
    step: int
    multiples: tuple[int, ...]
    mean_squares: tuple[float, ...]  # of the whole family, by channel
    by_multiple: tuple[tuple[int, float], ...]  # mean square of each multiple, louder channel
    steady: bool
    over_noise: float
    spread_hz: float
    uneven_db: float
    seconds: float
    first_half: int
    track: np.ndarray
    strongest: int
    jumps: tuple[Jump, ...]
    strongest_mean_square: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HumState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    slow: SlowState
    lines: tuple[tuple[ChunkLine, ...], ...] = ()  # by chunk
    treble: tuple[np.ndarray, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class HumLine:
    """One family over the whole capture."""

    hz: float  # its fundamental; 100 or 120 where only twice the mains was found
    error_hz: float  # standard error of ``hz`` by noise alone
    step: int  # 2: as recorded; 1: odd multiples of half of it as well (half speed); 4: even multiples only
    multiples: tuple[int, ...]  # in halves of the mains frequency
    dbfs: float  # RMS of all its lines, louder channel
    levels_dbfs: Mapping[int, float]  # of the multiples heard
    steady: bool  # keeps its phase over each chunk
    spread_hz: float  # moves so far within some seconds, noise taken off
    drift_hz: float  # moves so far from chunk to chunk
    uneven_db: float
    share: float  # of the capture's chunks, by time
    leader_db: float | None  # its level in the leader against elsewhere; None where there is no leader
    pause_db: float | None  # its level in the quietest fifth against elsewhere; None where there are no pauses
    jumps: tuple[Jump, ...]  # where it comes ahead of itself all at once
    absent_share: float  # of the half seconds with tape, in which it is 10 dB weaker; 0 where that was not looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Hum:
    """All families found, loudest first, and how long was listened."""

    lines: tuple[HumLine, ...]
    seconds: float


def begin_hum(thin_rate_hz: float, loops: Loops | None = None) -> HumState:
    """Nothing heard yet."""
    return HumState(slow=begin_slow(thin_rate_hz, loops))


def step_hum(state: HumState, thin: np.ndarray) -> HumState:
    """Take in thin samples, shape (n, channels)."""
    slow, chunks = step_slow(state.slow, thin)
    state = replace(state, slow=slow)
    for chunk in chunks:
        state = _heard(state, chunk)
    return state


def finish_hum(state: HumState) -> Hum | None:
    """All lines; None where the capture is too short to tell."""
    last = finish_slow(state.slow)
    if last is not None:
        state = _heard(state, last)
    if not state.seconds:
        return None
    treble = np.concatenate(state.treble)
    groups: list[list[ChunkLine]] = []
    for lines in state.lines:
        taken: set[int] = set()
        for line in lines:
            near = [
                (abs(line.hz / group[-1].hz - 1), at)
                for at, group in enumerate(groups)
                if at not in taken and abs(line.hz / group[-1].hz - 1) <= SAME
            ]
            at = min(near)[1] if near else len(groups)
            groups[at:at] = [] if near else [[]]
            groups[at].append(line)
            taken.add(at)
    found = [_together(group, treble, state.seconds) for group in groups]
    return Hum(lines=tuple(sorted(found, key=lambda line: -line.dbfs)), seconds=state.seconds)


def _heard(state: HumState, chunk: Chunk) -> HumState:
    frames = frames_of(chunk.samples, chunk.rate_hz)
    first = sum(len(part) for part in state.treble)
    lines = _lines(chunk, frames, first) if frames is not None else ()
    return replace(
        state,
        lines=(*state.lines, lines),
        treble=(*state.treble, chunk.treble),
        seconds=state.seconds + (len(chunk.samples) / chunk.rate_hz if frames is not None else 0.0),
    )


def _lines(chunk: Chunk, frames: Frames, first_half: int) -> tuple[ChunkLine, ...]:
    found: list[ChunkLine] = []
    weighed = weigh(chunk.samples, frames.weights, chunk.rate_hz)
    for family in families_of(lasting_lines(frames), frames.bin_hz):
        base = family.base_hz
        zooms = dict(zip(family.multiples, zoom_in(weighed, [base * multiple for multiple in family.multiples])))
        zoom = zooms[family.strongest]
        others = [zooms[multiple] for multiple in family.multiples if multiple != family.strongest][:SHARPENERS]
        close = look_close(zoom, others)
        if close is None:
            continue
        close, leaps = _without_jumps(family, close, zooms)
        mine: list[ChunkLine] = []
        for line in _measured(chunk, frames, family, close, weighed, leaps):
            if line.strongest_mean_square > 0 and not any(_of_the_same(line, other, frames.bin_hz) for other in found):
                mine.append(replace(line, first_half=first_half))
        found += mine
    return tuple(found)


def _without_jumps(family: Family, close: Close, zooms: dict[int, Zoom]) -> tuple[Close, tuple[Jump, ...]]:
    """Jumps of a steady line, and how it stands once they are taken back; without any, all as it was.

    Jumps smear a line so that it may look like two: what taking them back makes one was one.
    """
    strong = [multiple for multiple in family.multiples if multiple % family.step == 0]
    told: tuple[Jump, ...] = ()
    now = close
    for _ in range(2):
        base = now.hz[0] / family.strongest
        still = {one: undone(zooms[one], base * one, told) for one in family.multiples}
        more = jumps([still[one] for one in strong], [base * one for one in strong])
        more = [jump for jump in more if all(abs(jump.at_s - one.at_s) > BESIDE_S for one in told)]
        told = tuple(sorted((*told, *more), key=lambda jump: jump.at_s))
        if not told:
            return close, ()
        still = {one: undone(zooms[one], base * one, told) for one in family.multiples}
        others = [still[one] for one in family.multiples if one != family.strongest][:SHARPENERS]
        again = look_close(still[family.strongest], others)
        if again is None or not again.steady or len(again.hz) > 1:
            return close, ()
        now = again
    return now, told


def _of_the_same(line: ChunkLine, other: ChunkLine, bin_hz: float) -> bool:
    """Whether a line is only the skirt or a sideband of a stronger family: near one of its lines, and far weaker."""
    hz = line.hz / line.step * line.strongest
    base = other.hz / other.step
    apart = abs(hz - base * max(1, round(hz / base)))
    weaker_db = 10 * np.log10(max(other.mean_squares) / max(max(line.mean_squares), 1e-20))
    return apart < SKIRT_BINS * bin_hz or (apart < SIDE_HZ and weaker_db > (SIDE_DB if line.steady else UNSTEADY_DB))


def _measured(
    chunk: Chunk, frames: Frames, family: Family, close: Close, weighed: Weighed, leaps: tuple[Jump, ...]
) -> list[ChunkLine]:
    """The lines of one family: one, or two steady ones side by side."""
    parts_hz, uneven = _by_frame(frames, family.base_hz * family.strongest)
    spacing = frames.frame_s / 2
    bases = [hz / family.strongest for hz in close.hz]
    if not close.steady and len(parts_hz):
        bases = [float(np.median(parts_hz)) / family.strongest]
    pair = tuple(bases) if len(bases) == 2 else None
    totals = [np.zeros(chunk.samples.shape[1]) for _ in bases]
    each: list[list[tuple[int, float]]] = [[] for _ in bases]
    multiples = range(family.step, int(HIGHEST_HZ / family.base_hz) + 1, family.step)
    seen = zoom_in(weighed, [bases[0] * multiple for multiple in multiples])
    for multiple, zoom in zip(multiples, (undone(one, one.hz, leaps) for one in seen) if leaps else seen):
        track = np.full(len(zoom.sums), bases[0] * multiple)
        if not close.steady and len(parts_hz):
            middles = (frames.starts[: len(parts_hz)] + frames.size / 2) / frames.rate_hz
            track = np.interp(zoom.at_s, middles, parts_hz) * multiple / family.strongest
        steady = tuple(base * multiple for base in bases) if pair and multiple in family.multiples else None
        for at, power in enumerate(levels(zoom, steady, track, steady=close.steady)):
            totals[at] += power
            each[at].append((multiple, float(power.max())))
    noise_hz = 0.55 * frames.bin_hz / np.sqrt(max(close.over_noise * frames.frame_s, 1.0))
    spread = np.sqrt(max(0.0, spread_hz(NEAR_S, parts_hz, spacing) ** 2 - noise_hz**2))
    return [
        ChunkLine(
            hz=base * family.step,
            step=family.step,
            multiples=family.multiples,
            mean_squares=tuple(float(one) for one in totals[at]),
            steady=close.steady,
            over_noise=close.over_noise * (family.strongest / family.step) ** 2,
            spread_hz=0.0 if pair else float(spread) * family.step / family.strongest,
            uneven_db=0.0 if pair else uneven,
            seconds=len(chunk.samples) / chunk.rate_hz,
            first_half=0,
            track=_track(zoom_in(weighed, [base * family.strongest])[0], base * family.strongest, len(chunk.treble))
            if not pair
            else np.zeros(0),
            strongest=family.strongest,
            jumps=leaps,
            strongest_mean_square=dict(each[at]).get(family.strongest, 0.0),
            by_multiple=tuple(each[at]),
        )
        for at, base in enumerate(bases)
    ]


def _by_frame(frames: Frames, hz: float) -> tuple[np.ndarray, float]:
    """Where the line is in each frame [Hz], and how unevenly strong it is [dB]."""
    middle = int(round((hz - frames.hz[0]) / frames.bin_hz))
    low, high = max(1, middle - 3), min(len(frames.hz) - 1, middle + 4)
    part = frames.power[:, low:high]
    best = part.argmax(axis=1) + low
    rows = np.arange(len(best))
    before, here, after = (np.log(frames.power[rows, np.clip(best + k, 0, len(frames.hz) - 1)]) for k in (-1, 0, 1))
    bend = np.minimum(before - 2 * here + after, -1e-9)
    found = frames.hz[best] + frames.bin_hz * np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    clear = frames.power[rows, best] > 6 * frames.noise[rows, best]
    strength = 10 * here[clear] / np.log(10)
    spread = np.subtract(*np.percentile(strength, [75, 25])) / 1.35 if len(strength) > 3 else 0.0
    return np.where(clear, found, np.median(found[clear]) if clear.any() else hz), float(spread)


def _track(zoom: Zoom, hz: float, halves: int) -> np.ndarray:
    """Power of a line for each half second, summed over channels."""
    turned = zoom.sums * np.exp(-2j * np.pi * (hz - zoom.hz) * zoom.at_s)[:, None]
    each = round(HALF_S / zoom.block_s)
    count = min(halves, len(turned) // each)
    sums = turned[: count * each].reshape(count, each, -1).sum(axis=1)
    weights = zoom.weights[: count * each].reshape(count, each).sum(axis=1)
    power = 2 * (np.abs(sums) ** 2).max(axis=1) / np.maximum(weights, 1e-9) ** 2
    return np.where(weights > 0, power, np.nan).astype(np.float32)


def _together(group: list[ChunkLine], treble: np.ndarray, seconds: float) -> HumLine:
    """One family from its chunks."""
    lengths = np.array([line.seconds for line in group])
    trust = np.array([line.over_noise * line.seconds**3 for line in group])
    errors = np.sqrt(3 / (2 * np.pi**2 * np.maximum(trust, 1e-9)))
    hz = np.array([line.hz for line in group])
    mean = float((hz * lengths).sum() / lengths.sum())
    squares = np.array([line.mean_squares for line in group])
    level = (squares * lengths[:, None]).sum(axis=0).max() / lengths.sum()
    power = np.full(len(treble), np.nan)
    for line in group:
        power[line.first_half : line.first_half + len(line.track)] = line.track
    leader, pause, absent = where_it_is(power, float(np.mean([line.strongest_mean_square for line in group])), treble)
    each: dict[int, float] = {}
    for line in group:
        for multiple, square in line.by_multiple:
            each[multiple] = each.get(multiple, 0.0) + square * line.seconds / lengths.sum()
    steps = [line.step for line in group]
    return HumLine(
        hz=mean,
        error_hz=float(np.sqrt(((errors * lengths) ** 2).sum()) / lengths.sum()),
        step=min(steps) if min(steps) != 4 else 4,
        multiples=tuple(sorted({multiple for line in group for multiple in line.multiples})),
        dbfs=float(10 * np.log10(max(level, 1e-20))),
        levels_dbfs={multiple: float(10 * np.log10(power)) for multiple, power in each.items() if power > 1e-20},
        steady=all(line.steady for line in group),
        spread_hz=float(max(line.spread_hz for line in group)),
        drift_hz=float(np.ptp(hz)),
        uneven_db=float(np.median([line.uneven_db for line in group])),
        share=float(lengths.sum() / seconds),
        leader_db=leader,
        pause_db=pause,
        absent_share=absent,
        jumps=tuple(replace(jump, at_s=jump.at_s + line.first_half * HALF_S) for line in group for jump in line.jumps),
    )
