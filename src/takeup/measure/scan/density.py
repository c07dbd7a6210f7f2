"""Negatives in density: where the unexposed film lies, and how a positive is read from what lies over it.

Density is -log10 of the share of light that passes. Film adds densities, so a mask and a stain are taken off by
subtraction, and a channel's contrast by division: neither can be done on the codes of a picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

DARKEST = 1e-5  # of full light: 16 bits tell no less
NAKED = 0.04  # density under which light passed no film at all: clear base has 0.05 and more
HOLDER = 2.6  # density in every channel over which nothing is film: its own blackest is 2.5 or so over the base
NEAR = 0.02  # how far pixels of one rebate lie from its middle: grain of a miniature, and light that falls off
FLAT = 0.012  # standard deviation over 5 x 5 pixels of a place that shows nothing
LEAST_SHARE = 0.005  # of all pixels, for a rebate
OUTLINE = 0.22  # of the film's own outline that the rebate must hold: about one of its four sides
ACROSS = 0.9  # of a row or a column of film, for a strip between frames
RIM = 7  # pixels: about holes and along a film's edges the miniature mixes film with naked light, no film is as light
LIGHTER = 0.002  # of the film that may be lighter than the rebate: scratches and specks
RANGE = np.arange(1.4, 3.05, 0.1)  # decades of light from black to white that a positive may show
MIDDLE = 0.18  # light that the middle of a picture becomes, as near as a range in those bounds allows: a grey card's
ENDS = (0.5, 99.7)  # per cent of a picture that become black and white


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """Unexposed film. ``density``: of each channel. ``share``: of all pixels. ``why``: why none was found, or ""."""

    density: tuple[float, ...] = ()
    share: float = 0.0
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inversion:
    """How a positive is read: light = 10 ** ((density - base) / contrast - white), less ``black``, stretched back.

    ``white``: decades of light over the base that become white, per channel; ``black``: light that becomes black.
    """

    base: tuple[float, ...]
    contrast: tuple[float, ...]
    white: tuple[float, ...]
    black: float = 0.0
    grey: bool = False


def density(linear: np.ndarray) -> np.ndarray:
    """Density of linear light (1 is full light)."""
    return -np.log10(np.maximum(np.asarray(linear, float), DARKEST))


def find_base(linear: np.ndarray) -> Base:
    """The unexposed film round or between the pictures of a negative, seen in a miniature of the whole scan.

    It is the lightest film there is, it shows nothing, and it lies along the film's outline or right across it: a deep
    shadow of the picture itself does none of the three.

    Parameters
    ----------
    linear : ndarray, shape (rows, columns, 1 or 3)
        Linear light, 1 where nothing lies in its way.

    Returns
    -------
    Base
        With ``why`` "none" when no such place is in view, "clipped" when the film itself is at the last code.
    """
    d = density(linear)
    naked = (d < NAKED).all(axis=2)
    film = np.asarray(~naked & ~(d > HOLDER).all(axis=2))
    kept = cv2.erode(film.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=1).astype(bool)
    if kept.mean() < LEAST_SHARE:
        return Base(why="none")
    flat = kept & (_spread(d) < FLAT)
    mean = d.mean(axis=2)
    middle = _lightest(mean[flat], d[flat], LEAST_SHARE * mean.size)
    if middle is None:
        return Base(why="none")
    like = kept & (np.abs(d - middle) < NEAR).all(axis=2)
    share = float(like.mean())
    deep = cv2.erode(film.astype(np.uint8), np.ones((RIM, RIM), np.uint8), borderValue=1).astype(bool)
    lighter = float((deep & (mean < middle.mean() - 2 * NEAR)).sum() / kept.sum())
    if share < LEAST_SHARE or lighter > LIGHTER or not (_holds_outline(like, film) or _goes_across(like, kept)):
        return Base(why="none")
    if (linear[like] >= 0.999).any(axis=1).mean() > 0.5:
        return Base(why="clipped")
    return Base(density=tuple(float(v) for v in np.median(d[like], axis=0)), share=share)


def _spread(d: np.ndarray) -> np.ndarray:
    """Largest standard deviation of any channel over 5 x 5 pixels."""
    bare = d.astype(np.float64)
    mean = cv2.blur(bare, (5, 5)).reshape(d.shape)
    square = cv2.blur(bare * bare, (5, 5)).reshape(d.shape)
    return np.sqrt(np.maximum(square - mean * mean, 0)).max(axis=2)


def _lightest(mean: np.ndarray, d: np.ndarray, least: float) -> np.ndarray | None:
    """The densities of the lightest heap of flat pixels that is large enough."""
    if mean.size < least:
        return None
    counts, edges = np.histogram(mean, bins=np.arange(0, 4.01, 0.005))
    heaps = np.convolve(counts, np.ones(5, int), "same")
    first = np.flatnonzero(heaps >= 0.5 * least)
    if not first.size:
        return None
    top = first[0] + int(np.argmax(heaps[first[0] : first[0] + 10]))
    middle = np.median(d[np.abs(mean - (edges[top] + 0.0025)) < NEAR], axis=0)
    for _ in range(3):
        near = d[(np.abs(d - middle) < NEAR).all(axis=1)]
        if near.shape[0] < 0.5 * least:
            return None
        middle = np.median(near, axis=0)
    return middle


def _holds_outline(like: np.ndarray, film: np.ndarray) -> bool:
    """Whether a rebate lies along enough of the film's outline; edges of the scan count."""
    inner = cv2.erode(film.astype(np.uint8), np.ones((9, 9), np.uint8), borderValue=0)
    outline = film & (inner == 0)
    near = cv2.dilate(like.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return bool((near & outline).sum() >= OUTLINE * max(1, outline.sum()))


def _goes_across(like: np.ndarray, film: np.ndarray) -> bool:
    """Whether it fills whole rows or columns of film."""
    for axis in (0, 1):
        there = film.sum(axis=axis)
        full = (like.sum(axis=axis) >= ACROSS * there) & (there > 0.3 * film.shape[axis])
        if (there * full).sum() >= LEAST_SHARE * film.size:
            return True
    return False


def plan_inversion(linear: np.ndarray, base: Base) -> Inversion:
    """An interpretation of a negative whose film is not known: each channel's own range becomes black to white.

    Parameters
    ----------
    linear : ndarray, shape (..., 1 or 3)
        Linear light of the picture alone.
    base : Base
        As found.
    """
    over = (density(linear) - base.density).reshape(-1, len(base.density))
    picture = over[(over.mean(axis=1) > NEAR) & (over.mean(axis=1) < HOLDER)]
    if picture.shape[0] < 100:
        picture = over
    top = np.maximum(np.percentile(picture, ENDS[1], axis=0), 0.1)
    own = picture / top
    share = own.mean(axis=1)
    lowest, middle = float(np.percentile(share, ENDS[0])), float(np.median(share))
    blacks = 10 ** (RANGE * (lowest - 1))
    grey_at = (10 ** (RANGE * (middle - 1)) - blacks) / (1 - blacks)
    chosen = int(np.argmin(np.abs(grey_at - MIDDLE)))
    decades, black = float(RANGE[chosen]), float(blacks[chosen])
    even = np.abs(own - own.mean(axis=1, keepdims=True)).max(axis=1)
    grey = len(base.density) == 1 or bool(np.ptp(base.density) < 0.15 and np.percentile(even, 95) < 0.06)
    contrast = tuple(float(v) for v in top / decades)
    return Inversion(base=base.density, contrast=contrast, white=(decades,) * len(contrast), black=black, grey=grey)


def positive(linear: np.ndarray, how: Inversion) -> np.ndarray:
    """The light that a negative saw, 1 for white, not cut at either end.

    Parameters
    ----------
    linear : ndarray, shape (..., channels)
    """
    decades = (density(linear) - how.base) / np.asarray(how.contrast) - how.white
    return (10**decades - how.black) / (1 - how.black)
