"""Black and white levels of the recorded picture: a count of codes, kept apart by edge column and edge line.

Side blanking and letterbox bars are known only at the end (a column is blanking when it never held picture), so codes
are counted separately for each edge column and pair of edge lines, and the blank ones are left out then.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.errors import UnusableSamples
from takeup.measure.video.glance import HEAD_SWITCH, TOP
from takeup.measure.video.loops import loops

EDGE = 32  # columns at either side that are counted one by one
BAR_SHARE = 0.24  # lines above and below that may be a bar, of the height: 2.35:1 in 4:3 leaves 0.22
EDGE_TURNS = 8  # edges are counted on one later picture in so many, that often
TURNS = 4  # the first pictures are counted whole, of later ones a quarter each in turn: as good over any longer time
SOFT = 4  # columns and lines beside a blank edge that are neither blank nor picture


@dataclass(frozen=True, slots=True)
class Counted:
    """State: how often each code came. ``middle`` (codes), ``sides`` (2 EDGE, 3, codes), ``bars`` (pairs, codes)."""

    rows: int
    columns: int
    bits: int
    middle: np.ndarray
    sides: np.ndarray
    bars: np.ndarray
    pictures: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Levels of the recorded picture in 8-bit codes; shares of its pixels. None and 0 where nothing was recorded."""

    black: float | None  # 0.5th percentile
    white: float | None  # 99.5th percentile
    floor: float | None  # 0.1st percentile
    dark: float | None  # 2nd percentile
    beyond_share: float  # luma under 5 or over 246
    low_share: float  # luma at or under the low rail
    high_share: float  # luma at or over the high rail
    low_steep: float  # so many times as common as the two codes just inside the rail
    high_steep: float
    area: tuple[int, int, int, int]  # x, y, width, height [px]
    codes: np.ndarray  # count of every code in the area
    method: str = "levels/1"


def begin(rows: int, columns: int, bits: int) -> Counted:
    """Nothing counted yet."""
    codes = 1 << bits
    pairs = 2 * _bar_pairs(rows)
    return Counted(
        rows,
        columns,
        bits,
        np.zeros(codes, np.int64),
        np.zeros((2 * EDGE, 3, codes), np.int32),
        np.zeros((pairs, codes), np.int32),
    )


def step(state: Counted, luma: np.ndarray) -> Counted:
    """Count one recorded picture's luma, shape (rows, columns), as it lies in the file."""
    if luma.shape != (state.rows, state.columns):
        raise UnusableSamples("samples.not-a-picture", shape=luma.shape)
    codes, pairs = 1 << state.bits, len(state.bars) // 2
    end = state.rows - HEAD_SWITCH
    first, last = TOP + 2 * pairs, end - 2 * pairs
    across = slice(EDGE, state.columns - EDGE)
    turn, times = (slice(None), 1) if state.pictures < TURNS else (slice(state.pictures % TURNS, None, TURNS), TURNS)
    middle = np.ascontiguousarray(_lines(luma[:, across], first, last, turn))
    counts = cv2.calcHist([middle.reshape(-1, middle.shape[2])], [0], None, [codes], [0, codes]).ravel()
    total = state.middle + times * counts.astype(np.int64)
    bars, sides = state.bars, state.sides
    times = 1 if state.pictures < TURNS else 0 if (state.pictures - TURNS) % EDGE_TURNS else EDGE_TURNS
    if times:  # large, and copied only when there is something to add
        bars, sides = bars.copy(), sides.copy()
        for at, start in ((0, TOP), (pairs, last)):
            rows = luma[start : start + 2 * pairs, across].reshape(pairs, -1)
            loops().count_codes(np.ascontiguousarray(rows, np.uint16), times, bars[at : at + pairs])
        edges = np.concatenate([luma[:, :EDGE], luma[:, state.columns - EDGE :]], axis=1).T
        for at, (a, b) in enumerate(((TOP, first), (first, last), (last, end))):
            counts = np.zeros((2 * EDGE, codes), np.int32)
            loops().count_codes(np.ascontiguousarray(edges[:, a:b], np.uint16), times, counts)
            sides[:, at] += counts
    return replace(state, middle=total, bars=bars, sides=sides, pictures=state.pictures + 1)


def _lines(luma: np.ndarray, first: int, end: int, turn: slice) -> np.ndarray:
    """Pairs of lines whose turn it is, shape (pairs, 2, columns)."""
    pairs = (end - first) // 2
    return luma[first : first + 2 * pairs].reshape(pairs, 2, -1)[turn]


def finish(
    state: Counted, *, noise: float, bar: float, rails: tuple[float, float], limits: tuple[float, float]
) -> Levels:
    """Levels of all that was counted.

    Parameters
    ----------
    noise : float
        RMS noise: an edge column or line that never rises further than noise does is empty [8-bit codes]
    bar : float
        Blanking and bars are no brighter than this [8-bit code].
    rails : (float, float)
        Codes at or beyond which a picture is stuck [8-bit code].
    limits : (float, float)
        Lowest and highest code within the limits [8-bit code].
    """
    unit = 2.0 ** (state.bits - 8)
    pairs = len(state.bars) // 2
    empty = _Empty(noise * unit, bar * unit, unit)
    top, bottom = _bars(state, empty)
    left = empty.columns(state.sides[:EDGE, 1])
    right = empty.columns(state.sides[EDGE:, 1][::-1])
    kept = state.sides[left : 2 * EDGE - right]
    total = (
        state.middle
        + state.bars[top : 2 * pairs - bottom].sum(axis=0, dtype=np.int64)
        + kept[:, 1].sum(axis=0, dtype=np.int64)
    )
    total = (
        total
        + (0 if top else kept[:, 0].sum(axis=0, dtype=np.int64))
        + (0 if bottom else kept[:, 2].sum(axis=0, dtype=np.int64))
    )
    y, end = TOP + 2 * top, state.rows - HEAD_SWITCH - 2 * bottom
    area = (left, y, state.columns - left - right, end - y)
    return _levels(total, unit, area, rails, limits)


def _levels(
    total: np.ndarray,
    unit: float,
    area: tuple[int, int, int, int],
    rails: tuple[float, float],
    limits: tuple[float, float],
) -> Levels:
    number = int(total.sum())
    code = np.arange(len(total)) / unit
    if not number:
        return Levels(
            black=None,
            white=None,
            floor=None,
            dark=None,
            beyond_share=0,
            low_share=0,
            high_share=0,
            low_steep=0,
            high_steep=0,
            area=area,
            codes=total,
        )
    low, high = total[code <= rails[0]].sum(), total[code >= rails[1]].sum()
    low_in = total[(code > rails[0]) & (code <= rails[0] + 2)].sum()
    high_in = total[(code < rails[1]) & (code >= rails[1] - 2)].sum()
    return Levels(
        black=percentile(total, 0.5) / unit,
        white=percentile(total, 99.5) / unit,
        floor=percentile(total, 0.1) / unit,
        dark=percentile(total, 2) / unit,
        beyond_share=float(total[(code < limits[0]) | (code > limits[1])].sum()) / number,
        low_share=float(low) / number,
        high_share=float(high) / number,
        low_steep=float(low) / max(1.0, float(low_in)),
        high_steep=float(high) / max(1.0, float(high_in)),
        area=area,
        codes=total,
    )


def percentile(counts: np.ndarray, per_cent: float) -> float:
    """The code under which so many per cent lie, each code spread evenly over half a code to either side."""
    wanted = counts.sum() * per_cent / 100
    upto = np.cumsum(counts)
    at = int(np.searchsorted(upto, wanted))
    before = upto[at - 1] if at else 0
    return at - 0.5 + float(wanted - before) / max(float(counts[at]), 1.0)


def _bar_pairs(rows: int) -> int:
    return max(0, int((rows - HEAD_SWITCH - TOP) * BAR_SHARE) // 2)


@dataclass(frozen=True, slots=True)
class _Empty:
    """What an empty edge column or line looks like: dark, and no wider than noise. All in the file's own codes."""

    noise: float
    brightest: float
    unit: float

    def holds(self, counts: np.ndarray) -> bool:
        if not counts.any():
            return False
        middle, high = percentile(counts, 50), percentile(counts, 99)
        return middle <= self.brightest and high <= middle + 3.3 * self.noise + 4 * self.unit

    def columns(self, counts: np.ndarray) -> int:
        """How many columns from the edge are empty, with the soft ones beside them."""
        number = 0
        while number < len(counts) and self.holds(counts[number]):
            number += 1
        return min(len(counts), number + SOFT) if number else 0


def _bars(state: Counted, empty: _Empty) -> tuple[int, int]:
    """Pairs of lines that are letterbox bars, above and below; none unless both are there, alike and alike high."""
    pairs = len(state.bars) // 2
    found, medians = [], []
    for counts in (state.bars[:pairs], state.bars[pairs:][::-1]):
        number = 0
        while number < pairs and empty.holds(counts[number]):
            number += 1
        found.append(number)
        medians.append(percentile(counts[:number].sum(axis=0, dtype=np.int64), 50) if number else 0.0)
    if not found[0] or not found[1]:
        return 0, 0
    high, low = found[0] + TOP // 2, found[1] + HEAD_SWITCH // 2  # with the lines that nobody counts
    if min(high, low) < 8 or abs(high - low) > 4 or abs(medians[0] - medians[1]) > 1.5 * empty.unit:
        return 0, 0
    soft = (SOFT + 1) // 2
    return min(pairs, found[0] + soft), min(pairs, found[1] + soft)
