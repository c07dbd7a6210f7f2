"""What stands on a page: ink at all, or photographs and washes of grey that black and white alone would ruin."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

INK = 35  # codes darker than the paper round it
EDGE = 25  # one part in so many of the shorter side is left out all round: lid, holes, shadows
WIDE = 17  # pixels; wider than any stroke of print at 150 pixels per inch: what is left of the page is paper or tone
TONE = (0.22, 0.85)  # of the way from paper to ink: between them it is neither
LARGE = 31  # pixels, 5 mm: smaller spots of grey lie between the strokes of dense print
LEAST_SPAN = 100.0  # codes from paper to ink that are reckoned with on a page that has no ink


@dataclass(frozen=True, slots=True, kw_only=True)
class PageLook:
    """Shares of the page: ``ink`` clearly darker than its surroundings, ``tone`` of even grey as photographs have."""

    ink: float
    tone: float


def page_look(grey: np.ndarray) -> PageLook:
    """What stands on a page.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        The page at about 150 pixels per inch, dark on light.

    Notes
    -----
    A median over more than the width of any stroke leaves the paper where print stands, and the grey of photographs,
    screened ones too; large black letters and a dark lid stay as dark as ink and are not counted.
    """
    edge = max(4, min(grey.shape) // EDGE)
    inner = np.ascontiguousarray(grey[edge:-edge, edge:-edge])
    if inner.size == 0:
        return PageLook(ink=0.0, tone=0.0)
    even = cv2.medianBlur(inner, WIDE)
    ink = float((cv2.subtract(even, inner) > INK).mean())
    paper, darkest = float(np.percentile(even, 90)), float(np.percentile(inner, 0.5))
    span = max(LEAST_SPAN, paper - darkest)
    tone = (even < paper - TONE[0] * span) & (even > paper - TONE[1] * span)
    large = cv2.morphologyEx(tone.astype(np.uint8), cv2.MORPH_OPEN, np.ones((LARGE, LARGE), np.uint8))
    return PageLook(ink=ink, tone=float(large.mean()))


def cut_by_turning(grey: np.ndarray, tilt: float) -> bool:
    """Whether straightening a page within its own frame would push anything but plain paper out of it.

    Parameters
    ----------
    tilt : float
        The page's turn, clockwise as seen [degrees].
    """
    rows, columns = grey.shape
    turn = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), -tilt, 1.0)
    seen = cv2.warpAffine(np.full_like(grey, 255), turn, (columns, rows), flags=cv2.INTER_NEAREST)
    paper = float(np.median(grey))
    return bool(((seen == 0) & (np.abs(grey.astype(np.int16) - paper) > INK)).sum() > 4)


def densest_band(grey: np.ndarray, share: float = 0.3) -> tuple[float, float]:
    """The band across a page with most ink in it: where it begins and ends, as shares of the page's height."""
    rows = grey.shape[0]
    high = max(1, int(rows * share))
    ink = (cv2.subtract(cv2.medianBlur(np.ascontiguousarray(grey), WIDE), grey) > INK).sum(1, dtype=np.float64)
    summed = np.concatenate([[0.0], np.cumsum(ink)])
    top = int(np.argmax(summed[high:] - summed[:-high]))
    return top / rows, (top + high) / rows
