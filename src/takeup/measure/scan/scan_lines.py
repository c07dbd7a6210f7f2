"""Lines that the carriage repeats or loses, and bands that come again and again along its travel.

A row that is its neighbour once more, noise and all, was written twice: no scan gives the same noise again; so were
some rows that come again as a block. A row of one single code among rows of noise was never read. Bands are told on
the lid alone: a picture has rows of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.lid_only import LidOnly

SPARSE = 64  # columns that are compared first; only rows alike in all of them are compared in full
NOISY = 24  # of those in which a row must differ from the one above, so that its codes cannot come again by chance
BLOCK_ROWS = 512  # the farthest that a block of rows is repeated, and the longest
MOST_REPEATED = 0.05  # share of the rows: more is the picture's own making
LEAST_PERIOD_ROWS, MOST_PERIODS_SHARE = 2.5, 12  # shortest period; at least so many periods on the scan
BESIDE_BINS = 40  # of the spectrum, on both sides of a line in it, that say what is usual there
ENOUGH_PX = 1200  # of one stretch of lid tell a row's mean to a few hundredths of a code
SPAN_BLOCKS = 8  # narrower stretches of lid tell little


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanLines:
    """``repeated``, ``lost``: (first row, rows) [px] of rows that are copies of the row above them, or of as many rows
    not far above, and of rows of one code; ``ordinary``: share of rows that tell (noise lies on them). ``period_rows``,
    ``levels``: spacing and swing (from the middle to the peak, codes of 255) of bands across the scan, with ``clear``:
    how many times their line stands above the spectrum about it; None where no lid tells, 0 levels where there are
    none."""

    repeated: tuple[tuple[int, int], ...]
    lost: tuple[tuple[int, int], ...]
    ordinary: float
    period_rows: float | None = None
    levels: float | None = None
    clear: float = 0.0


@dataclass(frozen=True, slots=True)
class ScanLinesState:
    """What is known after some strips. ``last``: the row before the next; ``means``: per row, the lid's mean left and
    right of the scan's middle (NaN where there is none)."""

    lid: LidOnly | None
    full_scale: int
    row: int = 0
    last: np.ndarray | None = None
    repeated: tuple[int, ...] = ()
    lost: tuple[int, ...] = ()
    busy_rows: int = 0
    means: tuple[np.ndarray, ...] = ()
    marks: tuple[np.ndarray, ...] = ()  # one number for each row that its codes make; 0 where they are not its own


def begin(lid: LidOnly | None, full_scale: int) -> ScanLinesState:
    """Start; without lid only repeated and lost rows are told."""
    return ScanLinesState(lid, full_scale)


def step(state: ScanLinesState, strip: np.ndarray) -> ScanLinesState:
    """Take the next rows: shape (rows, width, channels), uint8 or uint16."""
    rows, width, channels = strip.shape
    flat = strip.reshape(rows, width * channels)
    above = flat[:1] if state.last is None else state.last[None]
    every = max(1, width // SPARSE)
    pick = np.ascontiguousarray(strip[:, every // 2 :: every, 0])
    before = np.concatenate([above.reshape(1, width, channels)[:, every // 2 :: every, 0], pick[:-1]])
    alike = (pick == before).all(axis=1)
    even = (pick == pick[:, :1]).all(axis=1)
    if state.last is None:
        alike[0] = False
    repeated, lost = list(state.repeated), list(state.lost)
    for row in np.flatnonzero(alike & ~even):
        one = above[0] if row == 0 else flat[row - 1]
        if np.array_equal(flat[row], one):
            repeated.append(state.row + int(row))
    for row in np.flatnonzero(even):
        if all((plane == plane[0]).all() for plane in strip[row].T):
            lost.append(state.row + int(row))
    return replace(
        state, row=state.row + rows, last=flat[-1].copy(), repeated=tuple(repeated), lost=tuple(lost),
        busy_rows=state.busy_rows + int((~alike & ~even).sum()),
        marks=(*state.marks, _marks(pick, (pick != before).sum(axis=1) >= min(NOISY, 0.75 * pick.shape[1]))),
        means=state.means if state.lid is None else (*state.means, _lid_means(state, strip)),
    )  # fmt: skip


def finish(state: ScanLinesState, *, most: int) -> ScanLines:
    """The lines.

    Parameters
    ----------
    most : int
        Stretches of repeated or lost rows up to which it is a fault of the machine; more are the picture's own making
        (a drawing, an enlarged file, a black frame), and none is told.
    """
    ordinary = state.busy_rows / max(state.row, 1)
    blocks = _blocks(np.concatenate(state.marks)) if state.marks else ()
    repeated = tuple(sorted({*_runs(state.repeated), *blocks}))
    lost = tuple(run for run in _runs(state.lost) if _inside(run, state))
    if ordinary < 0.98 or len(repeated) > most:
        repeated = ()
    if ordinary < 0.98 or len(lost) > most:
        lost = ()
    found = ScanLines(repeated=repeated, lost=lost, ordinary=ordinary)
    bands = _bands(np.concatenate(state.means)) if state.means else None
    if bands is None:
        return found
    return replace(found, period_rows=bands[0], levels=bands[1], clear=bands[2])


def _runs(rows: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    runs: list[tuple[int, int]] = []
    for row in rows:
        if runs and sum(runs[-1]) == row:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((row, 1))
    return tuple(runs)


def _marks(pick: np.ndarray, noisy: np.ndarray) -> np.ndarray:
    """One number for each row, the same for the same codes alone; 0 for rows with little noise of their own."""
    with np.errstate(over="ignore"):
        weights = np.cumprod(np.full(pick.shape[1], 6364136223846793005, np.uint64))  # Knuth's multiplier, its powers
        return np.where(noisy, pick.astype(np.uint64) @ weights | np.uint64(1), np.uint64(0))


def _blocks(marks: np.ndarray) -> tuple[tuple[int, int], ...]:
    """Blocks of rows that come again: first row and rows of each copy."""
    rows = np.flatnonzero(marks)
    order = rows[np.argsort(marks[rows], kind="stable")]
    again = (marks[order[1:]] == marks[order[:-1]]) & (np.diff(order) > 1) & (np.diff(order) <= BLOCK_ROWS)
    copies, apart = order[1:][again], np.diff(order)[again]
    inturn = np.argsort(copies)
    copies, apart = copies[inturn], apart[inturn]
    if copies.size > MOST_REPEATED * marks.size:
        return ()
    ends = np.flatnonzero((np.diff(copies) != 1) | (np.diff(apart) != 0)) + 1
    runs = np.split(copies, ends) if copies.size else []
    return tuple((int(run[0]), int(run.size)) for run in runs if 2 <= run.size <= BLOCK_ROWS)


def _inside(run: tuple[int, int], state: ScanLinesState) -> bool:
    """Whether a stretch of rows lies inside the scan; plain rows at its ends are a frame or padding."""
    return run[0] > 0 and sum(run) < state.row


def _lid_means(state: ScanLinesState, strip: np.ndarray) -> np.ndarray:
    """Mean over the lid's columns left and right of the middle, less the lid's own shading from left to right."""
    lid = state.lid
    assert lid is not None
    shade = lid.across
    rows = strip.shape[0]
    means = np.full((rows, 2), np.nan, np.float32)
    middle = lid.mask.shape[1] // 2
    flat = strip.reshape(rows, -1)
    each = lid.block * strip.shape[2]
    for row, top, bottom in lid.groups(state.row, rows):
        for side, (first, last) in enumerate(((0, middle), (middle, lid.mask.shape[1]))):
            spans = _spans(lid.mask[row, first:last])
            if not spans:
                continue
            total, count, level = np.zeros(bottom - top), 0, 0.0
            for left, right in spans:
                right = min(right, left + ENOUGH_PX // lid.block + 1)
                part = flat[top:bottom, (first + left) * each : (first + right) * each]
                total += _summed(part) / each
                level += float(shade[first + left : first + right].mean()) * (right - left)
                count += right - left
            means[top:bottom, side] = total / count * (255.0 / state.full_scale) - level / count
    return means


def _summed(lines: np.ndarray) -> np.ndarray:
    """The sum of each line, exactly."""
    if lines.dtype == np.uint8:
        return cv2.reduce(lines, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[:, 0]
    return lines.sum(axis=1, dtype=np.int64)


def _spans(mask: np.ndarray, most: int = 2) -> list[tuple[int, int]]:
    """The longest stretches of lid in a row of miniature pixels."""
    padded = np.zeros(mask.size + 2, bool)
    padded[1:-1] = mask
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    spans = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= SPAN_BLOCKS]
    return sorted(spans, key=lambda span: span[0] - span[1])[:most]


def _bands(means: np.ndarray) -> tuple[float, float, float] | None:
    """Period [rows], swing [codes] and clearness of the strongest line that both sides of the scan share in phase."""
    seen = np.isfinite(means).all(axis=1)
    if seen.sum() < max(300, 0.2 * seen.size):
        return None
    sides = []
    for side in range(2):
        codes = np.where(seen, means[:, side], 0.0)
        usual = np.median(np.abs(codes[seen])) * 1.4826
        codes = np.clip(codes, -8 * max(usual, 0.05), 8 * max(usual, 0.05)) * seen
        reach = max(51, seen.size // MOST_PERIODS_SHARE)
        count = cv2.blur(seen[:, None].astype(float), (1, reach))[:, 0]
        slow = cv2.blur(codes[:, None], (1, reach))[:, 0] / np.maximum(count, 1e-6)
        sides.append(np.fft.rfft((codes - slow) * seen * np.hanning(seen.size)))
    shared = (sides[0] * sides[1].conj()).real
    first, last = MOST_PERIODS_SHARE, int(seen.size / LEAST_PERIOD_ROWS)
    if last - first < 3 * BESIDE_BINS:
        return None
    power = np.maximum(shared, 0)
    mean = np.abs(sides[0]) * np.abs(sides[1])
    peak = first + int(np.argmax(power[first:last]))
    around = np.concatenate([mean[max(peak - BESIDE_BINS, 1) : peak - 3], mean[peak + 4 : peak + BESIDE_BINS]])
    clear = float(power[peak] / max(np.median(around), 1e-12))
    if shared[peak] <= 0 or shared[peak] < 0.7 * mean[peak]:
        return seen.size / peak, 0.0, 0.0
    line = power[peak - 1 : peak + 2]
    swing = float(
        2 * np.sqrt(line.sum() / 1.5) / (seen * np.hanning(seen.size)).sum()
    )  # 1.5: how wide a window's line is
    return seen.size / float((line * np.arange(peak - 1, peak + 2)).sum() / line.sum()), swing, clear
