"""What changes from one picture to the next: how much, and in which order its fields were taken.

Combs are looked for as libav's ``idet`` does (lines of this picture against the lines between them of the one before
and after), but a line counts only as far as it lies outside what the lines above and below span, noise allowed for: so
a small moving part still decides, and slopes and grain do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.glance import inner
from takeup.measure.video.loops import loops

BLOCK = 16
CLOSE = 3.0  # pictures that differ by less are looked at block by block [8-bit codes]


@dataclass(frozen=True, slots=True)
class Before:
    """State: the picture before; None before the first."""

    luma: np.ndarray | None = None  # inner part, eight bits
    exact: np.ndarray | None = None  # the plane itself, where it has more bits
    wide: int = 0  # codes by which what lines above and below span is wider, for noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """From the picture before to this one; differences in 8-bit codes, means over the inner picture.

    ``back`` and ``forth`` are comb sums for (even, odd) lines: lines between which one of the picture before is put,
    and lines of the picture before between which one of this is put. ``own`` is this picture's own comb.
    """

    difference: float  # mean |difference|; infinite for the first picture
    most: float  # mean |difference| of the fifth most changed block; as ``difference`` where much changes
    same: float  # share of blocks in which nothing changes at all; 0 where much changes
    back: tuple[float, float]
    forth: tuple[float, float]
    own: float


FIRST = Change(difference=float("inf"), most=float("inf"), same=0, back=(0, 0), forth=(0, 0), own=0)


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
    return step_at(state, np.ascontiguousarray(inner(eight_bits(luma, bits))), luma, bits, noise)


def step_at(state: Before, part: np.ndarray, luma: np.ndarray, bits: int, noise: float) -> tuple[Before, Change]:
    """The same with :func:`~takeup.measure.video.glance.inner` luma that is in eight bits already, contiguous."""
    exact = luma if bits > 8 else None
    now = Before(part, exact, min(255, 2 + round(4 * noise)))
    if state.luma is None or state.luma.shape != part.shape:
        return now, FIRST
    rows, wide = part.shape
    sums = np.empty(7, np.int64)
    loops().compare(part, state.luma, now.wide, state.wide, np.empty(wide, np.uint8), sums)
    difference, most, same = _apart(part, state, float(sums[0]) / part.size, exact, bits)
    even, odd = (rows // 2 - 1) * wide, (rows - 1) // 2 * wide  # pixels between two lines of the other field
    change = Change(
        difference=difference,
        most=most,
        same=same,
        back=(float(sums[1] / even), float(sums[2] / odd)),
        forth=(float(sums[3] / even), float(sums[4] / odd)),
        own=float(sums[5] / even + sums[6] / odd),
    )
    return now, change


def _apart(
    part: np.ndarray, state: Before, difference: float, exact: np.ndarray | None, bits: int
) -> tuple[float, float, float]:
    """Mean difference, that of the fifth most changed block, and the share of blocks without any."""
    assert state.luma is not None
    if difference > CLOSE:
        return difference, difference, 0.0
    apart = cv2.absdiff(part, state.luma)
    if exact is not None and state.exact is not None and state.exact.shape == exact.shape:
        unit = 2.0 ** (bits - 8)
        deep = cv2.absdiff(np.ascontiguousarray(inner(exact)), np.ascontiguousarray(inner(state.exact)))
        difference = cv2.sumElems(deep)[0] / deep.size / unit
        apart = np.minimum(deep, 255).astype(np.uint8)
    rows, columns = apart.shape[0] // BLOCK, apart.shape[1] // BLOCK
    whole = apart[: rows * BLOCK, : columns * BLOCK]
    sums = cv2.reduce(np.ascontiguousarray(whole).reshape(-1, BLOCK), 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)
    blocks = sums.reshape(rows, BLOCK, columns).sum(axis=1)
    scale = BLOCK * BLOCK * (2.0 ** (bits - 8) if exact is not None else 1.0)
    least = min(5, blocks.size)
    return difference, float(np.partition(blocks.ravel(), -least)[-least]) / scale, float((blocks == 0).mean())
