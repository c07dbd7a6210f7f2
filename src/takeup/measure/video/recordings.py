"""Where one recording ends and another begins on the same tape, and from where to where anything is recorded.

Another recording was made by another machine, at another speed, or at least after the tape had stopped. What tells it
apart from a mere cut is not the picture but what lies around it: the blanking at either side was written by the
recorder, and its edge, its level and its noise stay the same as long as the recording does. So do they when a line
corrector makes the blanking anew: then only a gap (no signal, long black) tells, and no more is claimed.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, TOP

EDGE_PX = 48  # the picture begins and ends within so much of the sides
BLANK_PX = 4  # columns that are blanking in any capture that has some
FLAT_PX = 6  # how far behind its edge a line is looked at for its height
LEAST_RISE = 30.0  # a line must rise so far over its blanking to have an edge [8-bit codes]
LEAST_LINES = 24
BRIGHTEST = 48.0  # blanking is darker than this, setup included [8-bit codes]
SIGNS = 4  # left edge, right edge, level and noise of the blanking
NOT_SEEN = (np.nan, np.nan, np.nan, np.nan)

Why = Literal["first", "gap", "signature"]


@dataclass(slots=True)
class Sides:
    """State: times and signatures of the looked-at pictures; it grows by five numbers at each."""

    at_s: array[float] = field(default_factory=lambda: array("d"))
    signs: array[float] = field(default_factory=lambda: array("f"))

    def add(self, luma: np.ndarray, bits: int, at_s: float) -> None:
        """Look at the sides of one recorded picture: luma of shape (rows, columns), as it lies in the file."""
        self.at_s.append(at_s)
        self.signs.extend(signature(luma, bits))


@dataclass(frozen=True, slots=True, kw_only=True)
class Recordings:
    """``begins``: when each recording begins and what told it. ``programme``: first and last moment with anything."""

    begins: tuple[tuple[float, Why], ...]
    programme: tuple[float, float] | None  # [s]
    method: str = "recordings/1"


def signature(luma: np.ndarray, bits: int) -> tuple[float, float, float, float]:
    """Left edge, right edge [px from either side], level and RMS noise of the blanking [8-bit codes]; NaN: not seen."""
    unit = 2.0 ** (bits - 8)
    lines = luma[TOP : luma.shape[0] - HEAD_SWITCH : 2]
    if min(lines.shape) < 4 * EDGE_PX:
        return NOT_SEEN
    left = lines[:, :EDGE_PX].astype(np.float32) / unit
    right = lines[:, : -EDGE_PX - 1 : -1].astype(np.float32) / unit
    blank = left[:, :BLANK_PX]
    level = float(np.median(blank))
    spread = float(1.4826 * np.median(np.abs(blank - level)))
    if level > BRIGHTEST or spread > 6:  # no blanking here: the picture fills the line
        return NOT_SEEN
    # the median of squares is steadier than an RMS against single bent lines, and finer than steps of whole codes
    noise = float(np.sqrt(np.mean(np.sort(np.square(blank - level), axis=None)[: int(0.95 * blank.size)])))
    return _edge(left, level), _edge(right, level), float(blank.mean()), noise


def _edge(lines: np.ndarray, level: float) -> float:
    """Where the picture stands halfway over its blanking: the middle one of all lines that rise clearly [px]."""
    over = lines - level
    rises = over > LEAST_RISE / 2
    first = np.where(rises.any(axis=1), rises.argmax(axis=1), 0)
    usable = (first > 0) & (first < EDGE_PX - FLAT_PX - 1)
    if usable.sum() < LEAST_LINES:
        return np.nan
    over, first = over[usable], first[usable]
    row = np.arange(len(over))
    height = over[row[:, None], first[:, None] + np.arange(2, FLAT_PX)].mean(axis=1)
    steep = height > LEAST_RISE
    if steep.sum() < LEAST_LINES:
        return np.nan
    over, half = over[steep], height[steep, None] / 2
    above = over >= half
    at = above.argmax(axis=1)
    at = np.clip(at, 1, EDGE_PX - 1)
    row = np.arange(len(over))
    low, high = over[row, at - 1], over[row, at]
    crossing = at - 1 + np.clip((half[:, 0] - low) / np.maximum(high - low, 1e-3), 0, 1)
    return float(np.median(crossing))


def finish(
    state: Sides,
    at_s: Sequence[float] | np.ndarray,
    kinds: Sequence[str],
    difference: Sequence[float] | np.ndarray,
    picture_s: float,
    limits: Mapping[str, Any],
) -> Recordings:
    """Recordings of a whole capture.

    Parameters
    ----------
    at_s, kinds, difference : sequence
        of every picture: time stamp [s], kind, mean difference to the one before [8-bit codes]
    limits : mapping
        rows of ``video.recordings``
    """
    times = np.asarray(at_s, float)
    shown = np.array([kind == "picture" for kind in kinds], bool)
    if not shown.any():
        return Recordings(begins=(), programme=None)
    first, last = np.flatnonzero(shown)[[0, -1]]
    found: list[tuple[float, Why]] = [(float(times[first]), "first")]
    found += [(at, "gap") for at in _after_gaps(times, kinds, picture_s, limits)]
    for at in _changes(state, limits):
        found.append((_cut_near(at, times, np.asarray(difference, float), limits), "signature"))
    programme = float(times[first]), float(times[last]) + picture_s
    return Recordings(begins=_apart(sorted(found), limits["apart_s"]), programme=programme)


def _after_gaps(times: np.ndarray, kinds: Sequence[str], picture_s: float, limits: Mapping[str, Any]) -> list[float]:
    """Where something is recorded again after so long without."""
    found = []
    nothing_s = black_s = 0.0
    seen = False
    for at, kind in zip(times.tolist(), kinds):
        if kind == "picture":
            if seen and (nothing_s >= limits["no_signal_s"] or nothing_s + black_s >= limits["black_s"]):
                found.append(at)
            seen, nothing_s, black_s = True, 0.0, 0.0
        elif kind in ("flat", "snow"):
            nothing_s += picture_s
        else:
            black_s += picture_s
    return found


def _changes(state: Sides, limits: Mapping[str, Any]) -> list[float]:
    """Times at which the sides change for good."""
    times = np.array(state.at_s)
    reach = int(limits["reach"])
    if len(times) < 2 * reach:
        return []
    signs = np.array(state.signs, float).reshape(-1, SIGNS).T
    signs[3] = np.log(np.maximum(signs[3], limits["least_noise"]))
    least = (limits["edge_px"], limits["edge_px"], limits["level_codes"], limits["noise_log"])
    score = np.zeros(len(times))
    for sign, floor in zip(signs, least):
        score = np.maximum(score, _jumps(sign, reach, floor))
    found: list[float] = []
    while score.max() >= 1:
        at = int(score.argmax())
        found.append(float((times[at - 1] + times[at]) / 2))
        score[max(0, at - reach) : at + reach] = 0
    return sorted(found)


def _jumps(sign: np.ndarray, reach: int, floor: float) -> np.ndarray:
    """How far the median moves at each place, in times what is needed; 0 where too little is known.

    What is needed is the floor, and six times what the sign scatters on either side: a sign that wanders tells nothing.
    """
    score = np.zeros(len(sign))
    known = np.isfinite(sign)
    if known.sum() < 2 * reach:
        return score
    filled = sign[np.maximum.accumulate(np.where(known, np.arange(len(sign)), known.argmax()))]
    seen = np.lib.stride_tricks.sliding_window_view(known, reach).mean(axis=1) >= 0.6
    windows = np.lib.stride_tricks.sliding_window_view(filled, reach)
    middle = np.median(windows, axis=1)
    scatter = 1.4826 * np.median(np.abs(windows - middle[:, None]), axis=1)
    moved, spread = np.abs(middle[reach:] - middle[:-reach]), np.maximum(scatter[reach:], scatter[:-reach])
    times = moved / np.maximum(floor, 6 * spread) * (seen[reach:] & seen[:-reach])
    # nearer to the step both halves are purer, and the score is to be highest there
    score[reach : len(sign) - reach + 1] = np.where(times >= 1, times * (1 + 1 / (1 + spread / floor)), times)
    return score


def _cut_near(at: float, times: np.ndarray, difference: np.ndarray, limits: Mapping[str, Any]) -> float:
    """The picture nearby that differs most from the one before it."""
    near = np.flatnonzero(np.abs(times - at) <= limits["cut_within_s"])
    finite = near[np.isfinite(difference[near])] if len(near) else near
    return float(times[finite[np.argmax(difference[finite])]]) if len(finite) else at


def _apart(found: list[tuple[float, Why]], apart_s: float) -> tuple[tuple[float, Why], ...]:
    """What lies nearer together than this is one beginning; a gap's own time is surer than a change of signs."""
    kept: list[tuple[float, Why]] = []
    for at, why in found:
        if kept and at - kept[-1][0] < apart_s:
            if kept[-1][1] == "signature" and why == "gap":
                kept[-1] = at, why
            continue
        kept.append((at, why))
    return tuple(kept)
