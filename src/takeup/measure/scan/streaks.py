"""Streaks of a scanner's sensor: thin lines along the carriage's travel, told on the lid alone.

A dirty or dead sensor element changes its column by the same few codes in every row. A picture has columns of its own,
so only rows that show lid are added up; dirt, hairs and edges of prints are in a few rows and are outvoted.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.columns import SHARED_PX, SIGMA, covariance, running, standing_out, usual_size, widened
from takeup.measure.scan.lid_only import BANDS, LidOnly

THIN = 2000  # columns, evenly taken, that tell what is usual
WIDTHS = (1, 2, 4, 8)  # columns that are added up: a speck over the sensor is some elements wide
REACH_PX = 30  # columns on both sides that a column is compared with
LEAST_PART = 0.25  # of the lid's rows that a streak which begins half-way must fill
ECHO = 0.15  # of a streak's levels: what its neighbours show of it through that
MANY = (20, 0.01)  # streaks, and share of the columns: more are a woven lid, not a sensor
BESIDE_PX = (4, 14)  # what lies beside a streak: near, so that the shading of the lid is no step
EDGE_PX = 4  # the outermost columns lie on the frame of many scanners
FLOOR = 0.03  # spread of a column's mean that codes and their rounding leave, where the lid itself is quite even


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """One streak. ``x``, ``width``, ``y``, ``height`` [px]; ``levels``: how much brighter (positive) or darker it
    is, in codes of 255; ``certainty``: standard deviations; ``whole``: from the first row of lid to the last."""

    x: int
    width: int
    y: int
    height: int
    levels: float
    certainty: float
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Streaks:
    """All streaks of a scan. ``seen``: share of its columns of which the lid tells; ``least``: the weakest streak that
    would be told in most of them [codes of 255]."""

    found: tuple[Streak, ...]
    seen: float
    least: float


@dataclass(frozen=True, slots=True)
class StreaksState:
    """What is known after some strips: sums of every column's lid rows, one line for each stretch of rows."""

    lid: LidOnly
    full_scale: int
    row: int = 0
    channels: int = 1
    sums: np.ndarray | None = None


def begin(lid: LidOnly, full_scale: int) -> StreaksState:
    """Start with the places of the scan that show lid."""
    return StreaksState(lid, full_scale)


def step(state: StreaksState, strip: np.ndarray) -> StreaksState:
    """Take the next rows: shape (rows, width, channels), uint8 or uint16."""
    rows, width, channels = strip.shape
    lid = state.lid
    sums = np.zeros((BANDS, width * channels), np.float64) if state.sums is None else state.sums.copy()
    flat = strip.reshape(rows, width * channels)
    for row, top, bottom in lid.groups(state.row, rows):
        mask = lid.mask[row]
        if not mask.any():
            continue
        total = cv2.reduce(flat[top:bottom], 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[0]
        wide = np.repeat(mask, lid.block * channels)
        sums[int(lid.band[row])][: wide.size] += total[: wide.size] * wide
    return replace(state, row=state.row + rows, channels=channels, sums=sums)


def finish(state: StreaksState, *, certain: float, least_levels: float, least_seen: float) -> Streaks | None:
    """The streaks; None where the lid shows too little to tell.

    Parameters
    ----------
    certain : float
        Standard deviations from which a column is no chance.
    least_levels : float
        The weakest streak that is told [codes of 255].
    least_seen : float
        The share of columns in which enough lid must be seen.

    Notes
    -----
    Every column is compared with its neighbours in each of 16 stretches of rows (high-pass over 60 columns, in which
    what stands out has no weight), each channel for itself and all together; the spread is a median over columns, so
    that a lid's own weave raises it. Columns of a weave go together: how much, their covariance says, and its inverse
    makes of a streak's shape the filter in which it stands out most (a matched filter; a mean where nothing is woven).
    A streak stands over the whole lid, or from its first or to its last row; the lid is equally bright on both sides
    of it: a step is none. After the check values for scans, part 5 (streak lines).
    """
    if state.sums is None:
        return None
    columns = _columns(state)
    if columns is None:
        return None
    away, rows, plain = columns
    told = rows.sum(axis=0) > 0
    told[:EDGE_PX] = told[-EDGE_PX:] = False
    least = np.inf
    marks: list[Streak] = []
    behind = {width: widened(rows, width) for width in WIDTHS}
    parts = {width: np.maximum(widened((rows > 0).astype(np.float32), width) / width, 1 / width) for width in WIDTHS}
    for series in range(away.shape[0]):
        shared = covariance(away[series], rows, told)
        for width in WIDTHS:
            weight = behind[width]
            one = np.where(weight > 0, standing_out(away[series], shared, width) / parts[width], np.float32(0))
            spread = _spread(one, weight, told)
            total = weight.sum(axis=0)
            mean, sure = _together(one, weight, spread, told)
            if series == away.shape[0] - 1 and width == 1:
                error = np.where(told, np.median(spread) / np.sqrt(np.maximum(total, 1)), np.inf)
                least = float(np.median(error[told])) * certain if told.any() else np.inf
                seen = float((error * certain <= 1.0).mean())
            for mark in _marks(one, weight, spread, mean, sure, told, certain=certain, least=least_levels, width=width):
                marks.append(mark)
    if seen < least_seen or len(marks) > told.size:
        return None
    strongest = _strongest(marks)
    if len(strongest) > max(MANY[0], MANY[1] * told.size):
        return None
    lid = state.lid
    kept = tuple(_placed(mark, lid) for mark in strongest if _level_on_both_sides(plain, rows, mark))
    return Streaks(found=kept, seen=seen, least=max(least, least_levels))


def _columns(state: StreaksState) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """By stretch: each series' columns against their neighbours, the rows behind them, and their plain means."""
    lid, sums = state.lid, state.sums
    assert sums is not None
    block, width = lid.block, lid.mask.shape[1] * lid.block
    channels = state.channels
    if sums.shape[1] < width * channels:
        return None
    rows = np.zeros((BANDS, lid.mask.shape[1]), np.float32)
    level = np.zeros((BANDS, lid.mask.shape[1]), np.float32)
    for band in range(BANDS):
        part = lid.band == band
        rows[band] = lid.mask[part].sum(axis=0) * float(block)
        level[band] = (lid.mask[part] * lid.level[part]).sum(axis=0) * float(block)
    rows = np.repeat(rows, block, axis=1)
    if not (rows.sum(axis=0) > 0).any():
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        codes = sums[:, : width * channels].reshape(BANDS, width, channels) * (255.0 / state.full_scale)
        means = np.where(rows[..., None] > 0, codes / rows[..., None], 0.0)
        shade = np.repeat(level, block, axis=1) / rows
        over = np.where(rows[..., None] > 0, means - shade[..., None], 0.0).astype(np.float32)
    each = [np.ascontiguousarray(over[..., channel]) for channel in range(channels)]
    if channels > 1:
        each.append(over.mean(axis=2))
    return np.stack([_against_neighbours(one, rows) for one in each]), rows, means.mean(axis=2)


def _against_neighbours(over: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Each column less the mean of those about it, twice, the second time without what stood out the first time."""
    size = (2 * REACH_PX + 1, 1)
    weight = rows.copy()
    away = over
    for _ in range(3):
        base = cv2.blur(over * weight, size, borderType=cv2.BORDER_CONSTANT)
        away = np.where(
            rows > 0, over - base / np.maximum(cv2.blur(weight, size, borderType=cv2.BORDER_CONSTANT), 1e-9), 0
        )
        unit = np.abs(away) * np.sqrt(np.maximum(rows, 1))
        every = max(1, unit.shape[1] // THIN)
        usual = np.array([usual_size(u[::every], r[::every] > 0) for u, r in zip(unit, rows, strict=True)], np.float32)
        weight = rows * (unit <= 3.0 * np.maximum(usual, 1e-6)[:, None])
        together = np.abs((away * rows).sum(axis=0)) / np.sqrt(np.maximum(rows.sum(axis=0), 1))
        weight *= together <= max(3.0 * usual_size(together[::every], rows.sum(axis=0)[::every] > 0), 1e-6)
    return away


def _spread(away: np.ndarray, rows: np.ndarray, told: np.ndarray) -> np.ndarray:
    """The spread of one row's worth of lid in each stretch: what a column's mean times the root of its rows shows."""
    spread = np.full(BANDS, np.nan)
    every = max(1, told.size // THIN)
    away, rows, told = away[:, ::every], rows[:, ::every], told[::every]
    for band in range(BANDS):
        good = told & (rows[band] > 0)
        if good.sum() >= 50:
            unit = away[band, good] * np.sqrt(rows[band, good])
            spread[band] = max(SIGMA * float(np.median(np.abs(unit))), 2 * FLOOR)
    usual = np.nanmedian(spread) if np.isfinite(spread).any() else 1.0
    return np.where(np.isfinite(spread), spread, usual)


def _together(
    away: np.ndarray, rows: np.ndarray, spread: np.ndarray, told: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Each column's mean over all stretches without those that lie off, and how sure it is."""
    error = spread.astype(np.float32)[:, None] / np.sqrt(np.maximum(rows, 1))
    mean = (np.clip(away, -5 * error, 5 * error) * rows).sum(axis=0) / np.maximum(rows.sum(axis=0), 1)
    for x in np.flatnonzero(told & (np.abs(mean) * np.sqrt(rows.sum(axis=0)) > 3 * np.median(spread))):
        seen = rows[:, x] > 0  # the few that stand out: about the middle of their stretches, however strong
        mean[x] = np.median(away[seen, x])
    near = (np.abs(away - mean) <= np.maximum(4 * error, 0.25 * np.abs(mean))) * rows
    kept = near.sum(axis=0) >= 0.6 * rows.sum(axis=0)
    mean = np.where(kept, (away * near).sum(axis=0) / np.maximum(near.sum(axis=0), 1), mean)
    unit = mean * np.sqrt(rows.sum(axis=0))
    usual = SIGMA * float(np.median(np.abs(unit[told]))) if told.any() else 1.0
    usual = max(usual, FLOOR * float(np.sqrt(np.median(rows.sum(axis=0)[told]))) if told.any() else 1.0)
    return mean, unit / usual


def _marks(
    away: np.ndarray, rows: np.ndarray, spread: np.ndarray, mean: np.ndarray, sure: np.ndarray, told: np.ndarray,
    *, certain: float, least: float, width: int,
) -> Iterator[Streak]:  # fmt: skip
    """Columns that stand out over the whole lid, or over the lid before or after a row."""
    count = rows.sum(axis=0)
    agree = ((np.sign(away) == np.sign(mean)) * rows).sum(axis=0) / np.maximum(count, 1)
    whole = told & (np.abs(sure) >= certain) & (np.abs(mean) >= least) & (agree >= 0.7)
    parts: set[int] = set()
    error = np.maximum(spread, 1e-9).astype(np.float32)[:, None]
    most = 6 * error / np.sqrt(np.maximum(rows, 1))
    bounded = np.clip(away, -most, most)
    every = max(1, told.size // THIN)
    some = told[::every]
    for flip in (False, True):
        sums, counts = running(bounded * rows, flip), running(rows, flip)
        score = np.abs(sums) / np.maximum(np.sqrt(running(rows * error**2, flip)), 1e-9)
        if some.any():
            score /= np.maximum(SIGMA * np.median(score[:, ::every][:, some], axis=1), 1.0)[:, None]
        score[counts < LEAST_PART * count] = 0
        top = score.max(axis=0)
        for x in np.flatnonzero(told & (top >= certain + 1.0)):
            end = int(np.argmax(score[:, x] >= 0.9999 * top[x])) + 1  # no further than it is seen
            bands = slice(BANDS - end, BANDS) if flip else slice(0, end)
            other = slice(0, BANDS - end) if flip else slice(end, BANDS)
            part, rest = rows[bands, x], rows[other, x]
            if (part > 0).sum() < 4 or (whole[x] and rest.sum() < 0.12 * count[x]):
                continue
            height = float((away[bands, x] * part).sum() / part.sum())
            left = float((bounded[other, x] * rest).sum() / max(rest.sum(), 1))
            same = float(((np.sign(away[bands, x]) == np.sign(height)) * part).sum() / part.sum())
            typical = float(np.median(away[bands, x][part > 0]))
            if abs(height) < least or same < 0.75 or left / height > 0.4 or not 0.6 < typical / height < 1.6:
                continue
            parts.add(int(x))
            sure_of_it = abs(height) * float(np.sqrt(part.sum()) / np.median(error))
            yield Streak(
                x=int(x), width=width, y=bands.start, height=end, levels=height, certainty=sure_of_it, whole=False
            )
    for x in np.flatnonzero(whole):
        if int(x) not in parts:
            yield Streak(
                x=int(x),
                width=width,
                y=0,
                height=BANDS,
                levels=float(mean[x]),
                certainty=float(abs(sure[x])),
                whole=True,
            )


def _strongest(marks: list[Streak]) -> list[Streak]:
    """One streak for each place: the surest of the marks that lie on each other."""
    kept: list[Streak] = []
    for mark in sorted(marks, key=lambda one: -one.certainty):
        apart = [max(mark.x - one.x - one.width, one.x - mark.x - mark.width) for one in kept]
        echo = any(
            gap <= SHARED_PX and abs(mark.levels) < ECHO * abs(one.levels) for gap, one in zip(apart, kept, strict=True)
        )
        if not echo and all(gap > WIDTHS[-1] for gap in apart):
            kept.append(mark)
    return sorted(kept, key=lambda one: one.x)


def _level_on_both_sides(plain: np.ndarray, rows: np.ndarray, mark: Streak) -> bool:
    """Whether the lid is as bright left of a streak as right of it, each against the streak in the rows that both
    show; at an edge of a frame it is not."""
    inside = slice(mark.y, mark.y + mark.height)
    own, weight = plain[inside, mark.x][:, None], rows[inside, mark.x][:, None]

    def beside(first: int, last: int) -> float:
        part = slice(max(first, 0), max(last, 0))
        seen = np.minimum(rows[inside, part], weight)
        total = seen.sum(axis=0)
        above = ((plain[inside, part] - own) * seen).sum(axis=0) / np.maximum(total, 1)
        enough = total >= LEAST_PART * weight.sum()
        return float(np.median(above[enough])) if enough.any() else np.nan

    left = beside(mark.x - BESIDE_PX[1], mark.x - BESIDE_PX[0])
    right = beside(mark.x + mark.width + BESIDE_PX[0], mark.x + mark.width + BESIDE_PX[1])
    if np.isnan(left) or np.isnan(right):
        return abs(mark.levels) < 20
    return bool(abs(left - right) <= max(0.5 * abs(mark.levels), 0.25))


def _placed(mark: Streak, lid: LidOnly) -> Streak:
    """A streak whose rows are counted in scan pixels."""
    inside = np.flatnonzero((lid.band >= mark.y) & (lid.band < mark.y + mark.height))
    if mark.whole or not inside.size:
        return replace(mark, y=0, height=lid.height)
    top, bottom = int(inside[0]) * lid.block, int(inside[-1] + 1) * lid.block
    return replace(mark, y=0 if mark.y == 0 else top, height=lid.height - top if mark.y else bottom)
