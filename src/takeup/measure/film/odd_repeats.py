"""Odd repeats: single frames that show the picture before them again, where the file follows no pattern."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import percentile_filter

from takeup.measure.film.cadence import log_steps
from takeup.measure.film.stretches import Stretches, stretches

LIVELY = 0.7  # a frame this little below its surroundings moves as they do [natural log]
UNEASY = 1.2  # where a tenth of the surroundings lies further down than this, a coder skips pictures of its own accord
LONGEST = 4  # more frames in a row without a difference are rather a still scene
SAME = 0.02  # two decoded frames that differ by less are the same to the eye of any decoder [code]


@dataclass(frozen=True, slots=True, kw_only=True)
class OddRepeats:
    """``new`` True where a frame is to be kept; ``undetermined`` frames that lie between the two kinds; ``many``
    whether the repeats are a group of their own and not single ones."""

    new: np.ndarray
    undetermined: Stretches
    count: int
    many: bool


def odd_repeats(difference: np.ndarray, *, window: int, least_level: float, least_dip: float) -> OddRepeats:
    """Find repeats that follow no pattern.

    A frame is a repeat where its difference falls out of its moving surroundings into a group of its own: between the
    group and all other frames lies a valley that no running-out of natural differences leaves. Too few for a group,
    they must be the same picture to within ``SAME``.

    Parameters
    ----------
    difference : ndarray, shape (n_frames,), float
        Mean absolute difference of luma from the frame before; entry 0 is ignored. [code of 255]
    window : int
        Frames that make a frame's surroundings.
    least_level : float
        Surroundings that differ by less are too still to tell. [code]
    least_dip : float
        A repeat lies at least so far below its surroundings. [natural log]
    """
    logs = log_steps(difference)
    around = percentile_filter(logs, 60, size=min(window, len(logs)), mode="nearest")
    moving = around >= np.log(least_level)
    dip = np.where(moving, around - logs, 0.0)
    valley = _valley(dip[1:], least_dip)
    if valley is None:
        steady = percentile_filter(dip, 90, size=min(window, len(logs)), mode="nearest") < UNEASY
        low, lively = moving & steady & (difference < SAME) & (dip >= least_dip), dip < LIVELY
    else:
        low, lively = dip >= valley + 0.5, dip < valley - 0.5
    low[0] = False
    same = _between_lively(low, lively)
    between = np.zeros(len(logs), dtype=bool) if valley is None else (dip > valley - 0.5) & ~same
    between[0] = False
    count = int(same.sum())
    return OddRepeats(new=~same, undetermined=stretches(between), count=count, many=valley is not None)


def _between_lively(low: np.ndarray, lively: np.ndarray) -> np.ndarray:
    """Of runs of low frames those that are short and stand between frames that move: no moment of rest in a scene."""
    taken = np.zeros(len(low), dtype=bool)
    for first, last in stretches(low):
        inside = first > 0 and last < len(low) - 1 and last - first < LONGEST
        if inside and lively[first - 1] and lively[last + 1]:
            taken[first : last + 1] = True
    return taken


def _valley(dip: np.ndarray, least_dip: float) -> float | None:
    """Where the two groups part: few in it, and more beyond it than any tail leaves."""
    best, found = 2.5, None
    for at in np.arange(least_dip - 0.5, 4.6, 0.125):
        inside = int(((dip > at - 0.5) & (dip < at + 0.5)).sum())
        beyond = int((dip >= at + 0.5).sum())
        if beyond >= 8 and beyond / (inside + 1) > best:
            best, found = beyond / (inside + 1), float(at)
    return found
