"""What the first look at a scan gave: enough to say where a measure wants to see every pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.pictures import Pictures, Print


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstLook:
    """A scan in miniature and what lies on it.

    Attributes
    ----------
    small : Miniature
    pictures : Pictures
        Corners in scan pixels.
    size : (int, int)
        Width and height of the scan [px].
    ppi : float or None
        As the file states it.
    full_scale : int
        The highest code, 255 or 65535.
    """

    small: Miniature
    pictures: Pictures
    size: tuple[int, int]
    ppi: float | None
    full_scale: int

    def inside(self, one: Print, inset: float = 0.0) -> np.ndarray:
        """Which miniature pixels lie inside a picture, at least ``inset`` miniature pixels from its outline (bool)."""
        mask: np.ndarray = np.zeros(self.small.pixels.shape[:2], np.uint8)
        corners = np.rint(np.asarray(one.corners) / self.small.block * 16).astype(np.int32)
        cv2.fillConvexPoly(mask, corners, 1, shift=4)
        if inset > 0:
            reach = 2 * int(np.ceil(inset)) + 1
            (left, top), (right, bottom) = np.maximum(corners.min(axis=0) // 16 - 1, 0), corners.max(axis=0) // 16 + 2
            part = mask[top:bottom, left:right]  # nothing stands outside of it
            if part.size:
                part[:] = cv2.erode(part, np.ones((reach, reach), np.uint8), borderValue=0)
        return mask.view(bool)

    def ground(self, margin: float = 0.0) -> np.ndarray:
        """Which miniature pixels show the lid: no picture, nothing doubtful, ``margin`` miniature pixels away from
        both (bool). Nothing where no lid was seen."""
        free: np.ndarray = np.zeros(self.small.pixels.shape[:2], bool)
        if self.pictures.ground not in ("lid", "empty"):
            return free
        free[:] = True
        for one in (*self.pictures.prints, *self.pictures.pages):
            free &= ~self.inside(one)
        for x, y, width, height in self.pictures.unsure:
            left, top = (int(v // self.small.block) for v in (x, y))
            right, bottom = (int(-(-v // self.small.block)) for v in (x + width, y + height))
            free[max(top, 0) : bottom, max(left, 0) : right] = False
        if margin > 0:
            reach = 2 * int(np.ceil(margin)) + 1
            cv2.erode(free.view(np.uint8), np.ones((reach, reach), np.uint8), dst=free.view(np.uint8), borderValue=1)
        return free
