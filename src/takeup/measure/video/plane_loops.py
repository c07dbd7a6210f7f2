"""The loops that touch every pixel of every picture: all that the measures add up, in one walk from line to line.

Each line is looked at while it lies in the processor's nearest store; only sums leave. The inner loops are written so
that they are compiled to whole vectors of bytes: one array written in each, differences that stop at 0.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled
from takeup.measure.video.loops import BANDS, BLOCK

MOST_LINES = 128  # of 255 that sums of two bytes hold


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


def add_up(
    part: np.ndarray, sums: np.ndarray, steps: np.ndarray, blocks: np.ndarray, columns: np.ndarray, lines: np.ndarray
) -> None:
    """Add up one picture.

    Parameters
    ----------
    part : ndarray of uint8, shape (rows, columns)
        inner luma
    sums : ndarray of uint16, shape (3, columns)
        room
    steps : ndarray of int32, shape (rows - 2,)
        out: sum of the distances of each line from the next of its field
    blocks : ndarray of uint8, shape (rows // 8, columns // 8)
        out: block means
    columns : ndarray of int32, shape (2, 4, columns)
        out: sums of each four bands of even and odd lines
    lines : ndarray of int32, shape (rows, 5)
        out: sum of every line in each of four bands of columns, and of all of it
    """
    rows, wide = part.shape
    quarter = wide // BANDS
    sums[:] = 0
    columns[:] = 0
    for y in range(rows):
        line, parity = part[y], y & 1
        if y >= 2:
            steps[y - 2] = _apart(line, part[y - 2])
        total = _add(line[BANDS * quarter :])
        for one in range(BANDS):
            lines[y, one] = _add(line[one * quarter : (one + 1) * quarter])
            total += lines[y, one]
        lines[y, BANDS] = total
        _gather(line, sums[2])
        if y % BLOCK == BLOCK - 1:
            _block_means(sums[2], blocks[y // BLOCK])
        here, size = y // 2, (rows + 1 - parity) // 2 // BANDS
        if here < BANDS * size:
            _gather(line, sums[parity])
            if here % size == size - 1 or here % MOST_LINES == MOST_LINES - 1:
                _move_over(sums[parity], columns[parity, here // size])


@numba.njit(nogil=True, error_model="numpy")
def _block_means(sums: np.ndarray, means: np.ndarray) -> None:
    """Means of a line of blocks, rounded; its sums begin at 0 again."""
    for at in range(len(means)):
        total = np.int32(BLOCK * BLOCK // 2)
        for x in range(at * BLOCK, at * BLOCK + BLOCK):
            total = np.int32(total + np.int32(sums[x]))
        means[at] = total >> 6  # of 64 pixels
    sums[:] = 0


@numba.njit(nogil=True, error_model="numpy")
def _move_over(sums: np.ndarray, into: np.ndarray) -> None:
    for x in range(len(into)):
        into[x] += sums[x]
    sums[:] = 0


def compare(
    part: np.ndarray, before: np.ndarray, wide: int, wide_before: int, room: np.ndarray, combs: np.ndarray
) -> None:
    """Add up what parts a picture from the one before, and its combs.

    Parameters
    ----------
    part, before : ndarray of uint8, shape (rows, columns)
        inner luma of this picture and of the one before
    wide, wide_before : int
        codes by which what lines span is wider, for noise: of this picture and of the one before
    room : ndarray of uint8, shape (columns,)
    combs : ndarray of int64, shape (7,)
        out: sum of the distances; combs, each of even and odd lines: of the picture before between lines of this, of
        this one between lines of the one before, of this one between its own
    """
    rows = len(part)
    combs[:] = 0
    for y in range(rows):
        line, old, parity = part[y], before[y], y & 1
        combs[0] += _apart(line, old)
        if 1 <= y < rows - 1:
            above, below = part[y - 1], part[y + 1]
            combs[1 + parity] += _outside(old, above, below, wide, room)
            combs[3 + parity] += _outside(line, before[y - 1], before[y + 1], wide_before, room)
            combs[5 + parity] += _outside(line, above, below, wide, room)


def lay_over(before: np.ndarray, now: np.ndarray, like: np.ndarray) -> None:
    """Products of two sets of bands, summed at every shift from ``-reach`` to ``reach``.

    Parameters
    ----------
    before : ndarray of float32, shape (bands, length)
    now : ndarray of float32, shape (bands, length + 2 reach + 3)
        ``reach`` zeros before it, and at least so many behind
    like : ndarray of float32, 2 reach + 1 or up to three more, a multiple of four
        out
    """
    length = before.shape[1]
    for shift in range(0, len(like), 4):
        like[shift : shift + 4] = 0
        for band in range(len(before)):
            first, second, third, fourth = _products(before[band], now[band, shift : shift + length + 3])
            like[shift] += first
            like[shift + 1] += second
            like[shift + 2] += third
            like[shift + 3] += fourth


@numba.njit(nogil=True, error_model="numpy", fastmath={"reassoc", "nsz", "contract"})
def _products(one: np.ndarray, other: np.ndarray) -> Any:
    """At four shifts at once: what is read is used four times."""
    first, second, third, fourth = np.float32(0), np.float32(0), np.float32(0), np.float32(0)
    at_1, at_2, at_3 = other[1:], other[2:], other[3:]
    for x in range(len(one)):
        here = one[x]
        first += here * other[x]
        second += here * at_1[x]
        third += here * at_2[x]
        fourth += here * at_3[x]
    return first, second, third, fourth


def stand_out(
    even: np.ndarray,
    odd: np.ndarray,
    contrast: int,
    least: float,
    room: np.ndarray,
    counts: np.ndarray,
    masks: np.ndarray,
) -> None:
    """Where a field's lines are lighter or darker than all the other field holds about them.

    Parameters
    ----------
    even, odd : ndarray of uint8, shape (lines, columns)
        the fields
    contrast : int
        codes by which it must be
    least : float
        pixels of a line without which it is left out
    room : ndarray of uint8, shape (5, columns + 8)
    counts : ndarray of int32, shape (2, 2, lines)
        out: such pixels of each line of the even and odd field: lighter ones, darker ones
    masks : ndarray of uint8, shape (2, 2, lines, columns)
        out: 1 at those pixels; only lines with enough of them are written
    """
    lines, wide = even.shape
    for parity in range(2):
        for y in range(lines):
            if parity == 0:
                line, one, two = even[y], odd[y], odd[max(0, y - 1)]
            else:
                line, one, two = odd[y], even[y], even[min(lines - 1, y + 1)]
            high, low, mask = room[3, :wide], room[4, :wide], room[0, :wide]
            _farthest(one, two, np.uint8(0), room, high)
            _farthest(one, two, np.uint8(255), room, low)
            for sign in range(2):
                if sign == 0:
                    _over(line, high, contrast, mask)
                else:
                    _over(low, line, contrast, mask)
                count = _add(mask)
                counts[parity, sign, y] = count
                if count >= least:
                    _copy(mask, masks[parity, sign, y])


@numba.njit(nogil=True, error_model="numpy")
def _copy(line: np.ndarray, into: np.ndarray) -> None:
    for x in range(len(into)):  # numba's own way of setting one array to another may ask for memory
        into[x] = line[x]


@numba.njit(nogil=True, error_model="numpy")
def _over(line: np.ndarray, other: np.ndarray, contrast: int, mask: np.ndarray) -> None:
    """1 where a line lies so far over another."""
    least = np.uint8(contrast)
    for x in range(len(mask)):
        here = line[x]
        mask[x] = np.uint8(here - min(here, other[x])) >= least


@numba.njit(nogil=True, error_model="numpy")
def _farthest(one: np.ndarray, two: np.ndarray, turn: Any, room: np.ndarray, far: np.ndarray) -> None:
    """The highest of two lines within four pixels of each place, by doubling; with ``turn`` 255 the lowest."""
    wide = len(far)
    both, pairs, fours = room[0], room[1], room[2]
    both[:4] = 0
    both[wide + 4 :] = 0
    inner = both[4 : wide + 4]
    for x in range(wide):
        inner[x] = max(np.uint8(one[x] ^ turn), np.uint8(two[x] ^ turn))
    for x in range(wide + 7):
        pairs[x] = max(both[x], both[x + 1])
    for x in range(wide + 5):
        fours[x] = max(pairs[x], pairs[x + 2])
    for x in range(wide):
        far[x] = np.uint8(max(max(fours[x], fours[x + 4]), both[x + 8]) ^ turn)


def count_codes(groups: np.ndarray, times: int, counts: np.ndarray) -> None:
    """How often each code comes in each row of ``groups`` (uint16), so many times added to ``counts`` (int32).

    Codes of more bits than the file says it has, as a damaged one may hold, are left out.
    """
    for row in range(len(groups)):
        line, into = groups[row], counts[row]
        for x in range(len(line)):
            if line[x] < len(into):
                into[line[x]] += times


add_up = compiled(add_up)
compare = compiled(compare)
lay_over = compiled(lay_over)
stand_out = compiled(stand_out)
count_codes = compiled(count_codes)
