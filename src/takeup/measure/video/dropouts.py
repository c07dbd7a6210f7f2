"""Dropouts: streaks along a line of one field that neither the pictures before and after nor the other field know.

A streak lies outside all that stood near its place: in the picture before, in the one after, and in the other field of
its own picture. A picture in which much is outside (a cut, fast movement, a torn picture) has no say.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import inner

NEAR = np.ones((11, 25), np.uint8)  # frame lines and pixels that stood near a place, in another picture
OTHER = np.ones((3, 25), np.uint8)  # lines of the other field


@dataclass(frozen=True, slots=True)
class _Look:
    luma: np.ndarray
    highest: np.ndarray  # near each place
    lowest: np.ndarray


@dataclass(frozen=True, slots=True)
class Two:
    """State: the last two pictures."""

    before: _Look | None = None
    here: _Look | None = None


def begin() -> Two:
    return Two()


def step(
    state: Two, luma: np.ndarray, bits: int, *, contrast: float, length_px: int, busy_share: float
) -> tuple[Two, int]:
    """Take the next picture; the number of streaks in the one before it.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    contrast : float
        How far outside a streak must lie [8-bit codes].
    length_px : int
        Shortest streak [px].
    busy_share : float
        A picture with more outside than this share of it has no say.
    """
    small = np.ascontiguousarray(inner(luma))
    if bits > 8:
        small = (small >> (bits - 8)).astype(np.uint8)
    after = _Look(small, cv2.dilate(small, NEAR), cv2.erode(small, NEAR))
    now = Two(state.here, after)
    if (
        state.before is None
        or state.here is None
        or not state.before.luma.shape == state.here.luma.shape == small.shape
    ):
        return now, 0
    highest = cv2.max(state.before.highest, after.highest)
    lowest = cv2.min(state.before.lowest, after.lowest)
    outside = (cv2.subtract(state.here.luma, highest) > contrast) | (cv2.subtract(lowest, state.here.luma) > contrast)
    if not outside.any() or outside.mean() > busy_share:
        return now, 0
    return now, sum(_streaks(state.here.luma, outside, parity, contrast, length_px) for parity in (0, 1))


def _streaks(luma: np.ndarray, outside: np.ndarray, parity: int, contrast: float, length_px: int) -> int:
    """Groups of streaks in one field: lines of it next to each other are one."""
    field = np.ascontiguousarray(outside[parity::2]).astype(np.uint8)
    if not field.any():
        return 0
    lines, other = luma[parity::2], np.ascontiguousarray(luma[1 - parity :: 2])
    number = min(len(lines), len(other))
    high, low = cv2.dilate(other, OTHER)[:number], cv2.erode(other, OTHER)[:number]
    apart = (cv2.subtract(lines[:number], high) > contrast) | (cv2.subtract(low, lines[:number]) > contrast)
    field = field[:number] & apart
    joined = cv2.morphologyEx(field, cv2.MORPH_CLOSE, np.ones((1, 5), np.uint8))
    long = cv2.morphologyEx(joined, cv2.MORPH_OPEN, np.ones((1, length_px), np.uint8))
    if not long.any():
        return 0
    grouped = cv2.dilate(long, np.ones((3, 3), np.uint8))
    return int(cv2.connectedComponents(grouped, connectivity=8)[0]) - 1
