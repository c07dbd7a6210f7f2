"""Prints mounted on one page of an album that lies on the glass: the page has an even card round its prints, and what
lies on it is found as on a lid, with the card as ground."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.crossing import crossing_apart
from takeup.measure.scan.lid import Lid, lid
from takeup.measure.scan.pictures_fitted import CLEAR, each_shape, upright, without_inner
from takeup.measure.scan.seams_sizes import Papers
from takeup.measure.scan.shapes import Shape, flattened, outlines, part_of
from takeup.measure.scan.sides import Box, Fitted, stretched

SHORT_IN, LONG_IN = 5.5, 7.0  # a smaller page holds no two prints
RIM_IN = 0.03  # where page, shadow and lid mix
CARD_IN = 0.12  # the band along each of a page's sides that must be card
CARD, CODES = 0.8, 6.0  # share of each side's band within so many codes of the card
PRINT_IN = (
    1.9  # the shorter side of the smallest print that is cut: a contact print's frames, a chart's patches are smaller
)
LEAST = 2  # prints: one alone in an even frame is a picture in its mat, or a print with a wide border
LOOSE = 0.04  # of a page, at most, stands out beside its prints: writing under them, corners, no columns of text


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What lies on a page: prints as they were found, and what a person must cut."""

    prints: tuple[Fitted, ...]
    doubtful: tuple[Box, ...]


def on_page(
    pixels: np.ndarray,
    page: Fitted,
    per_inch: float,
    papers: Papers,
    standing_out: Callable[[np.ndarray, Lid], np.ndarray],
) -> Page | None:
    """The prints on a page of an album; None where a picture is no such page.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, channels), uint8
        The miniature.
    page : Fitted
        A picture on the bed, tilted by less than 45 degrees.
    per_inch : float
        Miniature pixels per inch.
    papers : Papers
        The sizes that prints have.
    standing_out : callable
        From codes less their ground, and the ground, to a mask of what stands out.
    """
    sides = sorted((page.box.width, page.box.height))
    if sides[0] < SHORT_IN * per_inch or sides[1] < LONG_IN * per_inch or min(page.covered) < CLEAR:
        return None
    rim = -max(3.0, RIM_IN * per_inch)
    card = stretched(page.box, (rim, rim, rim, rim))
    flat = np.ascontiguousarray(flattened(pixels, card))
    flat = flat if flat.ndim == 3 else flat[..., None]
    ground = lid(flat)
    if ground is None or not _is_card(flat, ground, per_inch):
        return None
    away = flat.astype(np.float32) - ground.level
    mask = standing_out(away, ground)
    shapes = outlines(mask, least_px=0.55 * per_inch)
    found, unsure, other = each_shape(away, mask, shapes, ground, per_inch, papers)
    apart, crossed = crossing_apart(without_inner(found), away, mask, ground, per_inch, papers)
    prints = [fitted for fitted in map(upright, apart) if _is_mounted(fitted, flat.shape, per_inch)]
    if len(prints) < LEAST or len(prints) < len(apart) or _loose(mask, prints, unsure, crossed) > LOOSE:
        return None
    doubtful = [_upright_box(shape) for shape in unsure] + list(crossed)
    return Page(
        prints=tuple(replace(one, box=_on_bed(one.box, card)) for one in prints),
        doubtful=tuple(_on_bed(box, card) for box in doubtful),
    )


def _is_card(flat: np.ndarray, ground: Lid, per_inch: float) -> bool:
    """Whether one even tone runs along all four sides of a page."""
    band = max(3, round(CARD_IN * per_inch))
    near = (np.abs(cv2.blur(flat, (3, 3)).reshape(flat.shape) - ground.level) <= CODES).all(axis=2)
    return all(float(part.mean()) >= CARD for part in (near[:band], near[-band:], near[:, :band], near[:, -band:]))


def _is_mounted(fitted: Fitted, shape: tuple[int, ...], per_inch: float) -> bool:
    """Whether all four sides of a print are seen and it lies wholly on the page."""
    corners = fitted.box.corners()
    whole = bool((corners >= 1).all() and (corners <= np.array(shape[1::-1]) - 1).all())
    large = min(fitted.box.width, fitted.box.height) >= PRINT_IN * per_inch
    return whole and large and min(fitted.covered) >= CLEAR and not any(fitted.ramps)


def _loose(mask: np.ndarray, prints: list[Fitted], unsure: list[Shape], crossed: list[Box]) -> float:
    """The share of a page that stands out beside all prints."""
    rest = mask.copy()
    for box in [one.box for one in prints] + [shape.box for shape in unsure] + crossed:
        grown = stretched(box, (6.0, 6.0, 6.0, 6.0))
        cv2.fillConvexPoly(rest, np.rint((grown.corners() - 0.5) * 16).astype(np.int32), 0, shift=4)
    return float((rest > 0).mean())


def _upright_box(shape: Shape) -> Box:
    low, high = shape.contour.min(axis=0), shape.contour.max(axis=0) + 1
    x, y = (low + high) / 2
    return Box(x=float(x), y=float(y), width=float(high[0] - low[0]), height=float(high[1] - low[1]), tilt=0.0)


def _on_bed(box: Box, card: Box) -> Box:
    """A box on the straightened card where it lies on the bed."""
    scale_x, scale_y = card.width / max(1, round(card.width)), card.height / max(1, round(card.height))
    middle = part_of(card, box.x * scale_x, box.y * scale_y, box.x * scale_x, box.y * scale_y)
    tilt = (box.tilt + card.tilt + 45) % 90 - 45
    turned = round((box.tilt + card.tilt - tilt) / 90) % 2
    width, height = (box.height, box.width) if turned else (box.width, box.height)
    return Box(x=middle.x, y=middle.y, width=width, height=height, tilt=tilt)
