"""The loops of the sampled measures: lines laid over each other, colour over luma, the power of noise in blocks."""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled

LOOSE = {"reassoc", "nsz", "contract", "arcp"}  # sums in any order: whole vectors at a time


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _move(line: np.ndarray, first: int, end: int, shift: float, moved: np.ndarray) -> None:
    """Fill ``moved`` from ``first`` to ``end`` with the line ``shift`` further on; its ends go on as they are."""
    wide = len(line)
    whole = int(np.floor(shift))
    part = np.float32(shift - whole)
    rest = np.float32(1) - part
    inner_first, inner_end = max(first, -whole), min(end, wide - 1 - whole)
    inner_end = max(inner_end, first)
    inner_first = min(inner_first, inner_end) if inner_first < end else end
    for x in range(first, min(inner_first, end)):
        moved[x] = line[min(max(x + whole, 0), wide - 1)] * rest + line[min(max(x + whole + 1, 0), wide - 1)] * part
    number = inner_end - inner_first
    if number > 0:
        here, after = line[inner_first + whole : inner_end + whole], line[inner_first + whole + 1 :]
        into = moved[inner_first:inner_end]
        for x in range(number):
            into[x] = here[x] * rest + after[x] * part
    for x in range(max(inner_end, inner_first), end):
        moved[x] = line[min(max(x + whole, 0), wide - 1)] * rest + line[min(max(x + whole + 1, 0), wide - 1)] * part


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _sizes(above: np.ndarray, moved: np.ndarray) -> Any:
    total = np.float32(0)
    for x in range(len(above)):
        total += abs(moved[x] - above[x])
    return total


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _slope_sums(above: np.ndarray, moved: np.ndarray, first: int, end: int, bound: float) -> Any:
    """Over a piece: power of the slope, pull of the distance, what is left of it."""
    power, pull, left = np.float32(0), np.float32(0), np.float32(0)
    held = np.float32(bound)
    here, now = above[first:end], moved[first:end]
    before, then = above[first - 1 :], moved[first - 1 :]
    after, next_ = above[first + 1 :], moved[first + 1 :]
    for x in range(end - first):
        slope = (after[x] + next_[x] - before[x] - then[x]) * np.float32(0.25)
        apart = now[x] - here[x]
        size = abs(apart)
        kept = min(size, held)
        weighted = slope * (kept / max(size, np.float32(1e-6)))
        power += weighted * slope
        pull += weighted * apart
        left += kept * kept
    return power, pull, left


def lay_lines(
    soft: np.ndarray,
    rounds: int,
    farthest_step: float,
    farthest: float,
    room: np.ndarray,
    ends: np.ndarray,
    shift: np.ndarray,
    spread: np.ndarray,
) -> None:
    """Lay each line over the one above it by iterated least squares, twice: by every second piece, by the others.

    Parameters
    ----------
    soft : ndarray of float32, shape (lines, columns)
        smoothed lines of a field
    farthest_step, farthest : float
        of one round, of all [px]
    room : ndarray of float32, shape (columns,)
    ends : ndarray of int64, shape (pieces + 1,)
        columns at which pieces begin and end
    shift, spread : ndarray of float32, shape (2, lines - 1)
        in and out: how far each line lies right of the one above; out: one standard deviation of it [px]
    """
    lines, wide = soft.shape
    pieces = len(ends) - 1
    for y in range(lines - 1):
        above, below = soft[y], soft[y + 1]
        for _ in range(rounds):
            for piece in range(pieces):
                _move(below, ends[piece], ends[piece + 1], shift[piece % 2, y], room)
            bound = 2.5 * _sizes(above, room) / wide + 0.5
            for half in range(2):
                power, pull, left, number = 1e-6, 0.0, 0.0, 0
                for piece in range(half, pieces, 2):
                    first, end = max(2, ends[piece]), min(wide - 2, ends[piece + 1])
                    sums = _slope_sums(above, room, first, end, bound)
                    power += sums[0]
                    pull += sums[1]
                    left += sums[2]
                    number += end - first
                left /= number
                upright = power - number * left * 0.15  # what noise alone gives of slope
                step = min(max(pull / power, -farthest_step), farthest_step)
                shift[half, y] = min(max(shift[half, y] - step, -farthest), farthest)
                spread[half, y] = np.sqrt(left * 4.2 / max(upright, 1e-3))


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _dot(one: np.ndarray, other: np.ndarray) -> Any:
    total = np.float32(0)
    for x in range(len(one)):
        total += one[x] * other[x]
    return total


def follow_lags(
    luma: np.ndarray,
    colour: np.ndarray,
    piece: int,
    reach: int,
    about: int,
    least: float,
    follows: float,
    like: np.ndarray,
    lags: np.ndarray,
) -> None:
    """The lag at which each piece of a line's luma slopes is followed closest by the colour's; not a number: at none.

    Parameters
    ----------
    luma, colour : ndarray of float32, shape (lines, columns)
        slopes
    piece, reach, about : int
        columns of a piece, lags tried to either side of ``about``
    least : float
        power of a piece that has slopes at all
    follows : float
        correlation from which a piece is taken
    like : ndarray of float64, shape (2 reach + 1,)
        room
    lags : ndarray of float32, shape (lines, pieces)
        out
    """
    lines, number = lags.shape
    start = reach + max(0, -about)
    for y in range(lines):
        for part in range(number):
            lags[y, part] = np.nan
            first = start + part * piece
            here = luma[y, first : first + piece]
            power = _dot(here, here)
            if power <= least:
                continue
            best = 0
            for at in range(2 * reach + 1):
                begin = first + about + at - reach
                there = colour[y, begin : begin + piece]
                own = _dot(there, there)
                like[at] = abs(_dot(here, there)) / np.sqrt(power * own + 1e-6) if own > least else 0.0
                if like[at] > like[best]:
                    best = at
            if like[best] < follows or best == 0 or best == 2 * reach:
                continue
            bend = min(like[best - 1] - 2 * like[best] + like[best + 1], -1e-6)
            lags[y, part] = best - reach + about + 0.5 * (like[best - 1] - like[best + 1]) / bend


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _add_line(line: np.ndarray, sums: np.ndarray) -> None:
    for x in range(len(sums)):
        sums[x] += np.float32(line[x])


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _add_apart(here: np.ndarray, there: np.ndarray, sums: np.ndarray, squares: np.ndarray) -> None:
    for x in range(len(sums)):
        sums[x] += np.float32(here[x]) - np.float32(there[x])
    for x in range(len(squares)):
        apart = np.float32(here[x]) - np.float32(there[x])
        squares[x] += apart * apart


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _add_bend(above: np.ndarray, here: np.ndarray, below: np.ndarray, squares: np.ndarray) -> None:
    for x in range(len(squares)):
        bend = np.float32(above[x]) - np.float32(2) * np.float32(here[x]) + np.float32(below[x])
        squares[x] += bend * bend


@numba.njit(nogil=True, error_model="numpy", fastmath=LOOSE)
def _take(columns: np.ndarray, size: int, into: np.ndarray) -> None:
    """Sums of so many columns each, which begin at 0 again."""
    for at in range(len(into)):
        total = np.float32(0)
        for x in range(at * size, at * size + size):
            total += columns[x]
        into[at] = total
    columns[:] = 0


@numba.njit(nogil=True, error_model="numpy")
def _add_blocks(
    field: np.ndarray,
    other: np.ndarray,
    apart: bool,
    lines: int,
    columns: int,
    room: np.ndarray,
    quarters: np.ndarray,
    power: np.ndarray,
) -> None:
    """Of a field alone, or of what it is ``apart`` from another."""
    down, across = power.shape
    sums, squares = room[0, : across * columns], room[1, : across * columns]
    for row in range(down):
        for half in range(2):
            first = row * lines + half * (lines // 2)
            for y in range(first, first + lines // 2):
                if apart:
                    _add_apart(field[y], other[y], sums, squares)
                    continue
                _add_line(field[y], sums)
                if y < (row + 1) * lines - 2:
                    _add_bend(field[y], field[y + 1], field[y + 2], squares)
            _take(sums, columns // 2, quarters[2 * row + half])
        _take(squares, columns, power[row])


def block_noise(
    field: np.ndarray, lines: int, columns: int, room: np.ndarray, quarters: np.ndarray, power: np.ndarray
) -> None:
    """Sums of the quarters of each block of a field, and of its squared second differences down the field.

    Parameters
    ----------
    field : ndarray of uint16, shape (lines of the field, columns)
    lines, columns : int
        of a block
    room : ndarray of float32, shape (2, columns)
        all 0, and left so
    quarters : ndarray of float32, shape (2 blocks down, 2 blocks across)
        out
    power : ndarray of float32, shape (blocks down, blocks across)
        out: over all lines of a block but its last two
    """
    _add_blocks(field, field, False, lines, columns, room, quarters, power)


def block_apart(
    field: np.ndarray,
    other: np.ndarray,
    lines: int,
    columns: int,
    room: np.ndarray,
    quarters: np.ndarray,
    power: np.ndarray,
) -> None:
    """The same of two fields' difference: sums of its quarters, and of its squares over all lines of a block."""
    _add_blocks(field, other, True, lines, columns, room, quarters, power)


lay_lines = compiled(lay_lines)
follow_lags = compiled(follow_lags)
block_noise = compiled(block_noise)
block_apart = compiled(block_apart)
