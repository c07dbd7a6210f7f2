"""What changes from one picture to the next: how much, and in which order its fields were taken.

The comb sums are those of libav's ``idet`` (lines of this picture against the lines between them of the one before and
after), with differences that noise alone explains left out, so that a small moving part still decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import inner

BLOCK = 16
THIN = 3  # every third column is enough for combs


@dataclass(frozen=True, slots=True)
class Before:
    """State: the picture before, thinned; None before the first."""

    luma: np.ndarray | None = None
    twice: np.ndarray | None = None  # each line, doubled
    between: np.ndarray | None = None  # the sum of the lines above and below it


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """From the picture before to this one; differences in 8-bit codes, means over the inner picture.

    ``back`` and ``forth`` are comb sums for (even, odd) lines: lines between which one of the picture before is put,
    and lines of the picture before between which one of this is put. ``own`` is this picture's own comb.
    """

    difference: float  # mean |difference|; infinite for the first picture
    most: float  # mean |difference| of the fifth most changed block
    back: tuple[float, float]
    forth: tuple[float, float]
    own: float


FIRST = Change(difference=float("inf"), most=float("inf"), back=(0, 0), forth=(0, 0), own=0)


def begin() -> Before:
    return Before()


def step(state: Before, luma: np.ndarray, bits: int, noise: float) -> tuple[Before, Change]:
    """Compare a picture with the one before.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    noise : float
        RMS noise of this picture [8-bit codes]: smaller combs are noise and are left out
    """
    unit = 2.0 ** (bits - 8)
    part = np.ascontiguousarray(inner(luma)).astype(np.uint16)
    thin = np.ascontiguousarray(part[:, ::THIN])
    twice, between = cv2.add(thin[1:-1], thin[1:-1]), cv2.add(thin[:-2], thin[2:])
    now = Before(part, twice, between)
    if state.luma is None or state.luma.shape != part.shape or state.twice is None or state.between is None:
        return now, FIRST
    apart = cv2.absdiff(part, state.luma)
    shape = (apart.shape[1] // BLOCK, apart.shape[0] // BLOCK)
    blocks = cv2.resize(apart.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
    dead = (6 * noise + 2) * unit
    back, forth = _combs(between, state.twice, dead, unit), _combs(state.between, twice, dead, unit)
    own = _combs(between, twice, dead, unit)
    change = Change(
        difference=float(cv2.mean(apart)[0]) / unit,
        most=float(np.partition(blocks.ravel(), -5)[-5]) / unit,
        back=back,
        forth=forth,
        own=own[0] + own[1],
    )
    return now, change


def _combs(between: np.ndarray, twice: np.ndarray, dead: float, unit: float) -> tuple[float, float]:
    """Mean comb of lines put between others, for even and odd frame lines; row 0 here is an odd line."""
    comb = cv2.subtract(cv2.absdiff(between, twice), dead)  # type: ignore[call-overload]  # stops at 0
    rows = cv2.reduce(comb, 1, cv2.REDUCE_AVG, dtype=cv2.CV_32F).ravel() / unit
    return float(rows[1::2].mean()), float(rows[0::2].mean())
