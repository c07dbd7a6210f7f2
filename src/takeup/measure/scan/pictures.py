"""Finds the prints on a bed and their outer corners; what cannot be told apart is given back as unsure, never cut.

Steps: the lid is modelled (``lid``), what stands out from it is outlined (``shapes``), shapes of several touching
prints are taken apart along their seams (``seams``), every side is moved to where the paper truly ends (``sides``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.album_page import on_page
from takeup.measure.scan.crossing import crossing_apart
from takeup.measure.scan.lid import Lid, lid
from takeup.measure.scan.limits import dark_frame, over_limits
from takeup.measure.scan.pictures_fitted import CLEAR, each_shape, is_scene, upright, without_inner
from takeup.measure.scan.seams_sizes import Papers, has_known_size
from takeup.measure.scan.shapes import Shape, outlines
from takeup.measure.scan.sides import Box, Fitted, stretched
from takeup.measure.scan.written import signs_on

WRITTEN = 300  # marks as tall as letters: a lid's specks and hairs are fewer, a page of text has thousands


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One print on the bed. ``corners`` in scan pixels as the contract counts them; ``meets``: the bed's limits that it
    reaches (top, right, bottom, left); ``sure``: sides that were seen, of four; ``clear``: every side that meets no
    limit is seen along most of its length."""

    corners: tuple[tuple[float, float], ...]
    tilt: float
    meets: tuple[bool, bool, bool, bool]
    sure: int
    clear: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """All pictures of a scan. ``ground`` is "lid" when prints were seen lying on it, "whole" when the picture fills
    the scan, "empty" when only lid is seen. ``unsure``: boxes (x, y, width, height) [scan pixels] a person must cut.
    ``pages``: album pages whose prints were found on them; they are none of the prints."""

    prints: tuple[Print, ...]
    unsure: tuple[tuple[float, float, float, float], ...]
    ground: str
    noise: float = 0.0
    pages: tuple[Print, ...] = ()


def pictures(
    pixels: np.ndarray, block: int, size: tuple[int, int], *, ppi: float | None, many: bool, papers: Papers,
    framed: bool = True,
) -> Pictures:  # fmt: skip
    """Find the pictures of a scan.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, channels), uint8
        The miniature.
    block : int
        Scan pixels per miniature pixel.
    size : (int, int)
        Width and height of the scan [px].
    ppi : float or None
        The scan's resolution as far as it is known; without it sizes are told from the scan's own.
    many : bool
        Whether several pictures may lie on one scan (prints, slides); otherwise one page is looked for.
    papers : Papers
        The sizes that prints have (rows ``scan.papers``).
    framed : bool
        Whether an even dark frame round all is the scanner's own; of film it is the mount, which pictures lie on.
    """
    whole = whole_scan(size)
    frame = dark_frame(pixels, ppi / block if ppi else max(pixels.shape[:2]) / 14.0)
    if framed and any((frame.top, frame.right, frame.bottom, frame.left)):
        rows, columns = pixels.shape[:2]
        glass = pixels[frame.top : rows - frame.bottom, frame.left : columns - frame.right]
        return _on_glass(glass, (frame.left, frame.top), block, size, ppi=ppi, many=many, papers=papers)
    ground = lid(pixels)
    if ground is None:
        return Pictures(prints=(whole,), unsure=(), ground="whole")
    per_inch = ppi / block if ppi else max(pixels.shape[:2]) / 14.0
    away = cv2.subtract(pixels, ground.level, dtype=cv2.CV_32F).reshape(pixels.shape)
    mask = _standing_out(away, ground)
    shapes = outlines(mask, least_px=min(0.55 * per_inch, 0.1 * min(pixels.shape[:2])))
    if not shapes:
        blank = ground.share > 0.95 and mask.mean() < 255 * 0.004
        return Pictures(prints=() if blank else (whole,), unsure=(), ground="empty" if blank else "whole")
    known = replace(papers, per_inch=per_inch if ppi else None)
    found, unsure, other = each_shape(away, mask, shapes, ground, per_inch, known, many=many)
    if is_scene(found, unsure, other):
        return Pictures(prints=(whole,), unsure=(), ground="whole")
    if not many and (unsure or len(found) != 1 or _is_written(away, found, ground, per_inch)):
        return Pictures(prints=(whole,), unsure=(), ground="whole")
    apart, doubtful = crossing_apart(without_inner(found), away, mask, ground, per_inch, known)
    fitted = [_to_limits(upright(one), away, mask, ground, per_inch, papers) for one in apart]
    leaves = [on_page(pixels, one, per_inch, known, _standing_out) if many and ppi else None for one in fitted]
    pages = [one for one, leaf in zip(fitted, leaves, strict=True) if leaf is not None]
    fitted = [one for one, leaf in zip(fitted, leaves, strict=True) if leaf is None]
    for leaf in leaves:
        fitted += leaf.prints if leaf is not None else ()
        doubtful += leaf.doubtful if leaf is not None else ()
    by_hand: list[Shape | Box] = [*unsure, *doubtful]
    boxes = tuple(_unsure_box(one, block, size) for one in by_hand)
    prints, whole_pages = (tuple(_as_print(one, block, size) for one in some) for some in (fitted, pages))
    return Pictures(
        prints=reading_order(prints), unsure=boxes, ground="lid", noise=ground.noise, pages=reading_order(whole_pages)
    )


def _is_written(away: np.ndarray, found: list[Fitted], ground: Lid, per_inch: float) -> bool:
    """Whether the one thing found lies on the page that was looked for: a picture among its lines, a margin."""
    return signs_on(away, [fitted.box for fitted in found], ground.noise, per_inch) >= WRITTEN


def _on_glass(
    glass: np.ndarray, start: tuple[int, int], block: int, size: tuple[int, int], *, ppi: float | None, many: bool,
    papers: Papers,
) -> Pictures:  # fmt: skip
    """The pictures inside a dark frame, in the coordinates of the whole scan; without a lid the scan is one picture."""
    inner = (glass.shape[1] * block, glass.shape[0] * block)
    dx, dy = start[0] * block, start[1] * block
    if min(glass.shape[:2]) < 32 or lid(glass) is None:
        return Pictures(prints=(whole_scan(size),), unsure=(), ground="whole")
    found = pictures(np.ascontiguousarray(glass), block, inner, ppi=ppi, many=many, papers=papers)
    if found.ground == "whole":
        return Pictures(prints=(whole_scan(size),), unsure=(), ground="whole")
    prints, pages = (
        tuple(replace(one, corners=tuple((x + dx, y + dy) for x, y in one.corners)) for one in some)
        for some in (found.prints, found.pages)
    )
    unsure = tuple((x + dx, y + dy, width, height) for x, y, width, height in found.unsure)
    return replace(found, prints=prints, unsure=unsure, pages=pages)


def whole_scan(size: tuple[int, int]) -> Print:
    """The whole scan as one picture."""
    width, height = float(size[0]), float(size[1])
    corners = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    return Print(corners=corners, tilt=0.0, meets=(True, True, True, True), sure=0)


BLUR, BLUR_REACH = 1.2, 8  # px, of what stands out, and more than how far that reaches
AT_ONCE = 512  # rows


def _standing_out(away: np.ndarray, ground: Lid) -> np.ndarray:
    """Where the scan differs from its lid by more than the lid differs from itself (uint8 mask)."""
    limit = max(2.2, 2.0 * ground.noise)
    rows, columns = away.shape[:2]
    channels = away.shape[2] if away.ndim == 3 else 1
    mask: np.ndarray = np.empty((rows, columns), np.uint8)
    for top in range(0, rows, AT_ONCE):  # in parts, for their memory
        first, last = max(top - BLUR_REACH, 0), min(top + AT_ONCE, rows)
        soft = cv2.GaussianBlur(away[first : last + BLUR_REACH], (0, 0), BLUR)[top - first : last - first]
        together = cv2.transform(soft, np.ones((1, channels), np.float32))
        near = cv2.inRange(together, -limit * channels, limit * channels)
        each = cv2.inRange(soft, (-1.4 * limit,) * channels, (1.4 * limit,) * channels)
        cv2.bitwise_not(cv2.bitwise_and(near, each), mask[top:last])
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    filled = np.zeros_like(mask)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    cv2.drawContours(filled, contours, -1, 255, cv2.FILLED)
    return cv2.morphologyEx(filled, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9)))


def _to_limits(
    fitted: Fitted, away: np.ndarray, mask: np.ndarray, ground: Lid, per_inch: float, papers: Papers
) -> Fitted:
    """A print whose side was found short of the scan's limit, though its paper goes on to it, ends at the limit."""
    sized = replace(papers, per_inch=per_inch) if papers.per_inch is None else papers
    if min(fitted.covered) >= 0.9 and has_known_size(fitted.box, sized, 1.0):
        return fitted
    moved = over_limits(fitted.box, away, mask, ground.noise, per_inch)
    if not any(moved):
        return fitted
    box = stretched(fitted.box, moved)
    sure = tuple(0.0 if far else sure for far, sure in zip(moved, fitted.sure, strict=True))
    return Fitted(box=box, sure=sure, covered=fitted.covered)  # type: ignore[arg-type]


def _as_print(fitted: Fitted, block: int, size: tuple[int, int]) -> Print:
    box = fitted.box
    corners = box.corners() * block
    low, high = corners.min(0), corners.max(0)
    slack = 1.5 * block
    meets = (
        bool(low[1] <= slack), bool(high[0] >= size[0] - slack),
        bool(high[1] >= size[1] - slack), bool(low[0] <= slack),
    )  # fmt: skip
    return Print(
        corners=tuple((float(x), float(y)) for x, y in corners),
        tilt=float(box.tilt),
        meets=meets,
        sure=sum(sure >= 1 for sure in fitted.sure),
        clear=all(limit or covered >= CLEAR for limit, covered in zip(meets, fitted.covered, strict=True)),
    )


def _unsure_box(one: Shape | Box, block: int, size: tuple[int, int]) -> tuple[float, float, float, float]:
    points = one.contour if isinstance(one, Shape) else one.corners()
    low = np.maximum(points.min(0) * block, 0)
    high = np.minimum((points.max(0) + 1) * block, size)
    return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])


def reading_order(prints: tuple[Print, ...]) -> tuple[Print, ...]:
    """Row by row from the top, each row from the left: a print belongs to a row when its middle lies in the reach of
    the row's first print."""
    left = sorted(prints, key=lambda one: min(y for _, y in one.corners))
    ordered: list[Print] = []
    while left:
        first = left[0]
        low = min(y for _, y in first.corners)
        high = max(y for _, y in first.corners)
        row = [one for one in left if sum(y for _, y in one.corners) / 4 <= high and one is not None]
        row = [one for one in row if sum(y for _, y in one.corners) / 4 >= low] or [first]
        row.sort(key=lambda one: min(x for x, _ in one.corners))
        ordered.extend(row)
        left = [one for one in left if one not in row]
    return tuple(ordered)
