"""A deckle edge or a tear wanders about the straight line that was laid through it: such a side is put where its paper
reaches out, so that no tooth is cut away."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from takeup.measure.scan.sides import Box, Fitted, stretched

PARTS = 12
INSIDE, OUTSIDE = 5, 7  # pixels at both sides of the line in which the paper's end is looked for
CLEAR_STEP = 5.0  # times the noise of what is compared, by which the codes step at paper's end
WANDERS_PX = (
    0.35  # from the middle end to the tenth and the ninetieth per cent: straight paper keeps to 0.2, also faded
)
MOST = 0.5  # of a side's parts, that must show so much
SIDES = 2  # that wander, at least: the outer edge of one shadow is rough too where the paper is as dark
NEARLY_ALL = 0.75  # of a side's parts speak for themselves; such a shadow reaches 0.42
TIPS = 95.0  # per cent of the ends lie inside where a wandering side is put
FROM_LINE_PX = 1.2  # further from its line the ends that were seen are a shadow's


def at_teeth(away: np.ndarray, others: np.ndarray, fitted: Fitted, noise: float, held: tuple[bool, ...]) -> Fitted:
    """A print with its wandering sides moved outward to their outer teeth.

    Parameters
    ----------
    away, others : ndarray
        The miniature less its lid, and where other prints lie.
    fitted : Fitted
        The print, with the straight lines through its sides.
    noise : float
        Spread of one lid pixel [codes].
    held : four bool
        Sides that are seams and stay.
    """
    far = [_tips(wander(away, others, fitted.box, n, noise)) for n in range(4)]
    rough = [one for one in far if one is not None]
    if not rough or len(rough) < SIDES and rough[0][1] < NEARLY_ALL:
        return fitted
    as_others = float(np.median([tips for tips, _ in rough]))
    out = [max(0.0, as_others if one is None else one[0]) for one in far]
    top, right, bottom, left = (0.0 if stays else one for stays, one in zip(held, out, strict=True))
    return replace(fitted, box=stretched(fitted.box, (top, right, bottom, left)))


def wander(away: np.ndarray, others: np.ndarray, box: Box, which: int, noise: float) -> np.ndarray:
    """How far outside a side's line [px] the paper ends, at each pixel along it, in ``PARTS`` rows; NaN where no end is
    clear."""
    a = np.deg2rad(box.tilt + 90.0 * which)
    along, out = np.array([np.cos(a), np.sin(a)]), np.array([np.sin(a), -np.cos(a)])
    length, depth = (box.width, box.height) if which % 2 == 0 else (box.height, box.width)
    each = int(0.92 * length) // PARTS
    if each < 6:
        return np.full((PARTS, 1), np.nan)
    s = np.arange(each * PARTS) + 0.5 - each * PARTS / 2
    d = np.arange(-INSIDE - 2, OUTSIDE + 3).astype(float)
    middle = np.array([box.x, box.y]) + out * depth / 2
    xs, ys = (
        (middle[n] + np.outer(d, np.full_like(s, out[n])) + s * along[n] - 0.5).astype(np.float32) for n in range(2)
    )
    codes = cv2.remap(away, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    codes = cv2.blur(codes, (3, 1)).reshape(len(d), len(s), -1)
    steps = np.abs(codes[2:] - codes[:-2]).sum(axis=2) / 2
    steps = steps[1:-1]
    at = np.argmax(steps, axis=0)
    near = np.clip(at + np.arange(-1, 2)[:, None], 0, len(steps) - 1)
    mass = np.take_along_axis(steps, near, axis=0)
    ends = (d[2:-2][near] * mass).sum(axis=0) / np.maximum(mass.sum(axis=0), 1e-9)
    limit = CLEAR_STEP * noise * 1.73 * codes.shape[2] ** 0.5 / 2**0.5 / 3**0.5
    hidden = cv2.remap(others, xs, ys, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=255).any(axis=0)
    ends[(steps.max(axis=0) < limit) | hidden] = np.nan
    return ends.reshape(PARTS, each)


def _tips(ends: np.ndarray) -> tuple[float, float] | None:
    """How far outside its line a side's outer teeth end [px], and the share of its parts that wander; None where
    too few ends are clear, or they do not lie to both sides of their middle alike."""
    ends = ends[np.isfinite(ends).mean(axis=1) > 0.5]
    if len(ends) < PARTS // 2:
        return None
    low, middle, high, tips = _shares(ends, (0.1, 0.5, 0.9, TIPS / 100))
    rough = np.minimum(middle - low, high - middle)
    share = float((rough >= WANDERS_PX).mean())
    if np.median(rough) < WANDERS_PX or share < MOST:
        return None
    beside = abs(float(np.median(middle))) > FROM_LINE_PX
    return float(np.median(tips - middle if beside else tips)), share


def _shares(values: np.ndarray, shares: tuple[float, ...]) -> list[np.ndarray]:
    """``np.nanquantile`` of each row, all rows at once: shape (rows,) for each share."""
    ordered = np.sort(values, axis=1)  # those that are not there come last
    last = np.isfinite(values).sum(axis=1) - 1
    rows, found = np.arange(len(values)), []
    for share in shares:
        at = share * last
        below = np.floor(at).astype(int)
        low, high, part = ordered[rows, below], ordered[rows, np.minimum(below + 1, last)], at - below
        found.append(np.where(part < 0.5, low + (high - low) * part, high - (high - low) * (1 - part)))
    return found
