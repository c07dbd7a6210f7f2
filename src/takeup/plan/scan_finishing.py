"""What is made of a scan: which pictures, what they are called, how far outside a print the knife goes. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from takeup.plan.arranging import Placed, found_pictures, mark_of, squared
from takeup.streams import Original, Report, StillImage
from takeup.tables.rows import Rows

MM_PER_INCH = 25.4
ALBUM = ("album", "scrapbook", "相册", "影集", "相簿")  # as item lists say it
PAGES = ("document", "newspaper", "microfilm", "microfiche")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPicture:
    """One picture of a scan. ``id`` is empty when it is the item itself: its only scan, with one picture on it.

    ``turn``: quarter turns clockwise of its everyday copy. ``back_of``: id of the picture whose back it is. ``mark``
    changes when its files are to be made anew.
    """

    id: str
    name: str  # what its files are called
    corners: tuple[tuple[float, float], ...]
    tilt: float
    turn: int = 0
    back_of: str = ""
    mark: str = ""
    found: bool = False  # its corners are those that the check measured


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanPlan:
    """``whole``: the whole scan gets an everyday copy of its own. ``unsure``: how many places a person must cut."""

    pictures: tuple[PlannedPicture, ...]
    whole: bool
    unsure: int


def plan_pictures(name: str, report: Report | None, *, item: str, arranged: Sequence[Placed] | None = None) -> ScanPlan:
    """The pictures to cut from one scan, in the reading order the check found them in, or as a person arranged them.

    Parameters
    ----------
    name : str
        What the scan's finished files are called: the item's id and the part.
    report : Report or None
        Its check.
    item : str
        The item's id: a picture that is one of several of the item has an id of its own, which ``describe`` can name.
    arranged : sequence of Placed, optional
        What a person set right; then nothing is left unsure.
    """
    measured = report.measures.get("pictures") if report else None
    found = measured.value if measured is not None and measured.value else []
    extra: Mapping[str, Any] = measured.extra if measured is not None else {}
    unsure = len(extra.get("unsure", ())) if arranged is None else 0
    first = found_pictures(report)
    standing = first if arranged is None else tuple(one for one in arranged if not one.gone)
    if not standing:
        return ScanPlan(pictures=(), whole=True, unsure=unsure)
    alone = len(standing) == 1 == len(first if arranged is None else arranged) and not unsure
    tilts = {one.corners: float(told["tilt"] or 0.0) for one, told in zip(first, found)}
    pictures = tuple(_planned(one, name, item, tilts.get(one.corners), alone=alone) for one in standing)
    return ScanPlan(pictures=pictures, whole=bool(unsure or extra.get("pages")), unsure=unsure)


def _planned(one: Placed, name: str, item: str, tilt: float | None, *, alone: bool) -> PlannedPicture:
    """A picture that the check found and nobody moved is cut as the check measured it; a moved one is squared."""
    corners, by_hand = squared(one.corners)
    return PlannedPicture(
        id=own_id(name, item) if alone else f"{name}-{one.number}",
        name=f"{name}-cut" if alone else f"{name}-{one.number}",
        corners=corners if tilt is None else one.corners,
        tilt=by_hand if tilt is None else tilt,
        found=tilt is not None,
        turn=one.turn,
        back_of=one.back_of,
        mark=mark_of(one),
    )


def is_album(original: Original) -> bool:
    """Whether somebody wrote that an item is an album: then its pages are kept whole as well as cut.

    Examples
    --------
    >>> is_album(Original(id="a1", carrier="print", label="Green album, 1950s"))
    True
    >>> is_album(Original(id="a1", carrier="print", label="Loose prints"))
    False
    """
    told = f"{original.label} {original.notes}".lower()
    return original.carrier == "print" and any(word in told for word in ALBUM)


def halves_of(gutter: Sequence[Sequence[float]], size: tuple[int, int]) -> tuple[tuple[int, int, int, int], ...]:
    """Left, top, right, foot of both pages beside a line [px]; where it leans, both hold the strip that it crosses.

    Examples
    --------
    >>> halves_of([[50, 0], [54, 80]], (100, 80))
    ((0, 0, 54, 80), (50, 0, 100, 80))
    >>> halves_of([[0, 40], [80, 40]], (80, 100))
    ((0, 0, 80, 40), (0, 40, 80, 100))
    """
    (x0, y0), (x1, y1) = gutter
    across = abs(y1 - y0) >= abs(x1 - x0)
    length = size[1] if across else size[0]
    start, run = (y0, y1 - y0) if across else (x0, x1 - x0)
    at, rise = (x0, x1 - x0) if across else (y0, y1 - y0)
    ends = [at + rise * (edge - start) / run for edge in (0, length)]
    limit = size[0] if across else size[1]
    low, high = max(1, math.floor(min(ends))), min(limit - 1, math.ceil(max(ends)))
    if across:
        return (0, 0, high, size[1]), (low, 0, size[0], size[1])
    return (0, 0, size[0], high), (0, low, size[0], size[1])


def own_id(name: str, item: str) -> str:
    """The id of what one scan shows: empty when it is the item's only scan.

    Examples
    --------
    >>> own_id("s1", "s1"), own_id("s1-12", "s1")
    ('', 's1-12')
    """
    return "" if name == item else name


def margin_px(image: StillImage, rows: Rows) -> float:
    """How far outside a print its master is cut [px]."""
    if image.ppi_stated:
        return rows.value("formats.scan.master.margin_mm") / MM_PER_INCH * image.ppi_stated
    return rows.value("formats.scan.master.margin_share") * max(image.width, image.height)


def copy_margin_px(image: StillImage, rows: Rows) -> float:
    """How far outside a print its everyday copy is cut [px]: what was found of a side is never exact to the last line,
    and a copy that shows a thread of the lid has lost nothing of the print."""
    if image.ppi_stated:
        return rows.value("formats.scan.copy.margin_mm") / MM_PER_INCH * image.ppi_stated
    return rows.value("formats.scan.copy.margin_share") * max(image.width, image.height)


def sides_of(corners: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """How wide and high a picture is by its corners, without the margin that it is cut with [px].

    Examples
    --------
    >>> sides_of([(0, 0), (30, 40), (-10, 70), (-40, 30)])
    (50.0, 50.0)
    """
    return math.dist(corners[0], corners[1]), math.dist(corners[0], corners[3])


def widened(
    corners: tuple[tuple[float, float], ...], margin_px: float, size: tuple[int, int]
) -> tuple[tuple[float, float], ...]:
    """Corners with each side moved outward, as far as the scan goes; a side that meets its limit stays there.

    Examples
    --------
    >>> widened(((10, 10), (30, 10), (30, 20), (10, 20)), 2, (100, 21))
    ((8.0, 8.0), (32.0, 8.0), (32.0, 21.0), (8.0, 21.0))
    """
    (x0, y0), (x1, y1), (x2, y2), (x3, y3) = corners
    across, down = math.dist(corners[0], corners[1]), math.dist(corners[0], corners[3])
    if not across or not down:
        return corners
    ux, uy, vx, vy = (x1 - x0) / across, (y1 - y0) / across, (x3 - x0) / down, (y3 - y0) / down
    free = []
    for (ax, ay), (bx, by), dx, dy in (
        ((x0, y0), (x1, y1), -vx, -vy), ((x1, y1), (x2, y2), ux, uy),
        ((x2, y2), (x3, y3), vx, vy), ((x3, y3), (x0, y0), -ux, -uy),
    ):  # fmt: skip
        room = min(_room(px, dx, size[0]) for px in (ax, bx)), min(_room(py, dy, size[1]) for py in (ay, by))
        free.append(max(0.0, min(margin_px, *room)))
    top, right, bottom, left = free
    return tuple(
        (float(x + sx * ux + sy * vx), float(y + sx * uy + sy * vy))
        for (x, y), sx, sy in zip(corners, (-left, right, right, -left), (-top, -top, bottom, bottom), strict=True)
    )


def _room(at: float, direction: float, limit: float) -> float:
    """How far a corner may go along a direction before it leaves the scan by this axis."""
    if abs(direction) < 0.3:
        return math.inf  # it runs along that limit, and a print turned by some degrees may lie over it by a hair
    return (limit - at) / direction if direction > 0 else at / -direction


def is_pages(original: Original) -> bool:
    """Whether an item's scans are pages of text, to become one PDF."""
    return original.carrier in PAGES


def languages_of(original: Original) -> tuple[str, ...]:
    """In which languages a page may be written, the likelier first, as Tesseract names them.

    Han characters in what somebody wrote of the item speak for Chinese.
    """
    told = f"{original.label} {original.notes}"
    chinese = any("\u4e00" <= sign <= "\u9fff" for sign in told) or "chinese" in told.lower()
    return ("chi_sim", "eng") if chinese else ("eng", "chi_sim")
