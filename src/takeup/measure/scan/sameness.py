"""Do two scans show the same page or picture? Brings one miniature onto the other and compares their fine detail.

Method: oriented binary features, a similarity transform by random sample consensus, then correlation of the
high-passed miniatures. Features alone are fooled by print, where every letter recurs; the fine detail is not.
"""

from __future__ import annotations

import cv2
import numpy as np

FEATURES = 1500
LEAST_MATCHES = 12


def sameness(one: np.ndarray, other: np.ndarray) -> float:
    """Likeness of the fine detail of two miniatures, -1 to 1; 0 when one cannot be brought onto the other.

    Parameters
    ----------
    one, other : ndarray, shape (rows, columns), uint8
        Grey miniatures, 300 to 1200 pixels long, of the whole of each scan.

    Returns
    -------
    float
        Correlation of the high-passed pictures where they overlap. Two scans of one page: above 0.6; of two pages of
        one book: below 0.3 (measured in ``tests/scan/test_sameness.py`` on rendered and on packaged real pages).
    """
    transform = similarity(one, other)
    if transform is None:
        return 0.0
    moved = cv2.warpAffine(other, transform, (one.shape[1], one.shape[0]), flags=cv2.INTER_LINEAR, borderValue=0)
    covered = cv2.warpAffine(np.full_like(other, 255), transform, (one.shape[1], one.shape[0])) == 255
    if covered.mean() < 0.5:
        return 0.0
    a, b = _fine(one)[covered], _fine(moved)[covered]
    if a.std() < 0.5 or b.std() < 0.5:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])


def similarity(one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    """The similarity transform that brings ``other`` onto ``one``, where enough features agree on one."""
    finder = cv2.ORB.create(FEATURES)
    places, marks = finder.detectAndCompute(one, None)
    others, other_marks = finder.detectAndCompute(other, None)
    if marks is None or other_marks is None or min(len(marks), len(other_marks)) < LEAST_MATCHES:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING, crossCheck=True).match(other_marks, marks)
    if len(pairs) < LEAST_MATCHES:
        return None
    source = np.array([others[pair.queryIdx].pt for pair in pairs], np.float32)
    target = np.array([places[pair.trainIdx].pt for pair in pairs], np.float32)
    cv2.setRNGSeed(1)
    transform, agree = cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=3.0)
    if transform is None or int(agree.sum()) < LEAST_MATCHES:
        return None
    scale = float(np.hypot(transform[0, 0], transform[1, 0]))
    return transform if 0.5 < scale < 2.0 else None


def _fine(picture: np.ndarray) -> np.ndarray:
    grey = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 1.0)
    return grey - cv2.GaussianBlur(grey, (0, 0), 6.0)
