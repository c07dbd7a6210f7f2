"""How evenly the light falls on a page, by the ground between its letters: film has no lid to tell it by."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.polarity import BLOCK

LEAST_BLOCKS = 24
REACH = 0.4  # of the page, that the blocks must lie over in both directions
DARKEST = 30.0  # codes: a darker ground says nothing of the light
GAMMA = 2.2
PAPER, SOME = 0.6, 0.12  # of the paper's lightness, and of a row or column that is as light: there the page lies
BEYOND = 0.2  # of the letters' own reach, that the surface is followed beyond them: over the page's margins
PLACES = 24  # a side, at which the surface is summed up


@dataclass(frozen=True, slots=True)
class PageLight:
    """``uneven``: spread of the light over its mean, of a smooth surface through the ground all over the page [%]."""

    uneven: float
    blocks: int


def page_light(grey: np.ndarray, signs: np.ndarray) -> PageLight | None:
    """The evenness of the light on a page's own ground; None where too little of the page holds letters.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
    signs : ndarray
        What each block shows, from ``polarity.text_blocks``: its ground is the light side of dark letters, and the
        other way round.
    """
    main = 1 if (signs > 0).sum() >= (signs < 0).sum() else -1
    ys, xs = np.nonzero(signs == main)
    if ys.size < LEAST_BLOCKS or np.ptp(ys) < REACH * signs.shape[0] or np.ptp(xs) < REACH * signs.shape[1]:
        return None
    share = 75 if main > 0 else 25
    blocks = [grey[y * BLOCK : (y + 1) * BLOCK, x * BLOCK : (x + 1) * BLOCK] for y, x in zip(ys, xs)]
    ground = np.array([np.percentile(block, share) for block in blocks])
    if np.median(ground) < DARKEST:
        return None
    light = (ground / 255.0) ** GAMMA
    u, v = 2 * xs / max(signs.shape[1] - 1, 1) - 1, 2 * ys / max(signs.shape[0] - 1, 1) - 1
    terms = np.stack([np.ones(u.size), u, v, u * u, u * v, v * v], axis=1)
    weight = np.ones(u.size)
    for _ in range(4):  # blocks on another paper, or beside a fold, count for less
        fit = np.linalg.lstsq(terms * weight[:, None], light * weight, rcond=None)[0]
        rest = np.abs(light - terms @ fit)
        weight = 1 / np.maximum(rest / max(1.5 * float(np.median(rest)), 1e-6), 1.0)
    surface = _over_the_page(fit, u, v, grey if main > 0 else 255 - grey)
    return PageLight(100 * float(surface.std() / max(surface.mean(), 1e-6)), int(u.size))


def _over_the_page(fit: np.ndarray, u: np.ndarray, v: np.ndarray, grey: np.ndarray) -> np.ndarray:
    """The surface at places all over the page: light falls off most where its margins lie, and no letters."""
    light = cv2.blur(grey, (9, 9)) > PAPER * np.percentile(grey, 92)
    ends = []
    for at, axis in ((u, 0), (v, 1)):
        low, high = float(at.min()), float(at.max())
        there = np.flatnonzero(light.mean(axis=axis) > SOME)
        reach, size = BEYOND * (high - low), light.shape[1 - axis]
        first, last = (2 * (there[[0, -1]] + 0.5) / size - 1) if there.size else (low, high)
        ends.append((min(low, max(first, low - reach)), max(high, min(last, high + reach))))
    x, y = np.meshgrid(*(np.linspace(low, high, PLACES) for low, high in ends))
    surface: np.ndarray = np.stack([np.ones(x.shape), x, y, x * x, x * y, y * y], axis=-1) @ fit
    return np.maximum(surface, 0)
