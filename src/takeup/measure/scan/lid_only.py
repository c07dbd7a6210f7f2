"""Where a scan shows nothing but its lid, and how bright the lid is there: for measures of the machine itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.first import FirstLook

BANDS = 16  # stretches of rows with as many rows of lid in each
MARGIN_INCH = 0.12  # kept away from prints, for their shadow
GROUP = 8  # miniature rows that share one mask, so that they are added up at once
COARSE = 4  # miniature pixels per pixel of the smooth lid


@dataclass(frozen=True, slots=True, kw_only=True)
class LidOnly:
    """Lid in miniature pixels.

    ``mask`` : bool, shape (rows, columns): lid without prints, their shadows, specks and hairs; the same for each group
    of ``GROUP`` rows, counted from the first.
    ``level`` : float32, shape (rows, columns): the lid's smooth brightness, all channels together [codes of 255].
    ``across`` : float32, shape (columns,): its mean from left to right, of all rows.
    ``band`` : int, shape (rows,): which of 16 stretches of rows each row is in.
    ``block``, ``height`` : scan pixels per miniature pixel; rows of the scan.
    """

    mask: np.ndarray
    level: np.ndarray
    across: np.ndarray
    band: np.ndarray
    block: int
    height: int

    def groups(self, row: int, rows: int) -> Iterator[tuple[int, int, int]]:
        """The groups of rows that a strip of ``rows`` scan rows from ``row`` on cuts: the first miniature row of each,
        and from where to where it lies in the strip [px]."""
        size = GROUP * self.block
        for group in range(row // size, -(-min(row + rows, self.mask.shape[0] * self.block) // size)):
            last = min((group + 1) * size, self.mask.shape[0] * self.block, row + rows)
            yield group * GROUP, max(group * size - row, 0), last - row


def lid_only(first: FirstLook) -> LidOnly | None:
    """The lid of a scan; None where none was seen."""
    small = first.small.pixels
    per_inch = first.ppi / first.small.block if first.ppi else max(small.shape[:2]) / 14.0
    mask = first.ground(min(MARGIN_INCH * per_inch, 30))
    if mask.mean() < 0.005:
        return None
    grey = small[..., 0] if small.shape[2] == 1 else cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    level = _smooth(grey, mask)
    away = np.abs(cv2.subtract(level, grey, dtype=cv2.CV_32F))
    of_lid = away[::3, ::3][mask[::3, ::3]]
    noise = 1.4826 * float(np.median(of_lid)) if of_lid.size else 0.0
    strange = mask & (away > max(3.0, 6 * noise))
    line = strange.sum(axis=0) > 0.5 * np.maximum(mask.sum(axis=0), 1)  # a strong streak is no dirt
    strange[:, line] = False
    near = cv2.dilate(strange.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    mask &= ~near | line[None]
    starts = np.arange(0, mask.shape[0], GROUP)
    of_group = np.arange(mask.shape[0]) // GROUP
    mask = np.logical_and.reduceat(mask, starts, axis=0)[of_group]
    if not mask.any():
        return None
    rows = mask.sum(axis=1).astype(float)
    share = np.cumsum(rows) / max(rows.sum(), 1)
    band = np.minimum((share * BANDS - 1e-9).astype(int), BANDS - 1)[starts][of_group]
    count = mask.sum(axis=0)
    across = np.where(count > 0, (level * mask).sum(axis=0) / np.maximum(count, 1), float(level[mask].mean()))
    return LidOnly(
        mask=mask, level=level, across=across, band=np.maximum(band, 0), block=first.small.block, height=first.size[1]
    )


def _smooth(grey: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """The lid's brightness, averaged over some millimetres of it; what stands out has no part in it."""
    rows, columns = grey.shape
    size = (max(columns // COARSE, 1), max(rows // COARSE, 1))
    weight = mask.astype(np.uint8)
    share = cv2.resize(weight * 255, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    lit = cv2.resize(grey * weight, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    share[share < 0.99] = 0  # whole cells only: parts of cells are rounded
    keep = share
    level = lit
    for _ in range(3):
        middle = float((lit * keep).sum() / max(float(keep.sum()), 1e-6))
        level = (cv2.GaussianBlur(lit * keep, (0, 0), 3.0) + 0.02 * middle) / (
            cv2.GaussianBlur(keep, (0, 0), 3.0) + 0.02
        )
        keep = share * (np.abs(lit - level) <= 3.0)
    return cv2.resize(level, (columns, rows), interpolation=cv2.INTER_LINEAR)
