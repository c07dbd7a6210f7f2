"""The picture inside its paper: an even border of a print, or the mount round a slide, is left out."""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.scan.brightness import mean_of_channels
from takeup.measure.scan.shapes import flattened, part_of
from takeup.measure.scan.sides import Box

AT_ONCE = 32  # lines looked at before it is asked whether the border goes on


def inner_box(pixels: np.ndarray, box: Box, *, even: float = 3.0, near: float = 6.0) -> Box:
    """A box without the even border that runs along its sides.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, channels), uint8
        The miniature.
    box : Box
        A print in it.
    even, near : float
        Largest spread along a line of border, and how far its code may lead away from the outermost line's.
    """
    flat = flattened(pixels, box)
    grey = flat if flat.ndim == 2 else mean_of_channels(flat)
    if min(grey.shape) < 24:
        return box
    skip = 2
    top = _border(grey, skip, even, near)
    bottom = _border(grey[::-1], skip, even, near)
    left = _border(grey.T, skip, even, near)
    right = _border(grey.T[::-1], skip, even, near)
    width, height = grey.shape[1], grey.shape[0]
    if width - left - right < 12 or height - top - bottom < 12:
        return part_of(box, skip, skip, box.width - skip, box.height - skip)
    return part_of(box, left, top, box.width - right, box.height - bottom)


def inside(shape: tuple[int, int], box: Box) -> np.ndarray:
    """Which miniature pixels lie wholly in a box (bool)."""
    mask = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(mask, np.rint((box.corners() - 0.5) * 16).astype(np.int32), 1, shift=4)
    return cv2.erode(mask, np.ones((3, 3), np.uint8), borderValue=1) > 0


def _border(grey: np.ndarray, skip: int, even: float, near: float) -> int:
    """Lines of border from the first row on; at least the outermost ones, where paper and lid mix."""
    ends = max(2, grey.shape[1] // 20)
    lines = grey[:, ends:-ends]
    base, run = float(np.median(lines[skip])), 0
    for first in range(skip, len(lines) // 2, AT_ONCE):  # most borders end within the first lines
        part = lines[first : min(first + AT_ONCE, len(lines) // 2)]
        low, level, high = np.quantile(part, [0.05, 0.5, 0.95], axis=1)
        border = ((high - low) <= 4 * even) & (np.abs(level - base) <= near)
        run += int(np.argmin(border)) if not border.all() else border.size
        if not border.all():
            break
    return skip + run + 1 if run >= 4 else skip
