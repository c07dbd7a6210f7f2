"""Faded dyes of a colour picture: whether a dye has gone, and how far, by what black, grey and white became.

A dye that fades keeps a share of its density; paper that yellows adds some. Where a picture once had black, greys and
white, its three densities rose together; now they lie on another straight line. Two readings of that line are made
that err in different ways, the ends of each channel and the ridge of the greys between them, and only where both say
the same is anything said. Pictures of one colour (a leaf, a flower, water) have no such line: nothing is said.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.scan.density import DARKEST, density

MOST = 12_000  # pixels of a sample
ENDS = (0.5, 99.5)  # per cent
DEEPEST = 3.2  # density over which 8 bits tell nothing
WIDTH, CLOSE = 0.04, 0.06  # how far from grey, of the whole range, a pixel half counts, and is called grey
EVEN = 0.75  # of the best dye's range: what a worse one has left when it is called faded
AGREE = 0.13  # by how much (natural logarithm) the two readings may differ
GREYS = 0.38  # of the pixels that must be grey
REACH = 0.7  # of the way to black that greys must be seen
PALEST = 2.6  # density that the black of a faded dye still reaches at most
BLACK = 1.6  # density that the best dye's black must reach
WHITE = 0.35  # density that the lightest places may have: without a white nobody knows where a dye's range begins
BETTER = 1.45  # by how much fading must explain the greys better than a veil of light
LIGHT = 0.25  # by how much the lightest places may differ, when undone
KEPT = 0.9  # what the best dye is taken to have kept: every dye loses some
STAIN = 0.13  # density of a stain that is taken off at most: more may be the picture's own


@dataclass(frozen=True, slots=True, kw_only=True)
class Fade:
    """``kept``: share of its density that each channel's dye has kept. ``stain``: density added. ``why``: why nothing
    is undone, or "": "grey", "even" (nothing faded), "unsure"."""

    kept: tuple[float, ...] = ()
    stain: tuple[float, ...] = ()
    why: str = ""


def find_fade(linear: np.ndarray) -> Fade:
    """How far the dyes of a colour picture have faded.

    Parameters
    ----------
    linear : ndarray, shape (..., channels)
        Linear light of the picture alone, without its border.
    """
    if linear.shape[-1] != 3:
        return Fade(why="grey")
    d = density(linear).reshape(-1, 3)
    d = d[:: len(d) // MOST + 1]
    low, high = np.percentile(d, ENDS[0], axis=0), np.percentile(d, ENDS[1], axis=0)
    reach = np.maximum(high - low, 1e-3)
    if np.percentile(np.ptp(d - low, axis=1), 95) < 0.03:
        return Fade(why="grey")
    slope, start = _ridge(d, low, reach)
    if slope is None:
        return Fade(why="unsure")
    best = int(np.argmax(slope * reach))
    ends, ridge = reach / reach[best], slope / slope[best]
    ratio = ends**0.7 * ridge**0.3  # the ends err less where a picture is colourful
    if ratio.min() > EVEN:
        return Fade(why="even")
    own = (d - start) / slope
    grey = np.sqrt(((own - own.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)) < CLOSE
    worst = int(np.argmin(ridge))
    sure = (
        np.abs(np.log(ends / ridge)).max() <= AGREE
        and grey.mean() >= GREYS
        and np.percentile(own.mean(axis=1)[grey], 98) >= REACH
        and high[worst] <= PALEST
        and high[best] >= BLACK
        and np.ptp(low / ratio) <= LIGHT
        and low.max() <= WHITE
        and not _is_veil(d[grey, best], d[grey, worst])
    )
    if not sure:
        return Fade(why="unsure")
    return Fade(kept=tuple(float(v) for v in KEPT * ratio), stain=tuple(float(v) for v in np.clip(low, 0, STAIN)))


def _is_veil(x: np.ndarray, y: np.ndarray) -> bool:
    """Whether light that fell on the picture explains the densities of its greys about as well as a dye that faded.

    Light adds to light, so under a veil the light of two channels lies on a straight line; fading divides densities, so
    there their densities do. Both lines are drawn through the greys, and held against the densities.
    """
    slope, start = np.polyfit(x, y, 1)
    faded = np.abs(y - slope * x - start).mean()
    light = 10.0**-x
    veils = np.linspace(0, float(np.percentile(10.0**-y, 2)), 40)[:-1]
    veiled = []
    for veil in veils:
        gain = 10.0 ** np.median(np.log10(np.maximum(10.0**-y - veil, DARKEST)) - np.log10(light))
        veiled.append(np.abs(y + np.log10(gain * light + veil)).mean())
    return bool(min(veiled) < BETTER * faded)


def _ridge(d: np.ndarray, low: np.ndarray, reach: np.ndarray) -> tuple[np.ndarray | None, np.ndarray]:
    """The line of greys: densities = start + slope * t. Robust least squares; dark and light count alike."""
    x = d[(d < DEEPEST).all(axis=1) & (d > low - 0.02).all(axis=1)]
    slope, start = reach, low
    if x.shape[0] < 200:
        return None, low
    for _ in range(30):
        own = (x - start) / slope
        t = own.mean(axis=1)
        weight = 1 / (1 + ((own - t[:, None]) ** 2).sum(axis=1) / WIDTH**2) ** 2
        step = np.clip((t * 20).astype(int), 0, 19)
        there = np.bincount(step, weight, 20)
        weight = weight / np.maximum(there[step], 0.2 * there.mean())
        total = weight.sum()
        middle, centre = (weight * t).sum() / total, (weight[:, None] * x).sum(axis=0) / total
        across = t - middle
        spread = (weight * across**2).sum()
        if spread <= 0:
            return None, low
        fresh = (weight[:, None] * across[:, None] * (x - centre)).sum(axis=0) / spread
        if (fresh <= 0).any():
            return None, low
        moved = np.abs(fresh - slope).max()
        slope, start = fresh, centre - fresh * middle
        if moved < 1e-4:
            break
    return slope, start


def undo_fade(linear: np.ndarray, fade: Fade) -> np.ndarray:
    """The same light with every dye brought back, never lighter than white."""
    d = (density(linear) - fade.stain) / np.asarray(fade.kept)
    return 10 ** -np.maximum(d, 0)
