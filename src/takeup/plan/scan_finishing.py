"""What is made of a scan: which pictures, what they are called, how far outside a print the knife goes. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from takeup.streams import Original, Report, StillImage
from takeup.tables.rows import Rows

MM_PER_INCH = 25.4
PAGES = ("document", "newspaper", "microfilm", "microfiche")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPicture:
    """One picture of a scan. ``id`` is empty when it is the item itself: its only scan, with one picture on it."""

    id: str
    name: str  # what its files are called
    corners: tuple[tuple[float, float], ...]
    tilt: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanPlan:
    """``whole``: the whole scan gets an everyday copy of its own. ``unsure``: how many places a person must cut."""

    pictures: tuple[PlannedPicture, ...]
    whole: bool
    unsure: int


def plan_pictures(name: str, report: Report | None, *, item: str) -> ScanPlan:
    """The pictures to cut from one scan, in the reading order the check found them in.

    Parameters
    ----------
    name : str
        What the scan's finished files are called: the item's id and the part.
    report : Report or None
        Its check.
    item : str
        The item's id: a picture that is one of several of the item has an id of its own, which ``describe`` can name.
    """
    measured = report.measures.get("pictures") if report else None
    found = measured.value if measured is not None and measured.value else []
    extra: Mapping[str, Any] = measured.extra if measured is not None else {}
    unsure = len(extra.get("unsure", ()))
    if extra.get("ground") != "lid" or not found:
        return ScanPlan(pictures=(), whole=True, unsure=unsure)
    alone = len(found) == 1 and not unsure
    pictures = tuple(
        PlannedPicture(
            id=own_id(name, item) if alone else f"{name}-{n}",
            name=f"{name}-cut" if alone else f"{name}-{n}",
            corners=tuple((float(x), float(y)) for x, y in one["corners"]),
            tilt=float(one["tilt"]),
        )
        for n, one in enumerate(found, 1)
    )
    return ScanPlan(pictures=pictures, whole=bool(unsure), unsure=unsure)


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
