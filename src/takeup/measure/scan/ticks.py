"""Finds a ruler anywhere on the glass and reads its scale: tick centroids, least squares on their whole numbers.

A ruler is told by what no comb, fence or bar code has: every tenth tick (mm), twentieth (half mm), eighth or sixteenth
(inch) is longer than the others. Works on the miniature: the mean over whole blocks keeps centroids where they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

BAND, TILE = 6, 128  # rows and columns of a tile [miniature px]: shorter than a tick, a dozen ticks wide
SHORTEST, LONGEST = 2.6, 34.0  # periods looked for [miniature px]
UNITS_MM = {10: 1.0, 20: 0.5, 16: 25.4 / 16, 8: 25.4 / 8, 32: 25.4 / 32}  # long tick every so many -> one tick [mm]
LEAST_TICKS = 30
BESIDE, BESIDE_FINE = (14, 60), (22, 60)  # steps from the middle of the marks: past the longest tick, 10 to 12 mm
FINE = 8.0  # px: ticks that are nearer than this may be half millimetres
GOES_ON = 0.3  # of their strength
LONGEST_MM = 16.0  # of a tick; the longest of a ruler's are 10 to 12 mm, a page's lines of type longer


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruler:
    """One row of ticks. ``along``: "x" or "y"; ``pitch``: from tick to tick [px of the array]; ``tick_mm``: None where
    all ticks are alike, so that nothing says what they count; ``tilt``: clockwise as seen [degrees]; ``spread``: of one
    tick about the fit, ``error``: of the pitch [px]; ``box``: x, y, width, height of its ticks."""

    along: str
    pitch: float
    tick_mm: float | None
    ticks: int
    tilt: float
    spread: float
    error: float
    box: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class _Row:
    """A fit x = step * k + start + lean * y over ticks found in several bands."""

    step: float
    start: float
    lean: float
    x: np.ndarray
    y: np.ndarray
    k: np.ndarray
    spread: float


def rulers(grey: np.ndarray, most: int = 6) -> tuple[Ruler, ...]:
    """All rulers of a picture, the longest first.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns)
        Brightness in codes of 255, best at about 150 px an inch.
    most : int
        How many places of either direction are looked at closely.
    """
    grey = np.ascontiguousarray(grey, np.float32)
    found = [*_along(grey, "x", most), *_along(cv2.transpose(grey), "y", most)]
    return tuple(sorted(found, key=lambda one: -one.ticks * one.pitch))


def _along(grey: np.ndarray, axis: str, most: int) -> list[Ruler]:
    period, columns = _periods(grey)
    found: list[Ruler] = []
    for tiles in _runs(period)[:most]:
        row = _grown(grey, tiles, period, columns)
        if row is None:
            continue
        one = _told(grey, row, axis)
        if one is not None and not any(_same_place(one, other) for other in found):
            found.append(one)
    return found


def _periods(grey: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The period of each tile (0: none), shape (bands, tiles), and where tiles begin."""
    bands = grey.shape[0] // BAND
    if bands < 2 or grey.shape[1] < TILE:
        return np.zeros((0, 0), np.float32), np.zeros(0, int)
    rows = grey[: bands * BAND].reshape(bands, BAND, -1).mean(axis=1)
    rows = rows - cv2.blur(rows, (35, 1))
    starts = np.arange(0, grey.shape[1] - TILE + 1, TILE // 2)
    period = np.zeros((bands, starts.size), np.float32)
    for n, start in enumerate(starts):
        part = rows[:, start : start + TILE]
        spectrum = np.fft.rfft(part - part.mean(axis=1, keepdims=True), 2 * TILE, axis=1)
        echo = np.fft.irfft(np.abs(spectrum) ** 2, axis=1)[:, : int(LONGEST) + 3]
        power = echo[:, :1] / TILE
        echo = echo / np.maximum(echo[:, :1], 1e-6) * (TILE / (TILE - np.arange(echo.shape[1])))
        period[:, n] = np.where(power[:, 0] > 4.0, _first_peak(echo), 0)
    return period, starts


def _first_peak(echo: np.ndarray) -> np.ndarray:
    """The shortest lag at which a row repeats itself nearly as well as it ever does; 0 where it does not."""
    low = int(SHORTEST)
    inner = echo[:, low:-1]
    peak = (inner >= echo[:, low - 1 : -2]) & (inner > echo[:, low + 1 :]) & (inner > 0.35)
    best = np.where(peak, inner, 0).max(axis=1)
    good = peak & (inner >= 0.7 * best[:, None])
    lag = np.argmax(good, axis=1) + low
    rows = np.arange(len(echo))
    a, b, c = echo[rows, lag - 1], echo[rows, lag], echo[rows, lag + 1]
    bend = np.minimum(a - 2 * b + c, -1e-6)
    return np.where(good.any(axis=1), lag + np.clip(0.5 * (a - c) / bend, -0.5, 0.5), 0)


def _runs(period: np.ndarray) -> list[np.ndarray]:
    """Long rows of neighbouring tiles: their (band, tile) numbers, the widest first."""
    if not period.size:
        return []
    _, labels = cv2.connectedComponents((period > 0).astype(np.uint8), connectivity=8)
    runs = []
    for label in np.unique(labels[labels > 0]):
        tiles = np.argwhere(labels == label)
        if np.ptp(tiles[:, 1]) >= 1:
            runs.append(tiles)
    return sorted(runs, key=lambda tiles: -len(np.unique(tiles[:, 1])))


def _grown(grey: np.ndarray, tiles: np.ndarray, period: np.ndarray, starts: np.ndarray) -> _Row | None:
    """Fit the ticks of a run, from its most even tile outward, until no more of them lie where they should."""
    values = period[tiles[:, 0], tiles[:, 1]]
    typical = _commonest(values)
    tiles = tiles[np.abs(values / typical - 1) < 0.06]
    if len(np.unique(tiles[:, 1])) < 2:
        return None
    x, y = _ticks(grey, tiles, starts, typical)
    if x.size < LEAST_TICKS:
        return None
    middle = np.median(tiles[:, 1])
    seed = tiles[np.argmin(np.abs(tiles[:, 1] - middle))]
    reach = [starts[seed[1]], starts[seed[1]] + TILE]
    near = (x >= reach[0]) & (x < reach[1]) & (np.abs(y - (seed[0] + 0.5) * BAND) <= 2 * BAND)
    if near.sum() < 5:
        return None
    start = float(_phase(x[near], typical))
    fit = np.array([typical, start, 0.0])
    row: _Row | None = None
    for turn in range(40):
        k = np.rint((x - fit[2] * y - fit[1]) / fit[0])
        off = np.abs(x - fit[0] * k - fit[1] - fit[2] * y)
        use = near if turn == 0 else (x >= reach[0]) & (x < reach[1])
        use = use & (off < (0.25 if turn < 3 else 0.16) * fit[0])
        if use.sum() < 6:
            return None
        fit, spread = _least_squares(x[use], y[use], k[use], lean=np.ptp(y[use]) >= 2 * BAND)
        if fit[0] < 1.0:  # marks that all took one number
            return None
        row = _Row(fit[0], fit[1], fit[2], x[use], y[use], k[use], spread)
        if reach[0] <= x.min() and reach[1] > x.max() and turn > 4:
            break
        wide = max(TILE / 3, 0.3 * (reach[1] - reach[0]))
        reach = [reach[0] - wide, reach[1] + wide]
    return row


def _commonest(values: np.ndarray) -> float:
    """The period that most tiles agree on, the shorter one where a longer one is its multiple."""
    order = np.sort(values)
    counts = [np.sum(np.abs(order / value - 1) < 0.04) for value in order]
    return float(np.median(order[np.abs(order / order[int(np.argmax(counts))] - 1) < 0.04]))


def _phase(x: np.ndarray, step: float) -> float:
    turn = np.angle(np.exp(2j * np.pi * (x - x.mean()) / step).mean())
    return float(x.mean() + turn / (2 * np.pi) * step)


def _ticks(grey: np.ndarray, tiles: np.ndarray, starts: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Centroids of thin marks in the bands of some tiles: x and y [px], pixel edges at whole numbers."""
    xs, ys = [], []
    half = max(1, int(0.45 * step))
    for band in np.unique(tiles[:, 0]):
        line = grey[band * BAND : (band + 1) * BAND].mean(axis=0)
        line = line - cv2.blur(line[None], (2 * max(2, round(1.5 * step)) + 1, 1))[0]
        here: np.ndarray = np.zeros(line.size, bool)
        for start in starts[tiles[tiles[:, 0] == band, 1]]:
            here[start : start + TILE] = True
        part = line[here]
        if not part.size:
            continue
        line = line if abs(part.max()) >= abs(part.min()) else -line
        strong = 0.35 * np.percentile(line[here], 97)
        inner = line[1:-1]
        at = np.flatnonzero((inner >= line[:-2]) & (inner > line[2:]) & (inner > strong) & here[1:-1]) + 1
        at = at[(at >= half) & (at < line.size - half)]
        if not at.size:
            continue
        around = line[at[:, None] + np.arange(-half, half + 1)]
        mass = np.maximum(around - np.minimum(around[:, :1], around[:, -1:]), 0)
        whole = mass.sum(axis=1)
        at, mass, whole = at[whole > 0], mass[whole > 0], whole[whole > 0]
        xs.append(at + 0.5 + (mass * np.arange(-half, half + 1)).sum(axis=1) / whole)
        ys.append(np.full(at.size, (band + 0.5) * BAND))
    return (np.concatenate(xs), np.concatenate(ys)) if xs else (np.zeros(0), np.zeros(0))


def _least_squares(x: np.ndarray, y: np.ndarray, k: np.ndarray, *, lean: bool) -> tuple[np.ndarray, float]:
    """Step, start and lean of x = step * k + start + lean * y, ticks that lie off left out; and their spread."""
    parts = [k, np.ones_like(k), *([y] if lean else [])]
    matrix = np.stack(parts, axis=1)
    keep: np.ndarray = np.ones(x.size, bool)
    for _ in range(4):
        weights = np.linalg.lstsq(matrix[keep], x[keep], rcond=None)[0]
        off = x - matrix @ weights
        spread = max(1.4826 * float(np.median(np.abs(off[keep]))), 0.01)
        keep = np.abs(off) <= 3.5 * spread
    return np.append(weights, np.zeros(3 - weights.size)), float(np.std(off[keep]))


def _told(grey: np.ndarray, row: _Row, axis: str) -> Ruler | None:
    """A fitted row of ticks as a ruler; None where too few lie at equal distances."""
    numbers = np.unique(row.k)
    span = int(np.ptp(numbers)) + 1
    if numbers.size < LEAST_TICKS or numbers.size < 0.85 * span or row.spread > 0.1 * row.step:
        return None
    if _goes_on(grey, row):
        return None
    turn = np.arctan(row.lean)  # x = step * k + lean * y: a ruler turned clockwise has ticks that lean to the left
    pitch = row.step * float(np.cos(turn))
    tilt = -float(np.rad2deg(turn))
    error = row.spread / np.sqrt(row.x.size) * np.sqrt(12) / max(span, 2)
    low, high = row.y.min() - BAND, row.y.max() + BAND
    left, right = row.x.min(), row.x.max()
    box = (float(left), float(low), float(right - left), float(high - low))
    tick_mm = _counted(grey, row)
    long = float(np.ptp(np.percentile(row.y - np.polyval(np.polyfit(row.k, row.y, 1), row.k), (5, 95))))
    if tick_mm is not None and long * tick_mm > LONGEST_MM * pitch:
        return None
    one = Ruler(
        along=axis, pitch=pitch, tick_mm=tick_mm, ticks=numbers.size,
        tilt=tilt if axis == "x" else -tilt, spread=row.spread, error=float(error), box=box,
    )  # fmt: skip
    return one if axis == "x" else replace(one, box=(box[1], box[0], box[3], box[2]))


def _goes_on(grey: np.ndarray, row: _Row) -> bool:
    """Whether the same beat goes on far beside the marks, as lines of text and rows of pictures do and ticks never."""
    numbers = np.unique(row.k)
    along = np.polyfit(row.k, row.y, 1)
    beside = np.arange(*(BESIDE if row.step > FINE else BESIDE_FINE)) * row.step
    offsets = np.concatenate([-beside[::-1], np.linspace(-2, 2, 5) * row.step, beside])
    y = np.polyval(along, numbers)[:, None] + offsets
    x = row.step * numbers[:, None] + row.start + row.lean * y
    inside = ((y >= 0) & (y < grey.shape[0]) & (x >= 0) & (x < grey.shape[1])).mean(axis=0) > 0.8
    quarters = [_along_ticks(grey, row, numbers[:, None] + shift, y).mean(axis=0) for shift in (0.0, 0.25, 0.5, 0.75)]
    beat = np.hypot(quarters[0] - quarters[2], quarters[1] - quarters[3])
    far: np.ndarray = np.ones(offsets.size, bool)
    far[beside.size : -beside.size] = False
    told = beat[far & inside]
    return told.size > 0 and float(np.mean(told > GOES_ON * np.median(beat[~far]))) > 0.4


def _counted(grey: np.ndarray, row: _Row) -> float | None:
    """What one tick is [mm], by which of them are longer; None where they are all alike."""
    numbers = np.arange(row.k.min(), row.k.max() + 1)
    middles = np.array([np.median(row.y[row.k == k]) if (row.k == k).any() else np.nan for k in numbers])
    known = np.isfinite(middles)
    line = np.polyfit(numbers[known], middles[known], 1)
    reach = int(12 * row.step)
    down = np.arange(-reach, reach + 1)
    y = np.polyval(line, numbers)[:, None] + down
    ink, paper = (_along_ticks(grey, row, numbers[:, None] + shift, y) for shift in (0.0, 0.5))
    contrast = ink - paper
    size = float(np.median(contrast[:, reach - 1 : reach + 2]))
    inked = contrast * np.sign(size) > 0.45 * abs(size)
    up, under = inked[:, reach::-1], inked[:, reach:]
    joined = [np.logical_and.accumulate(part, axis=1).astype(float) for part in (up, under)]
    return _cycle(numbers.astype(int), np.concatenate([joined[0][:, ::-1], joined[1][:, 1:]], axis=1))


def _along_ticks(grey: np.ndarray, row: _Row, k: np.ndarray, y: np.ndarray) -> np.ndarray:
    x = row.step * k + row.start + row.lean * y
    across, down = (x - 0.5).astype(np.float32), (y - 0.5).astype(np.float32)
    return cv2.remap(grey, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _cycle(numbers: np.ndarray, there: np.ndarray) -> float | None:
    """Which cycle of longer ticks a row has.

    For every distance from the row's middle: whether the ticks that reach there without a gap are one in ten, one in
    sixteen and so on.
    """
    best: tuple[float, int] | None = None
    share = there.mean(axis=0)
    for cycle in UNITS_MM:
        if numbers.size < 2 * cycle:
            continue
        rest = numbers % cycle
        table = np.stack([there[rest == n].mean(axis=0) for n in range(cycle)])
        first = np.argmax(table, axis=0)
        top = table.max(axis=0)
        others = (table.sum(axis=0) - top) / (cycle - 1)
        clear = np.where((share > 0.6 / cycle) & (share < 1.7 / cycle), top - others, 0)
        at = np.bincount(first, weights=clear * (clear > 0.6), minlength=cycle)
        rows = int(((clear > 0.6) & (first == np.argmax(at))).sum())
        if rows >= 3 and (best is None or rows > best[0]):
            best = (rows, cycle)
    return UNITS_MM[best[1]] if best else None


def _same_place(one: Ruler, other: Ruler) -> bool:
    if one.along != other.along:
        return False
    (x, y, w, h), (a, b, c, d) = one.box, other.box
    return min(x + w, a + c) - max(x, a) > 0.5 * min(w, c) and min(y + h, b + d) - max(y, b) > 0
