"""Tops that were cut and then resampled or turned down: no two samples are equal any more, their height and shape are.

Band-limiting leaves a ripple beside each corner, and a top of six samples and more (at 48 kHz; of the coarser of the
two rates where the file was made finer) still lies flat between its corners. Many such tops, nearly all at one height,
corners as sharp where the wave comes slowly as where it comes fast, and hardly a round top at that height: no voice, no
limiter, no soft saturation and no tape does that. Method ours (decision 0067); flat-top shape: Laguna & Lerch (AES 141,
2016, abstract read).

Says nothing of tops shorter than six samples at 48 kHz, of fewer than six flat tops in all, of waves steeper than a
quarter of their height a sample.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.clipping import CutTops
from takeup.measure.sound.hops import Hops
from takeup.measure.sound.loops import Loops, compiled_loops
from takeup.measure.sound.tops_figures import BINS, FIGURES, MOST_A_SPAN, NOWHERE, SPAN

UNIT_HZ = 48_000  # rate of one unit: a corner is about as wide
REACH = 256  # units a top may go on for on each side: 5 ms
MARGIN = 8  # units seen beyond
NEARLY = 0.7  # tops so near the highest of late are looked at: the ripple of a noisy programme rises to 1.3
FADE = 3e-4  # by which that is forgotten with each hop: to 0.4 in half a minute
QUIETEST = 0.003  # share of full scale
MOST_ROWS = 200_000  # 14 MB: half an hour and more of a stereo side that is cut all the time
HIGHEST = 8000  # bins of height: 1.6 of full scale
SAME = 0.001  # heights within this are one
AROUND = 0.1  # flat tops within this of the height are set against those at it
AROUND_ROUND = 0.004  # round ones
STEEPEST = 0.35  # of the height in a unit: beyond, nothing can be said of a corner
CORNERS = 5  # that must be seen
ALIKE_UNITS, ALIKE_SHARE = 0.7, 0.1  # lengths and slopes of a tone vary less
HISS_LOWEST_DB, HISS_SHARE = -75, 0.05  # hops of the quietest share tell the hiss, those below it are electronics
OF_NOISE = 0.45  # spread (half of all) of the mean of nine samples against the noise's RMS


@dataclass(frozen=True, slots=True, kw_only=True)
class TopsState:
    """Frozen; ``step`` makes a new one."""

    rate_hz: int
    hop: int
    loops: Loops
    left: np.ndarray  # samples from the margin before the next hop on, shape (n, channels)
    worth: np.ndarray  # of the hops not looked at yet, shape (n, 2 * channels)
    recent: np.ndarray  # highest top of each side, a logarithm told for hop 0
    counts: np.ndarray  # flat tops of this span of hops, by side
    heights: np.ndarray  # round tops, by side and height
    steps: np.ndarray  # hops by the level of their steps, whole dB below full scale
    known: int = 0  # hops whose extremes are known
    at: int = 0  # hops looked at
    kept: int = 0
    rows: tuple[np.ndarray, ...] = ()

    @property
    def unit(self) -> int:
        return max(1, round(self.rate_hz / UNIT_HZ))

    @property
    def margin(self) -> int:
        return (REACH + MARGIN) * self.unit


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTops:
    """The height at which most flat tops lie, and what speaks for a cut there."""

    level: float  # share of full scale
    tops: int  # flat, at this height
    of_flat: float  # share of the flat tops within ``AROUND``
    of_height: float  # share of all longer tops at this height, round ones too
    spread: float  # of their heights, from quarter to quarter, share of the level
    length: float  # units, median
    slope: float  # share of the level by which the wave falls in a unit outside, median
    ear: float  # what lies above the height just inside the corners, share of that fall, median
    corner: float | None  # how steep the wave is at once outside, against further out: 1 is a corner, less a bend
    steady: bool  # all as long and as steep as each other: a tone
    noise: float | None  # of the spread that the tape's hiss would give; None where no hiss is known
    stretches: tuple[CutTops, ...]


def begin_tops(rate_hz: int, channels: int, hop: int, loops: Loops | None = None) -> TopsState:
    """Nothing heard yet. ``hop``: frames of the hops that ``step_tops`` is handed."""
    sides = 2 * channels
    state = TopsState(
        rate_hz=rate_hz,
        hop=hop,
        loops=loops or compiled_loops(),
        left=np.zeros((0, channels), np.float32),
        worth=np.zeros((0, sides)),
        recent=np.full(sides, -np.inf),
        counts=np.zeros(sides, np.int64),
        heights=np.zeros((sides, HIGHEST), np.int32),
        steps=np.zeros(200, np.int64),
    )
    return replace(state, left=np.zeros((state.margin, channels), np.float32))


def step_tops(state: TopsState, block: np.ndarray, hops: Hops) -> TopsState:
    """Take in one block, float32, shape (n, channels), and the hops that it completed."""
    worth, recent = _worth(state, hops)
    state = replace(
        state,
        worth=np.concatenate([state.worth, worth]),
        recent=recent,
        known=state.known + len(worth),
        steps=state.steps + _by_level(hops, state.hop),
    )
    return _look(state, np.ascontiguousarray(block, np.float32))


def finish_tops(state: TopsState, gap: int) -> FlatTops | None:
    """What was found at the one height that stands out; None without any flat top. ``gap``: hops, see ``clipping``."""
    state = _look(state, np.zeros((state.margin + state.hop, state.left.shape[1]), np.float32))
    rows = np.concatenate([np.empty((0, FIGURES)), *state.rows])
    if len(rows) < 2:
        return None
    column, hop, height, length, rise, fall, ear_in, ear_out, corner = rows.T
    level = _commonest(height)
    here = np.abs(height / level - 1) <= SAME
    sides = np.unique(column[here]).astype(int)
    flat = (np.abs(height / level - 1) <= AROUND) & np.isin(column, sides)
    lowest, highest = (int(level * (1 + sign * AROUND_ROUND) * BINS) for sign in (-1, 1))
    rounded = int(state.heights[sides, lowest : highest + 1].sum())
    tops = int(here.sum())
    lower, upper = np.quantile(height[here], [0.25, 0.75])
    slopes, lengths = np.minimum(rise, fall)[here], length[here] / state.unit
    seen = corner[here & (np.maximum(rise, fall) <= STEEPEST) & (corner < NOWHERE)]
    spread = float(upper - lower) / level
    hiss = _hiss(state.steps)
    return FlatTops(
        level=level,
        tops=tops,
        of_flat=tops / int(flat.sum()),
        of_height=tops / (tops + rounded),
        spread=spread,
        length=float(np.median(lengths)),
        slope=float(np.median(slopes)),
        ear=float(np.median([ear_in[here], ear_out[here]])),
        corner=float(np.median(seen)) if len(seen) >= CORNERS else None,
        steady=bool(lengths.std() < ALIKE_UNITS and slopes.std() < ALIKE_SHARE * slopes.mean()),
        noise=None if hiss is None else spread * level / (OF_NOISE * hiss),
        stretches=_stretches(hop[here], length[here], level, gap),
    )


def _worth(state: TopsState, hops: Hops) -> tuple[np.ndarray, np.ndarray]:
    """From which height on the tops of each hop are looked at, and the highest of late (:class:`TopsState`)."""
    extremes = np.stack([hops.high, -hops.low], axis=2).reshape(len(hops.high), 2 * hops.high.shape[1])
    if not len(extremes):
        return extremes, state.recent
    faded = FADE * (state.known + np.arange(len(extremes)))[:, None]
    raised = np.log(np.maximum(extremes, 1e-9)) + faded
    highest = np.maximum(np.maximum.accumulate(raised), state.recent)
    limit = NEARLY * np.exp(highest - faded)
    return np.where((extremes >= limit) & (extremes > QUIETEST), limit, 0.0), highest[-1]


def _by_level(hops: Hops, hop: int) -> np.ndarray:
    """How many hops have steps of each level; noise steps by twice its own power."""
    power = hops.steps[hops.steps > 0] / (2 * hop)
    places = np.clip(np.round(-10 * np.log10(np.maximum(power, 1e-20))), 0, 199).astype(int)
    return np.bincount(places, minlength=200)


def _hiss(steps: np.ndarray) -> float | None:
    """RMS of the hiss, where there is any."""
    heard = steps[:-HISS_LOWEST_DB][::-1]  # the quietest first
    if not heard.sum():
        return None
    place = int(np.searchsorted(np.cumsum(heard), HISS_SHARE * heard.sum()))
    return float(10 ** ((HISS_LOWEST_DB + 1 + place) / 20))


def _look(state: TopsState, block: np.ndarray) -> TopsState:
    """Look at every hop that has its margin on both sides now; keep what is needed of the samples."""
    margin, hop, before = state.margin, state.hop, len(state.left)
    count = min(len(state.worth), max(0, (before + len(block) - 2 * margin) // hop))
    bridge = min(count, -(-before // hop))  # hops whose margin reaches back before the block
    spans = []
    if bridge:
        head = np.concatenate([state.left, block[: bridge * hop + 2 * margin]])
        spans.append((head, margin, slice(0, bridge)))
    if count > bridge:
        spans.append((block, margin + bridge * hop - before, slice(bridge, count)))
    rows, kept = [], state.kept
    counts, heights = state.counts, state.heights
    if state.worth[:count].any():
        counts, heights = counts.copy(), heights.copy()
    for samples, first, part in spans:
        worth = np.ascontiguousarray(state.worth[part])
        number = state.at + part.start
        if not worth.any():
            continue
        most = (len(worth) // SPAN + 2) * MOST_A_SPAN * worth.shape[1]
        room, done = np.empty((min(MOST_ROWS - kept, most), FIGURES)), np.zeros(1, np.int64)
        state.loops.flat_tops(
            samples, first, hop, number, state.unit, REACH * state.unit, worth, counts, heights, room, done
        )
        if done[0]:
            rows.append(room[: done[0]].copy())
            kept += int(done[0])
    used = count * hop
    left = block[used - before :] if used >= before else np.concatenate([state.left[used:], block])
    return replace(
        state,
        left=left.copy() if used >= before else left,
        worth=state.worth[count:],
        counts=counts,
        heights=heights,
        at=state.at + count,
        kept=kept,
        rows=(*state.rows, *rows),
    )


def _commonest(heights: np.ndarray) -> float:
    """The height with most others near it: the median of those."""
    heights = np.sort(heights)
    counts = np.searchsorted(heights, heights * (1 + 2 * SAME), "right") - np.arange(len(heights))
    first = int(np.argmax(counts))
    return float(np.median(heights[first : first + counts[first]]))


def _stretches(hops: np.ndarray, lengths: np.ndarray, level: float, gap: int) -> tuple[CutTops, ...]:
    """Tops nearer than ``gap`` hops are one stretch, over all channels."""
    order = np.argsort(hops, kind="stable")
    hops, lengths = hops[order].astype(int), lengths[order]
    parts = np.split(np.arange(len(hops)), np.flatnonzero(np.diff(hops) > gap) + 1)
    return tuple(
        CutTops(
            first=int(hops[part[0]]),
            end=int(hops[part[-1]]) + 1,
            samples=round(float(lengths[part].sum())),
            runs=len(part),
            level=level,
        )
        for part in parts
    )
