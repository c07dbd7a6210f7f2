"""The loops that touch every pixel of every picture: all that the measures add up, in one walk from line to line.

Each line is looked at while it lies in the processor's nearest store; only sums leave. The inner loops are written so
that they are compiled to whole vectors of bytes: one array written in each, differences that stop at 0.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled

BLOCK = 8  # pixels and lines of a block mean
BANDS = 4  # of the outlines, see motion


@numba.njit(nogil=True, error_model="numpy")
def _add(line: np.ndarray) -> Any:
    """Sum of a line of bytes."""
    total = np.int32(0)
    for x in range(len(line)):
        total = np.int32(total + np.int32(line[x]))
    return total


@numba.njit(nogil=True, error_model="numpy")
def _apart(one: np.ndarray, other: np.ndarray) -> Any:
    """Sum of the distances of two lines of bytes."""
    total = np.int32(0)
    for x in range(len(one)):
        total = np.int32(total + abs(np.int32(one[x]) - np.int32(other[x])))
    return total


@numba.njit(nogil=True, error_model="numpy")
def _outside(line: np.ndarray, above: np.ndarray, below: np.ndarray, wide: int, room: np.ndarray) -> int:
    """How far a line lies outside what the lines above and below span, ``wide`` codes allowed for: the sum."""
    allowed = np.uint8(wide)
    for x in range(len(room)):
        here, one, other = line[x], above[x], below[x]
        high, low = max(one, other), min(one, other)
        out = np.uint8(np.uint8(here - min(here, high)) | np.uint8(low - min(low, here)))
        room[x] = out - min(out, allowed)
    return _add(room)


@numba.njit(nogil=True, error_model="numpy")
def _gather(line: np.ndarray, sums: np.ndarray) -> None:
    for x in range(len(sums)):
        sums[x] = sums[x] + line[x]


def look(
    part: np.ndarray,
    before: np.ndarray,
    own_wide: int,
    before_wide: int,
    room: np.ndarray,
    sums: np.ndarray,
    steps: np.ndarray,
    combs: np.ndarray,
    blocks: np.ndarray,
    columns: np.ndarray,
    lines: np.ndarray,
) -> None:
    """Add up one picture and what parts it from the one before.

    Parameters
    ----------
    part, before : ndarray of uint8, shape (rows, columns)
        inner luma of this picture and of the one before
    own_wide, before_wide : int
        codes by which what lines span is wider, for noise: of this picture and of the one before
    room, sums : ndarray of uint8, shape (columns,), and of uint16, shape (3, columns)
    steps : ndarray of int32, shape (rows - 2,)
        out: sum of the distances of each line from the next of its field
    combs : ndarray of int64, shape (6,)
        out: sum of the distances of the pictures; combs of lines of the one before (even, odd), of this one between the
        lines of the one before (even, odd), of this one
    blocks : ndarray of uint8, shape (rows // 8, columns // 8)
        out: block means
    columns : ndarray of int32, shape (2, 4, columns)
        out: sums of each four bands of even and odd lines
    lines : ndarray of int32, shape (5, rows)
        out: sum of every line in each of four bands of columns, and of all of it
    """
    rows, wide = part.shape
    group, band = sums[2], sums[:2]
    sums[:] = 0
    combs[:] = 0
    columns[:] = 0
    quarter = wide // BANDS
    sizes = ((rows + 1) // 2 // BANDS, rows // 2 // BANDS)
    for y in range(rows):
        line, old, parity = part[y], before[y], y & 1
        if y >= 2:
            steps[y - 2] = _apart(line, part[y - 2])
        combs[0] += _apart(line, old)
        if 1 <= y < rows - 1:
            above, below = part[y - 1], part[y + 1]
            combs[1 + parity] += _outside(old, above, below, own_wide, room)
            combs[5] += _outside(line, above, below, own_wide, room)
            combs[3 + parity] += _outside(line, before[y - 1], before[y + 1], before_wide, room)
        total = _add(line[BANDS * quarter :])
        for one in range(BANDS):
            lines[one, y] = _add(line[one * quarter : (one + 1) * quarter])
            total += lines[one, y]
        lines[BANDS, y] = total
        _gather(line, group)
        if y % BLOCK == BLOCK - 1:
            for at in range(wide // BLOCK):
                sum_ = np.int32(0)
                for x in range(at * BLOCK, at * BLOCK + BLOCK):
                    sum_ = np.int32(sum_ + np.int32(group[x]))
                blocks[y // BLOCK, at] = (sum_ + BLOCK * BLOCK // 2) // (BLOCK * BLOCK)
            group[:] = 0
        here, size = y // 2, sizes[parity]
        if here < BANDS * size:
            _gather(line, band[parity])
            if here % size == size - 1 or here % 128 == 127:  # 128 lines of 255 are all that the sums hold
                into = columns[parity, here // size]
                for x in range(wide):
                    into[x] += band[parity, x]
                band[parity] = 0


look = compiled(look)
