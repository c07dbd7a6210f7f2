"""Sharpness of a page from its printing: letters are one tone on another, so what lies between the two is the blur.

The outline of the ink is taken where a scan is half dark, between its pixels; blurring that outline until it looks like
the scan tells how much the scan was blurred, across and down apart.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.edges import LUMINANCE
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.windows import Place, Window

PURPOSE = "text"
SIDE = 224  # of a window [px]
MOST = 2
FINER = 4
ROUNDS = 4
MARGIN = 8
LEAST_CODES = 50.0  # ink darker than paper
LEAST_FIT = 0.95  # share of what happens along the outlines that the blurred outline explains
SURE_FIT = 0.985
WIDEST_STROKE = SIDE / 4  # px: wider is no letter
ONE_WAY = 0.3  # of how often ink ends the other way: letters reach half and more
LEAST_STROKE = 1.8  # width of the strokes in blurs: under it the outline is lost, and the blur is at least as told
FINENESS = np.linspace(0.002, 0.5, 250)


@dataclass(frozen=True, slots=True, kw_only=True)
class TextEdges:
    """``across``, ``down``: cycles/pixel where half the contrast is left (at most 0.5); ``fit``: share explained;
    ``stroke_px``: usual width of a stroke; ``sure``: the strokes are wide enough to tell, else the page is at least so
    soft; ``place``: where."""

    across: float
    down: float
    fit: float
    stroke_px: float
    sure: bool
    place: Place


def text_places(first: FirstLook) -> tuple[Place, ...]:
    """The parts of a page that hold the most outlines of dark ink on light paper."""
    small, block = first.small.pixels, first.small.block
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY) if small.shape[2] == 3 else small[..., 0]
    side = SIDE // block
    if min(grey.shape) < side or side < 8:
        return ()
    change = np.abs(cv2.Laplacian(grey, cv2.CV_32F, ksize=1 if block > 1 else 3))
    much = cv2.boxFilter(np.minimum(change, 120.0), -1, (side, side))
    half = side // 2 + 1
    rest = np.zeros_like(much)
    rest[half:-half, half:-half] = much[half:-half, half:-half]
    found = []
    for _ in range(MOST):
        _, value, _, (x, y) = cv2.minMaxLoc(rest)
        if value < 1.0:
            break
        left, top = int((x - side / 2) * block), int((y - side / 2) * block)
        left, top = min(max(left, 0), first.size[0] - SIDE), min(max(top, 0), first.size[1] - SIDE)
        found.append(Place(y=top, x=left, width=SIDE, height=SIDE, purpose=PURPOSE))
        rest[max(0, y - 2 * side) : y + 2 * side + 1, max(0, x - 2 * side) : x + 2 * side + 1] = 0
    return tuple(found)


def text_edges(windows: Iterable[Window], tone: np.ndarray | None) -> tuple[TextEdges, ...]:
    """Measure each window that holds clear print.

    Parameters
    ----------
    tone : ndarray or None
        Light for each code; None when codes are light.
    """
    found = []
    for window in windows:
        codes = window.pixels
        looks = [codes.astype(np.float32)] + ([tone[codes].astype(np.float32)] if tone is not None else [])
        greys = [look @ LUMINANCE.astype(np.float32) if look.shape[2] == 3 else look[..., 0] for look in looks]
        full = 65535.0 if codes.dtype.itemsize > 1 else 255.0
        told = _of(greys, full, window.place)
        if told is not None:
            found.append(told)
    return tuple(found)


def _of(greys: list[np.ndarray], full: float, place: Place) -> TextEdges | None:
    dark, light = np.percentile(greys[0], (1.5, 90))
    if (light - dark) * 255 / full < LEAST_CODES:
        return None
    fits = [ink_blur(grey) for grey in greys]
    if any(fit is None for fit in fits) or not _both_ways(greys[0], (dark + light) / 2):
        return None
    across, down, fit, stroke = np.array(fits, float).T
    if fit.min() < LEAST_FIT or stroke[0] > WIDEST_STROKE:
        return None
    return TextEdges(
        across=_half(across),
        down=_half(down),
        fit=float(fit.min()),
        stroke_px=float(stroke[0]),
        sure=bool(fit.min() >= SURE_FIT and stroke[0] >= LEAST_STROKE * max(across[0], down[0])),
        place=place,
    )


def _both_ways(grey: np.ndarray, half: float) -> bool:
    """Whether ink ends both across and down: a rule, or the edge of something, tells of one way only."""
    ink = (cv2.blur(grey, (3, 3)) < half).astype(np.int8)
    across, down = (int(np.count_nonzero(np.diff(ink, axis=axis))) for axis in (1, 0))
    return min(across, down) > ONE_WAY * max(across, down)


def _half(blurs: np.ndarray) -> float:
    return float(np.exp(np.mean([np.log(half_left(blur)) for blur in blurs])))


def half_left(sigma: float) -> float:
    """Where half the contrast is left after a Gaussian kernel of whole pixels and a pixel's own width: cycles/pixel, at
    most 0.5."""
    taps = np.arange(-24, 25)
    kernel = np.exp(-(taps**2) / (2 * sigma**2))
    left = np.cos(2 * np.pi * FINENESS[:, None] * taps) @ (kernel / kernel.sum()) * np.sinc(FINENESS)
    return float(np.interp(-0.5, -left, FINENESS))


def ink_blur(grey: np.ndarray) -> tuple[float, float, float, float] | None:
    """Blur of a page's print: across, down [px, beside the pixel's own width], share explained, usual stroke [px].

    Notes
    -----
    A blur thins narrow strokes and rounds corners where it is cut at half, so what the blurred outline leaves
    unexplained is added to the scan before its outline is taken again, some rounds long.
    """
    dark, light = (float(level) for level in np.percentile(grey, (1.5, 90)))
    shown, blur, fit, stroke = grey.astype(np.float32), np.log([0.8, 0.8]), 0.0, 0.0
    for turn in range(ROUNDS):
        cover, stroke = _inked(shown, (dark + light) / 2)
        if not 0.01 < cover.mean() < 0.6:
            return None
        near = cv2.dilate(cover, np.ones((7, 7), np.uint8)) - cv2.erode(cover, np.ones((7, 7), np.uint8)) > 0.5
        near[:MARGIN], near[-MARGIN:], near[:, :MARGIN], near[:, -MARGIN:] = False, False, False, False
        if near.sum() < 400:
            return None
        blur, fit = _fitted(cover, near, grey, blur, 0.5 if not turn else 0.25)
        model = cv2.GaussianBlur(cover, (0, 0), sigmaX=float(np.exp(blur[0])), sigmaY=float(np.exp(blur[1])))
        depth, light = np.polyfit(model[near], grey[near], 1)
        dark = light + depth
        shown = shown + (grey - (light + depth * model)).astype(np.float32)
    return float(np.exp(blur[0])), float(np.exp(blur[1])), fit, stroke


def _inked(shown: np.ndarray, half: float) -> tuple[np.ndarray, float]:
    """How much of each pixel lies within the outline of the ink; the usual width of a stroke [px]."""
    fine = cv2.resize(shown, None, fx=FINER, fy=FINER, interpolation=cv2.INTER_CUBIC)
    ink = (fine < half).astype(np.uint8)
    outline = cv2.morphologyEx(ink, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    stroke = 2 * float(ink.sum()) / max(float(outline.sum()) / 2, 1.0) / FINER
    return cv2.resize(ink.astype(np.float32), shown.shape[::-1], interpolation=cv2.INTER_AREA), stroke


def _fitted(
    cover: np.ndarray, near: np.ndarray, grey: np.ndarray, blur: np.ndarray, reach: float
) -> tuple[np.ndarray, float]:
    """The blur (logarithms, across and down) that makes an outline look most like the scan, and how alike it is."""
    seen = grey[near].astype(np.float64)
    total = float(((seen - seen.mean()) ** 2).sum())
    across, down = float(blur[0]), float(blur[1])

    def misfit(x: float, y: float) -> float:
        model = cv2.GaussianBlur(cover, (0, 0), sigmaX=float(np.exp(x)), sigmaY=float(np.exp(y)))[near].astype(float)
        model -= model.mean()
        power = float((model**2).sum())
        return total - float((model * seen).sum()) ** 2 / power if power else total

    for _ in range(4):
        across = _lower(lambda x: misfit(x, down), across, reach)  # noqa: B023
        down = _lower(lambda y: misfit(across, y), down, reach)  # noqa: B023
        reach *= 0.6
    return np.array([across, down]), 1 - misfit(across, down) / total


def _lower(cost, at: float, reach: float) -> float:  # type: ignore[no-untyped-def]
    """One step to the bottom of a parabola through three places."""
    low, middle, high = cost(at - reach), cost(at), cost(at + reach)
    curve = low - 2 * middle + high
    step = 0.5 * reach * (low - high) / curve if curve > 0 else (reach if high < low else -reach)
    return float(np.clip(at + np.clip(step, -reach, reach), np.log(0.15), np.log(6.0)))
