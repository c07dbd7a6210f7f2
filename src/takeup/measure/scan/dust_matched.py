"""How surely each pixel holds dust of a known grey, weighed by how the picture about it changes of itself.

A leaf in sun and shade changes along its own colour, dust changes it towards grey. So what stands out is held against
the spread of what stands out round about, channel by channel and channels together (a matched filter under the local
covariance: Reed and Yu 1990, as is usual for small targets on clutter). How strong a mark must be is told by the
picture itself: dust goes one way, texture both; as many marks that go the wrong way as are let through stand for as
many that are no dust.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

GROUND, ABOUT = 9, 31  # px: side of the median that hides a mark, and of the surroundings whose spread is measured
CLIP = 3.0  # times the mean unrest: what stands out farther is a mark and no spread
NOISE = 1.5  # codes: spread that a plain place has all the same
FAINTEST = 3.0  # standing out from which pixels belong to a mark
LEAST_SHARE = 0.2  # of the way to the grey that a mark's strongest pixel goes
MOST, MOST_ANY = 0.95, 1.15  # the same at most: dust of a known grey covers 0.85; of black or white in its stead
OFF, OFF_ANY = 7.0, 14.0  # codes beside the way there, likewise
LARGEST = 600  # px
STRENGTHS = np.arange(5.0, 16.0, 0.25)
WRONG, WRONG_ANY, LEAST_ANY = 0.03, 0.02, 6.0  # share of marks that may go the wrong way; the same for any grey


@dataclass(frozen=True, slots=True)
class Marks:
    """``label``: which mark a pixel belongs to; by number: how ``strong`` it is (0: not to be told)."""

    label: np.ndarray
    strong: np.ndarray


def marks(pixels: np.ndarray, code: float, *, exact: bool, wrong: bool = False) -> tuple[Marks, np.ndarray]:
    """Marks that go towards a grey, and the strengths of those that go away from it.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 3), uint8
    exact : bool
        Whether ``code`` is the dust's own grey, not black or white in its stead.
    wrong : bool
        Whether marks that go the other way are wanted too.
    """
    strength, share, off = _match(pixels, code)
    bounds = (MOST, OFF) if exact else (MOST_ANY, OFF_ANY)
    found = _strong(strength, share, off, bounds)
    away = _strong(-strength, np.minimum(-share, MOST), off, bounds).strong if wrong else np.zeros(0)
    return found, away[away > 0]


def least_strength(right: np.ndarray, wrong: np.ndarray, *, exact: bool) -> float:
    """How strong a mark must be, from the strengths of both kinds; infinite where no strength parts them.

    Examples
    --------
    >>> least_strength(np.full(200, 9.0), np.array([5.4, 6.1, 6.2, 6.3, 6.4, 6.5]), exact=True)
    5.5
    """
    share = WRONG if exact else WRONG_ANY
    for least in STRENGTHS if exact else STRENGTHS[STRENGTHS >= LEAST_ANY]:
        if (wrong > least).sum() + 1 <= share * (right > least).sum():
            return float(least)
    return float("inf")


def _match(pixels: np.ndarray, code: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """How surely each pixel goes towards a grey [standard deviations], how far (1: all), and how far beside [codes]."""
    bands = [cv2.medianBlur(np.ascontiguousarray(pixels[..., c]), GROUND) for c in range(3)]
    towards = [np.float32(code) - band for band in bands]
    away = [pixels[..., c].astype(np.float32) - band for c, band in enumerate(bands)]
    spread = _spread(away)
    weights = _solved(spread, towards)
    along = sum(w * a for w, a in zip(weights, away))
    whole = np.maximum(sum(w * t for w, t in zip(weights, towards)), np.float32(1e-6))
    share = along / whole
    off = np.maximum.reduce([np.abs(a - share * t) for a, t in zip(away, towards)])
    return along / np.sqrt(whole), share, off


def _spread(away: list[np.ndarray]) -> dict[tuple[int, int], np.ndarray]:
    """Covariance of the channels round about each pixel; marks are clipped, so that they add little."""
    clipped = []
    for band in away:
        size = np.abs(band)
        unrest = cv2.blur(size, (ABOUT, ABOUT))
        for _ in range(2):
            unrest = cv2.blur(np.minimum(size, 2.5 * unrest), (ABOUT, ABOUT))
        clipped.append(np.clip(band, -CLIP * unrest, CLIP * unrest))
    pairs = [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]
    own = np.float32(NOISE**2)
    return {(i, j): cv2.blur(clipped[i] * clipped[j], (ABOUT, ABOUT)) + (own if i == j else 0) for i, j in pairs}


def _solved(spread: dict[tuple[int, int], np.ndarray], right: list[np.ndarray]) -> list[np.ndarray]:
    """The 3 x 3 equations of every pixel, by cofactors."""
    a, b, c, d, e, f = (spread[key] for key in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)))
    first, second, third = d * f - e * e, c * e - b * f, b * e - c * d
    fifth, sixth, ninth = a * f - c * c, b * c - a * e, a * d - b * b
    whole = np.maximum(a * first + b * second + c * third, np.float32(1e-6))
    x, y, z = right
    return [
        (first * x + second * y + third * z) / whole,
        (second * x + fifth * y + sixth * z) / whole,
        (third * x + sixth * y + ninth * z) / whole,
    ]


def _strong(strength: np.ndarray, share: np.ndarray, off: np.ndarray, bounds: tuple[float, float]) -> Marks:
    count, label, about, _ = cv2.connectedComponentsWithStats((strength > FAINTEST).astype(np.uint8))
    there = np.flatnonzero(label)
    order = there[np.argsort(strength.ravel()[there], kind="stable")]
    peak = np.zeros(count, int)
    peak[label.ravel()[order]] = order  # the last one, which is the strongest, stays
    strong, shares = strength.ravel()[peak], share.ravel()[peak]
    good = (about[:, cv2.CC_STAT_AREA] <= LARGEST) & (shares >= LEAST_SHARE) & (shares <= bounds[0])
    good &= off.ravel()[peak] <= bounds[1]
    good[0] = False
    return Marks(label, np.where(good, strong, 0))
