"""Faint lettering on a page's own paper: what is left for reading when its ink is taken away.

What shows through from the other side is soft, pale and in a mirror. Where its letters can be read, and only in a
mirror, they are the other side's; pale letters that read as they lie are the page's own.
"""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.scan.density import density
from takeup.measure.scan.show_through import papers_of

PALE = 0.012, 0.13  # density over paper that a ghost has, and its own ink has more than
NEAR = 5  # px about ink that belong to its soft rim
LEAST_SHARE = 0.004  # of the page that must be pale, beside ink
MOST_SHARE = 0.5  # and no more than so much of that part: a stain or a tint is no lettering
PART = 900, 360  # px: of a page's miniature that is read
SOFT, GROWN = 0.8, 1.4  # noise that is smoothed away [px], enlargement for reading
GAMMA = 2.2


def pale_part(grey: np.ndarray) -> np.ndarray | None:
    """The part of a page whose paper holds most pale marks: these black, the rest white, for reading; None where
    hardly anything is pale.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
    """
    soft, pale, own = _marks(grey)
    if pale.mean() < LEAST_SHARE:
        return None
    wide, high = min(PART[0], grey.shape[1]), min(PART[1], grey.shape[0])
    full = cv2.boxFilter(pale - own, -1, (wide, high), anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    full = full[: grey.shape[0] - high + 1, : grey.shape[1] - wide + 1]
    y, x = np.unravel_index(int(np.argmax(full)), full.shape)
    part, there = soft[y : y + high, x : x + wide], pale[y : y + high, x : x + wide] > 0
    if there.mean() < LEAST_SHARE or there.mean() > MOST_SHARE:
        return None
    deep = float(np.percentile(part[there], 90))
    shown = 255 - 215 * np.clip((part - PALE[0]) / max(deep - PALE[0], 1e-3), 0, 1)
    return cv2.resize(shown.astype(np.uint8), None, fx=GROWN, fy=GROWN, interpolation=cv2.INTER_CUBIC)


def pale_share(grey: np.ndarray) -> float:
    """Share of a page that pale marks cover: where there are none, nothing shows through."""
    return float(_marks(grey)[1].mean())


def _marks(grey: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Density of what is pale, where it is, and the page's own ink with its rim."""
    light = (grey.astype(np.float32) / 255) ** GAMMA
    ((paper, _),) = papers_of(light[..., None], light[..., None])
    over = (density(light) - paper).astype(np.float32)
    own = cv2.dilate((over > PALE[1]).astype(np.uint8), np.ones((NEAR, NEAR), np.uint8)) > 0
    soft = cv2.GaussianBlur(np.where(own, 0, np.clip(over, 0, PALE[1])), (0, 0), SOFT)
    pale: np.ndarray = ((soft > PALE[0]) & ~own).astype(np.float32)
    return soft, pale, own
