"""Print-through: an echo whose lag follows the law of a reel through the whole capture.

The map of :mod:`echo` is summed along every curve a reel can give (two figures: the period in the middle of the
capture, and how fast its square moves). Chance is judged by curves that no tape can give, steeper
than the thickest one's.
Sound that repeats by itself (a beat, an echo effect) keeps its lag: a lag's own mean over the capture is taken away.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from takeup.measure.sound.echo import FINER, EchoMap, plain
from takeup.measure.sound.reel import ReelLaw, slope_of

TAPES_UM = (7.5, 21.0)  # thickness: tapes of 9 to 18 um, and what speeds and makers differ by
STEEPER_UM = (25.0, 34.0)  # no tape: for the measure of chance
LEVEL_UM = 4.0  # thinner than any tape: a lag that hardly moves
MOST = 6.0  # times chance, of a row: one moment alone proves nothing
COARSE = 4  # bins of the map to one of the search: 5 ms
AROUND = 15  # coarse bins: a lag is held against its neighbours
ROWS = 400  # of the search
ROW_GROUPS = 20  # that are summed first
SQUARE_STEP = 0.015  # of the lag's square [s^2]: 7 ms at the hub, 2 ms at a full reel
NEIGHBOURS = 0.15  # of the lag's square: 40 ms at 2 s
LIGHTEST = 1e-3  # weight under which a cell is nothing but rounding
FEW = 10.0  # weight of a lag's mean over the capture: with less than this it is hardly taken away
INSIDE = 0.3  # share of all weight that a curve must meet
PARTS = 8  # stretches of the capture that are asked one by one
BESIDE = 4  # bins on each side that hold one echo
LOST_DB = 1.7  # the echo itself counts as noise of the quiet moment: found with echoes of known level in noise
AWAY = 40  # bins to the farthest ones it is held against


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintThrough:
    """The best curve. Scores are in standard deviations of what curves that no tape gives show."""

    law: ReelLaw
    from_s: float  # the moments that have a say
    to_s: float
    before_db: float | None  # level of the echo that comes before its sound; None where it cannot be told
    after_db: float | None
    score: float
    chance: float  # the best score that no tape gives
    level: float  # the best score among lags that hardly move
    rival: float  # the best score of a reel that is clearly another
    parts: tuple[float, ...]  # scores of stretches that hold equal shares of what can be told, in order


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The map by the square of the lag, made coarse. ``cells``: sums and weights, before and after; (rows, 4, n)."""

    cells: np.ndarray
    at_s: np.ndarray
    lowest: float  # square of the first cell's lag


@dataclass(frozen=True, slots=True)
class _Best:
    score: float = 0.0
    square: float = 0.0  # of the lag in the middle
    slope: float = 0.0
    sides: tuple[int, ...] = (0, 1)


def find_print_through(found: EchoMap) -> PrintThrough | None:
    """The best curve of a reel and how it stands against chance; None with nothing to go by."""
    used = np.flatnonzero(found.squares.sum(axis=(1, 2)) > 0)
    if len(used) < PARTS:
        return None
    means = _means(found, used)
    sheet = _sheet(found, used, means)
    middle_s = float(sheet.at_s.mean())
    step = 3 * SQUARE_STEP / max(float(np.ptp(sheet.at_s)), 1.0)
    steeper, even = _slopes(*STEEPER_UM, 2 * step), _slopes(0.0, LEVEL_UM, 2 * step)
    steep, spread = _best(sheet, _totals(sheet, middle_s, steeper), steeper, 1.0)
    level, _ = _best(sheet, _totals(sheet, middle_s, even), even, spread)
    tapes = _slopes(*TAPES_UM, step)
    totals = _totals(sheet, middle_s, tapes)
    best, _ = _best(sheet, totals, tapes, spread)
    if not spread or not best.score:
        return None
    half_s = float(np.ptp(sheet.at_s)) / 2
    rival, _ = _best(sheet, totals, tapes, spread, beside=(best, half_s))
    best = _refined(found, used, means, best, middle_s)
    law = ReelLaw(at_s=middle_s, period_s=float(np.sqrt(best.square)), slope_s=best.slope)
    curve = (best.square, best.slope, middle_s)
    sums, weights, at_s = _along(found, used, means, curve, best.sides)
    if not len(at_s):  # the refined curve leaves the lags that were kept
        return None
    return PrintThrough(
        law=law,
        from_s=float(at_s[0]),
        to_s=float(at_s[-1]),
        before_db=_level(found, used, curve, 0),
        after_db=_level(found, used, curve, 1),
        score=best.score,
        chance=steep.score / spread,
        level=level.score,
        rival=rival.score,
        parts=_parts(sums, weights, spread),
    )


def _slopes(thin_um: float, thick_um: float, step: float) -> np.ndarray:
    """Of both reels, evenly spaced."""
    one = np.arange(slope_of(thin_um), slope_of(thick_um) + step, step)
    return np.concatenate([-one[::-1], one])


def _means(found: EchoMap, used: np.ndarray) -> np.ndarray:
    """What each lag shows over the whole capture: what repeats by itself. Shape (2, bins)."""
    sums, weights = np.zeros(found.found.shape[1:]), np.zeros(found.found.shape[1:])
    for row in used:
        square = np.repeat(found.squares[row], found.per_block, axis=1)
        sums += square * np.minimum(plain(found.found[row]), MOST)
        weights += square
    return sums / (weights + FEW)


def _sheet(found: EchoMap, used: np.ndarray, means: np.ndarray) -> _Sheet:
    together = -(-len(found.found) // ROWS)
    lags = found.lowest_s + found.bin_s * (COARSE * np.arange(found.found.shape[2] // COARSE) + (COARSE - 1) / 2)
    squares = np.arange(lags[0] ** 2, lags[-1] ** 2, SQUARE_STEP)
    nearest = np.clip(np.round((np.sqrt(squares) - lags[0]) / (COARSE * found.bin_s)), 0, len(lags) - 1).astype(int)
    cells, times = [], []
    for group in np.split(used, np.flatnonzero(np.diff(used // together)) + 1):
        square = np.repeat(found.squares[group], found.per_block, axis=2)
        sums = np.sqrt(square) * (np.minimum(plain(found.found[group]), MOST) - means)
        sums, square = _coarse(sums.sum(axis=0)), _coarse(square.sum(axis=0))
        sums -= square * (_running(sums) / np.maximum(_running(square), LIGHTEST))
        cells.append(np.concatenate([sums, square])[:, nearest])
        times.append((group.mean() + 0.5) * found.row_s)
    return _Sheet(np.array(cells, np.float32), np.array(times), float(squares[0]))


def _coarse(values: np.ndarray) -> np.ndarray:
    count = values.shape[1] // COARSE
    return values[:, : count * COARSE].reshape(2, count, COARSE).sum(axis=2)


def _running(values: np.ndarray) -> np.ndarray:
    padded = np.pad(values, ((0, 0), (AROUND // 2 + 1, AROUND // 2)), mode="edge").cumsum(axis=1)
    return (padded[:, AROUND:] - padded[:, :-AROUND]) / AROUND


def _best(
    sheet: _Sheet, totals: np.ndarray, slopes: np.ndarray, spread: float, beside: tuple[_Best, float] | None = None
) -> tuple[_Best, float]:
    """The best of all curves with these slopes, in units of ``spread``; and the root mean square of them all.

    ``beside``: a curve, with half the length of the capture, that and whose neighbours are left out.
    """
    squares_of_lag = sheet.lowest + SQUARE_STEP * np.arange(totals.shape[2])
    best, squares, count = _Best(), 0.0, 0
    least = INSIDE * sheet.cells[:, 2:].sum(axis=0).max(axis=1)
    for slope, total in zip(slopes, totals):
        near = np.zeros(len(squares_of_lag), bool)
        if beside is not None and abs(slope - beside[0].slope) * beside[1] < NEIGHBOURS:
            near = np.abs(squares_of_lag - beside[0].square) < NEIGHBOURS
        for sides in ([0], [1], [0, 1]):
            weights = total[2:][sides].sum(axis=0)
            told = (weights > least[sides].sum()) & ~near
            scores = np.where(told, total[sides].sum(axis=0) / np.sqrt(np.maximum(weights, LIGHTEST)), 0.0) / spread
            squares, count = squares + float(scores @ scores), count + int(np.count_nonzero(told))
            at = int(scores.argmax())
            if scores[at] > best.score:
                best = _Best(float(scores[at]), float(squares_of_lag[at]), float(slope), tuple(sides))
    return best, float(np.sqrt(squares / max(count, 1)))


def _totals(sheet: _Sheet, middle_s: float, slopes: np.ndarray) -> np.ndarray:
    """Sums along all lines of the sheet. Shape (slopes, 4, cells).

    Rows that are near each other are summed first, for the few slopes that differ among them.
    """
    totals = np.zeros((len(slopes), *sheet.cells.shape[1:]), np.float32)
    for cells, at_s in zip(np.array_split(sheet.cells, ROW_GROUPS), np.array_split(sheet.at_s, ROW_GROUPS)):
        if not len(at_s):
            continue
        own_s = float(at_s.mean())
        unit = SQUARE_STEP / max(float(np.ptp(at_s)), 1.0)
        kinds = np.round(slopes / unit).astype(int)
        far = np.round(slopes * (own_s - middle_s) / SQUARE_STEP).astype(int)
        for kind in np.unique(kinds):
            near = np.zeros(sheet.cells.shape[1:], np.float32)
            for row, shift in zip(cells, np.round(kind * unit * (at_s - own_s) / SQUARE_STEP).astype(int)):
                _add_shifted(near, row, int(shift))
            for one in np.flatnonzero(kinds == kind):
                _add_shifted(totals[one], near, int(far[one]))
    return totals


def _add_shifted(total: np.ndarray, cells: np.ndarray, shift: int) -> None:
    """Add ``cells[..., k + shift]`` to ``total[..., k]``, where there is such a cell."""
    width = total.shape[1]
    if abs(shift) < width:
        total[:, max(0, -shift) : width - max(0, shift)] += cells[:, max(0, shift) : width + min(0, shift)]


def _refined(found: EchoMap, used: np.ndarray, means: np.ndarray, best: _Best, middle_s: float) -> _Best:
    """The same curve to a fraction of a millisecond, on the map itself."""
    half_s = max(float(np.ptp(used)) * found.row_s / 2, 1.0)
    square, slope, reach = best.square, best.slope, 2 * SQUARE_STEP
    for _ in range(3):
        grid = np.linspace(-reach, reach, 9)
        tried = [(square + up, slope + turned / half_s) for up in grid for turned in grid]
        scores = []
        for at, turn in tried:
            sums, weights, _ = _along(found, used, means, (at, turn, middle_s), best.sides)
            scores.append(sums.sum() / np.sqrt(max(weights.sum(), 1e-9)))
        square, slope = tried[int(np.argmax(scores))]
        reach /= 4
    return _Best(best.score, square, slope, best.sides)


def _bins(found: EchoMap, used: np.ndarray, curve: tuple[float, float, float]) -> tuple[np.ndarray, np.ndarray, Any]:
    """Bin of the lag in each row, where it lies inside the map; those rows; their middles [s]."""
    square, slope, middle_s = curve
    at_s = (used + 0.5) * found.row_s
    lags = np.sqrt(np.maximum(square + slope * (at_s - middle_s), 0.0))
    bins = np.round((lags - found.lowest_s) / found.bin_s).astype(int)
    inside = (bins >= AWAY) & (bins < found.found.shape[2] - AWAY)
    return bins[inside], used[inside], at_s[inside]


def _along(
    found: EchoMap, used: np.ndarray, means: np.ndarray, curve: tuple[float, float, float], sides: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sums and weights of each row on a curve (three bins together), and the rows' middles [s]."""
    bins, rows, at_s = _bins(found, used, curve)
    sums, weights = np.zeros(len(rows)), np.zeros(len(rows))
    for side in sides:
        square = found.squares[rows, side, bins // found.per_block]
        for beside in (-1, 0, 1):
            value = np.minimum(plain(found.found[rows, side, bins + beside]), MOST)
            sums += np.sqrt(square) * (value - means[side, bins + beside])
        weights += 3 * square
    return sums, weights, at_s


def _level(found: EchoMap, used: np.ndarray, curve: tuple[float, float, float], side: int) -> float | None:
    """Level of the echo against its sound [dB], from all that lies around the curve less what lies beside it."""
    bins, rows, _ = _bins(found, used, curve)
    block = bins // found.per_block
    near = np.arange(-BESIDE, BESIDE + 1)
    far = np.concatenate([np.arange(-AWAY, -AWAY // 2), np.arange(AWAY // 2 + 1, AWAY + 1)])
    values = plain(found.found[rows[:, None], side, bins[:, None] + near]).sum(axis=1)
    values -= plain(found.found[rows[:, None], side, bins[:, None] + far]).mean(axis=1) * len(near)
    weight = np.sqrt(found.squares[rows, side, block])
    gain, power = float(found.gains[rows, side, bins * FINER // found.per_block].sum()), float((values * weight).sum())
    return 10 * float(np.log10(power / gain)) + LOST_DB if gain > 0 and power > 0 else None


def _parts(sums: np.ndarray, weights: np.ndarray, spread: float) -> tuple[float, ...]:
    share = np.cumsum(weights) / max(float(weights.sum()), 1e-9)
    part = np.minimum((share * PARTS).astype(int), PARTS - 1)
    totals = [(sums[part == one].sum(), weights[part == one].sum()) for one in range(PARTS)]
    return tuple(float(total / np.sqrt(weight) / spread) for total, weight in totals if weight > 0)
