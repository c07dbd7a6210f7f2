"""Sides that hardly stand out from the lid: a border or a sky just as white. The size that the other sides leave open
says where to look, and there a step of a fraction of a code, seen along the whole side, is enough."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.seams_sizes import Papers, paper_sides
from takeup.measure.scan.shapes import flattened
from takeup.measure.scan.sides import Box, Fitted, side_of, stretched
from takeup.measure.scan.sides_step import SEEN, Side

FARTHEST_IN = 3.2  # how much of a print may be hidden by a sky as white as the lid
NEAR_MM, OFF_MM = 1.2, 0.8  # papers are cut to a millimetre: of the sides seen, and of the one looked for
BORDER_IN, WIDEST_IN = 0.08, 0.36  # a border that tells of one at the other sides
ALIKE_IN = 0.05  # by which borders of one print differ
SHADED_IN = 0.035  # next to a side its shadow and the lens leave no even line
PALE = 12.0  # codes that a border which could be lost on the lid lies from it


def by_size(
    away: np.ndarray, others: np.ndarray, fitted: Fitted, which: int, papers: Papers, noise: float,
    inward_px: float = 0.0,
) -> Fitted | None:  # fmt: skip
    """A print with one side moved to where its paper would end by its size and a weak step is seen; None when there is
    none.

    Parameters
    ----------
    away, others : ndarray
        The miniature less its lid, and where other prints lie.
    fitted : Fitted
        The print as far as it was seen.
    which : int
        The side (0 top, 1 right, 2 bottom, 3 left).
    papers : Papers
        The sizes that prints have.
    noise : float
        Spread of one lid pixel [codes].
    inward_px : float
        How far inside it may be looked for too.
    """
    if papers.per_inch is None:
        return None
    scale = papers.per_inch / 25.4
    now, across = fitted.box.height, fitted.box.width
    if which % 2:
        now, across = across, now
    ends = [end * scale - now for end in paper_sides(across / scale, papers, NEAR_MM)]
    reach = OFF_MM * scale
    found = []
    for end in ends:
        if 3.0 < abs(end) <= FARTHEST_IN * papers.per_inch and end >= -inward_px:
            side = _near(away, others, fitted.box, which, end, reach, noise)
            if side is not None:
                found.append(side)
    best = max(found, key=lambda side: side.sure, default=None)
    return None if best is None else _moved_out(fitted, which, best.offset)


def _near(
    away: np.ndarray, others: np.ndarray, box: Box, which: int, offset: float, reach: float, noise: float
) -> Side | None:
    """A side so near to where it is expected; else None."""
    side = side_of(
        away, others, box, which, noise=noise, outward=max(0.0, offset + reach), inward=max(0.0, reach - offset),
        near=((offset,), reach),
    )  # fmt: skip
    return None if side.sure < 1 or side.ramp or abs(side.offset - offset) > reach + 1.0 else side


def by_border(
    away: np.ndarray, others: np.ndarray, fitted: Fitted, which: int, width: float, noise: float
) -> Fitted | None:
    """A print with one side further out by the width of its other borders, where a weak step is seen; else None."""
    side = _near(away, others, fitted.box, which, width, 0.3 * width, noise)
    return None if side is None else _moved_out(fitted, which, side.offset)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bare:
    """Sides (0 top, 1 right, 2 bottom, 3 left) at which a print ends with its picture, while it has a pale border of a
    width [px] at others: the border there may be lost on the lid."""

    sides: tuple[int, ...] = ()
    width: float = 0.0


def without_border(away: np.ndarray, box: Box, noise: float, per_inch: float) -> Bare:
    """The sides where a border is missing that two others or more have."""
    flat = flattened(away, box)
    grey = flat if flat.ndim == 2 else cv2.transform(flat, np.full((1, flat.shape[2]), 1 / flat.shape[2], np.float32))
    if min(grey.shape) < 1.5 * WIDEST_IN * per_inch:
        return Bare()
    widths = [_border(np.rot90(grey, n), noise, per_inch) for n in range(4)]
    wide = [width for width in widths if BORDER_IN * per_inch <= width <= WIDEST_IN * per_inch]
    if len(wide) < 2 or max(wide) - min(wide) > ALIKE_IN * per_inch:
        return Bare()
    sides = tuple(n for n in range(4) if widths[n] < 0.5 * BORDER_IN * per_inch)
    return Bare(sides=sides, width=float(np.median(wide)))


def _border(grey: np.ndarray, noise: float, per_inch: float) -> float:
    """How many lines at the top are pale and even; endless where they go on past any border."""
    most = int(WIDEST_IN * per_inch) + 4
    ends = max(2, int(0.08 * grey.shape[1]))
    first = max(3, round(SHADED_IN * per_inch))
    lines = cv2.blur(np.ascontiguousarray(grey[first:most, ends:-ends]), (9, 1))
    low, level, high = np.percentile(lines, [10, 50, 90], axis=1)
    pale = (high - low <= 3.0 + 2.0 * noise) & (np.abs(level) <= PALE)
    if not pale[0]:
        return 0.0
    return float(np.argmin(pale)) + first if not pale.all() else np.inf


def unseen(fitted: Fitted, which: int) -> Fitted:
    """The same with one side told as not seen."""
    covered = list(fitted.covered)
    covered[which] = min(covered[which], 0.5 * SEEN)
    return replace(fitted, covered=(covered[0], covered[1], covered[2], covered[3]))


def _moved_out(fitted: Fitted, which: int, offset: float) -> Fitted:
    moved = [0.0] * 4
    moved[which] = offset
    sure, covered, ramps = list(fitted.sure), list(fitted.covered), list(fitted.ramps)
    sure[which], covered[which], ramps[which] = 1.0, SEEN, False
    return replace(
        fitted,
        box=stretched(fitted.box, (moved[0], moved[1], moved[2], moved[3])),
        sure=(sure[0], sure[1], sure[2], sure[3]),
        covered=(covered[0], covered[1], covered[2], covered[3]),
        ramps=(ramps[0], ramps[1], ramps[2], ramps[3]),
    )
