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

BLOCK = 16
CLOSE = 3.0  # pictures that differ by less are looked at block by block [8-bit codes]


@dataclass(frozen=True, slots=True)
class Before:
    """State: the picture before; None before the first."""

    luma: np.ndarray | None = None  # inner part, eight bits
    exact: np.ndarray | None = None  # the plane itself, where it has more bits
    spans: tuple[np.ndarray, ...] = ()  # what lines above and below span, widened by noise


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
    fields = part[0::2], part[1::2]
    spans = _spans(fields, 2 + round(4 * noise))
    now = Before(part, exact, spans)
    if state.luma is None or state.luma.shape != part.shape:
        return now, FIRST
    before = state.luma[0::2], state.luma[1::2]
    difference, most, same = _apart(part, state, exact, bits)
    own = _combs(fields, spans)
    change = Change(
        difference=difference,
        most=most,
        same=same,
        back=_combs(before, spans),
        forth=_combs(fields, state.spans),
        own=own[0] + own[1],
    )
    return now, change


def _apart(part: np.ndarray, state: Before, exact: np.ndarray | None, bits: int) -> tuple[float, float, float]:
    """Mean difference, that of the fifth most changed block, and the share of blocks without any."""
    assert state.luma is not None
    apart = cv2.absdiff(part, state.luma)
    difference = cv2.sumElems(apart)[0] / part.size
    if difference > CLOSE:
        return difference, difference, 0.0
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


def _spans(fields: tuple[np.ndarray, np.ndarray], wide: int) -> tuple[np.ndarray, ...]:
    """Highest and lowest of each two neighbouring lines of both fields, ``wide`` codes wider: even, odd."""
    found: list[np.ndarray] = []
    for lines in fields:
        high, low = cv2.max(lines[1:], lines[:-1]), cv2.min(lines[1:], lines[:-1])
        room = np.full_like(high, min(255, wide))
        found += [cv2.add(high, room), cv2.subtract(low, room)]
    return tuple(found)


def _combs(fields: tuple[np.ndarray, np.ndarray], spans: tuple[np.ndarray, ...]) -> tuple[float, float]:
    """Mean comb of (even, odd) lines put between the lines of the other field that ``spans`` tells of."""
    even, odd = fields
    high, low = spans[2:]  # between two odd lines lies the later of the even ones
    number = min(len(even) - 1, len(high))
    first = _outside(even[1 : number + 1], high[:number], low[:number])
    high, low = spans[:2]
    number = min(len(odd), len(high))
    return first, _outside(odd[:number], high[:number], low[:number])


def _outside(lines: np.ndarray, high: np.ndarray, low: np.ndarray) -> float:
    over, under = cv2.subtract(lines, high), cv2.subtract(low, lines)
    return float(cv2.sumElems(over)[0] + cv2.sumElems(under)[0]) / lines.size
