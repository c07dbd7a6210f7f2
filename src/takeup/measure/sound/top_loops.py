"""The loop that looks at tops of the wave: flat ones are written down, others only counted by their height.

A line through the wave outside meets the height of the middle at a corner. Where a top was cut, all between the corners
lies at that height, and a sample and a half inside the corner it is there already, however steep the wave came in.
"""

from __future__ import annotations

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled
from takeup.measure.sound.tops_figures import (
    BINS,
    COLUMN,
    CORNER,
    EAR_IN,
    EAR_OUT,
    FALL,
    HEIGHT,
    HOP,
    LENGTH,
    MOST_A_SPAN,
    NOWHERE,
    RISE,
    SPAN,
)

BELOW = 0.97  # of the top: where the lines outside begin; a cut top's ripple stays above
OUTSIDE = 2.0  # units that they are long
SHORTEST = 6.0  # units from corner to corner: the ripple of each corner is over before the middle
ROUND = 2.0  # units: shorter tops are not counted, they may be cut or not
INSIDE, PLACES = 2.5, 9  # units from the corners: where the middle begins; places of it
EARS = 0.06  # of the wave's fall in a unit: what lies deeper or higher just inside its corner is no flat top
STEEP = 0.12  # of the height in a unit: steeper waves are soon at their other end


@numba.njit(nogil=True, error_model="numpy", inline="always")
def _at(block: np.ndarray, source: int, sign: float, here: int, place: float) -> float:
    """The wave between two samples. ``place`` counts from ``here``: no cutting into blocks changes its rounding."""
    whole = int(np.floor(place))
    share = place - whole
    return sign * (block[here + whole, source] * (1.0 - share) + block[here + whole + 1, source] * share)


def _flat_tops(
    block: np.ndarray,
    first: int,
    hop: int,
    number: int,
    unit: int,
    reach: int,
    worth: np.ndarray,
    counts: np.ndarray,
    heights: np.ndarray,
    rows: np.ndarray,
    done: np.ndarray,
) -> None:
    """Look at the tops of whole hops.

    Parameters
    ----------
    block : float32 array, shape (n, channels)
    first, hop, number : int
        Where in it the first hop begins; frames in a hop; how many hops came before it since the file began.
    unit : int
        Samples where there is one at 48 kHz.
    reach : int
        Samples a top may go on for on each side; so many and 8 units more lie before and behind the hops.
    worth : float64 array, shape (hops, 2 * channels)
        Height from which on tops are looked at; 0 where none is worth it. A channel's upper side, then its lower one.
    counts : int64 array, shape (2 * channels,), changed in place
        Rows written in this span of hops.
    heights : int32 array, shape (2 * channels, bins), changed in place
        Tops that are not flat, by height.
    rows : float64 array, shape (most, FIGURES), done : int64 array, shape (1,)
        Receive the flat ones, and how many they are.
    """
    for column in range(worth.shape[1]):
        source, sign = column // 2, 1.0 - 2.0 * (column % 2)
        for at in range(worth.shape[0]):
            if (number + at) % SPAN == 0:
                counts[column] = 0
            limit = worth[at, column]
            if limit <= 0.0:
                continue
            i = first + at * hop
            end = i + hop
            while i < end and counts[column] < MOST_A_SPAN and done[0] < rows.shape[0]:
                top = sign * block[i, source]
                if top < limit or top < sign * block[i - 1, source] or top <= sign * block[i + 1, source]:
                    i += 1
                    continue
                low = BELOW * top
                right, left = 1, 1
                while right < reach and sign * block[i + right, source] >= low:
                    right += 1
                while left < reach and sign * block[i - left, source] >= low:
                    left += 1
                here, i = i, i + right
                if right >= reach or left >= reach:
                    continue
                inner, outer = sign * block[here + right - 1, source], sign * block[here + right, source]
                out = right - 1 + (inner - low) / (inner - outer)
                inner, outer = sign * block[here - left + 1, source], sign * block[here - left, source]
                into = 1 - left - (inner - low) / (inner - outer)
                if out - into < SHORTEST * unit:
                    continue
                fall = (low - _at(block, source, sign, here, out + OUTSIDE * unit)) / OUTSIDE  # in a unit
                rise = (low - _at(block, source, sign, here, into - OUTSIDE * unit)) / OUTSIDE
                if fall <= 0.0 or rise <= 0.0:
                    continue
                end_at = out - (top - low) / fall * unit
                begin_at = into + (top - low) / rise * unit
                height, flat = top, False
                ear_in, ear_out = 0.0, 0.0
                if end_at - begin_at >= SHORTEST * unit:
                    height = 0.0
                    length = end_at - begin_at - 2 * INSIDE * unit
                    for k in range(PLACES):
                        height += _at(block, source, sign, here, begin_at + INSIDE * unit + length * k / (PLACES - 1))
                    height /= PLACES
                    end_at += (top - height) / fall * unit
                    begin_at -= (top - height) / rise * unit
                    for k in range(3):
                        deep = (0.8 + 0.4 * k) * unit
                        ear_in += (_at(block, source, sign, here, begin_at + deep) - height) / (3 * rise)
                        ear_out += (_at(block, source, sign, here, end_at - deep) - height) / (3 * fall)
                    flat = abs(ear_in) <= EARS and abs(ear_out) <= EARS
                elif end_at - begin_at < ROUND * unit:
                    continue
                if not flat:
                    if height > 0.0:
                        heights[column, min(int(height * BINS), heights.shape[1] - 1)] += 1
                    continue
                half = (end_at - begin_at) / (2 * unit)
                if max(rise, fall) <= STEEP * height:
                    a, b, c, d = 1.0, 2.0, 3.0, 4.0
                else:
                    a, b, c, d = 0.6, 1.2, 1.2, 1.8
                near = (
                    _at(block, source, sign, here, out + a * unit)
                    - _at(block, source, sign, here, out + b * unit)
                    + _at(block, source, sign, here, into - a * unit)
                    - _at(block, source, sign, here, into - b * unit)
                )
                far = (
                    _at(block, source, sign, here, out + c * unit)
                    - _at(block, source, sign, here, out + d * unit)
                    + _at(block, source, sign, here, into - c * unit)
                    - _at(block, source, sign, here, into - d * unit)
                )
                row = rows[done[0]]
                row[COLUMN], row[HOP], row[HEIGHT], row[LENGTH] = column, number + at, height, end_at - begin_at
                row[RISE], row[FALL], row[EAR_IN], row[EAR_OUT] = rise / height, fall / height, ear_in, ear_out
                # a round wave gets steeper as it leaves its top: that much is due to it
                due = (half + (a + b) / 2) / (half + (c + d) / 2)
                row[CORNER] = near / far / due if far > 0.0 else NOWHERE
                counts[column] += 1
                done[0] += 1


flat_tops = compiled(_flat_tops)
