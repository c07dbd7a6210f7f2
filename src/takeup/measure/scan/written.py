"""Whether what was taken for an empty lid is written on: then it is the page itself, and no lid."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from takeup.measure.scan.sides import Box

SIGN_MM = (0.6, 9.0)  # how tall letters are; specks are smaller, pictures taller
STRONG_CODES, STRONG_NOISES = 20.0, 6.0  # ink stands so far from its paper
BESIDE_MM = 2.0  # left out round what lies on it, for its shadow and its ragged edge


def signs_on(away: np.ndarray, boxes: Sequence[Box], noise: float, per_inch: float) -> int:
    """How many marks as tall as letters stand on a ground, beside what lies on it.

    Parameters
    ----------
    away : float32 ndarray, shape (rows, columns, channels)
        A miniature less its ground [codes of 255].
    boxes : sequence of Box
        What lies on it [miniature pixels].
    noise : float
        Spread of the ground's pixels [codes].
    per_inch : float
        Miniature pixels to the inch.
    """
    apart = np.abs(away)
    ink = (apart if apart.ndim == 2 else apart.max(axis=2)) > max(STRONG_CODES, STRONG_NOISES * noise)
    free = np.ones(ink.shape, np.uint8)
    for box in boxes:
        cv2.fillConvexPoly(free, np.rint(box.corners()).astype(np.int32), 0)
    reach = 2 * round(BESIDE_MM / 25.4 * per_inch) + 1
    free = cv2.erode(free, np.ones((reach, reach), np.uint8), borderValue=1)
    stats = cv2.connectedComponentsWithStats(ink.view(np.uint8) & free)[2][1:]
    tall = stats[:, cv2.CC_STAT_HEIGHT] / per_inch * 25.4
    return int(((tall >= SIGN_MM[0]) & (tall <= SIGN_MM[1])).sum())
