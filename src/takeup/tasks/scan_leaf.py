"""Opens each page that a scan shows by itself, for everyday copies: halves of a spread, frames of a fiche, negatives
as positives, a film's resolution as that of the page. The scan's own pixels are never touched.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pyvips

from takeup.judge.scan import FAMILY
from takeup.measure.scan.polarity import text_polarity
from takeup.measure.scan.text_tilt import text_tilt
from takeup.measure.scan.two_pages import two_pages
from takeup.media.still import OpenStill
from takeup.plan.scan_finishing import halves_of, plan_pictures
from takeup.streams import CaptureFile, Report
from takeup.tasks.finishing import Chosen

LOOK_PX = 1500
Box = tuple[int, int, int, int]


class Leaf(OpenStill):
    """One page of a scan: a box of it [px], turned positive where it is a negative; as cheap to make as the scan."""

    def __init__(
        self, path: Path, capture: CaptureFile, page: int, *, box: Box | None, negative: bool, ppi: float | None
    ) -> None:
        self._box, self._negative = box, negative
        super().__init__(path, capture, page)
        about = replace(self.image, codec="leaf") if box is not None or negative else self.image
        if ppi is not None and about.ppi_stated:
            down = (about.ppi_y_stated or about.ppi_stated) * ppi / about.ppi_stated
            about = replace(about, ppi_stated=ppi, ppi_y_stated=down)
        self.image = replace(about, width=self.width, height=self.height)

    def vips(self, access: str = "sequential") -> pyvips.Image:
        """As the scan's, but this page alone."""
        image = super().vips(access)
        if self._box is not None:
            left, top, right, foot = self._box
            image = image.crop(left, top, right - left, foot - top)
        return image.invert() if self._negative else image


def leaves_of(one: Chosen, capture: CaptureFile, page: int) -> Iterator[OpenStill]:
    """The pages that one image of a capture shows, in reading order; the image itself where it is one page as it is.

    Parameters
    ----------
    one : Chosen
        The capture's item and report, and how a person arranged its pictures.
    page : int
        Which image of the file, from 0.
    """
    path, report = one.stored[0], one.reports[0]
    extra = _pictures_of(report)
    ppi = _page_ppi(report)
    micro = FAMILY.get(one.original.carrier) == "micro"
    whole = OpenStill(path, capture, page)
    if report is None or not ({finding.name for finding in report.findings} & {"two_pages", "polarity"}):
        negative, gutter = False, None
    elif capture.image is not None and capture.image.pages > 1:
        negative, gutter = _looked_at(whole)
    else:
        negative, gutter = bool(extra.get("negative")), extra.get("gutter")
    boxes: list[Box | None] = [None]
    if extra.get("ground") == "frames" and page == 0:
        boxes = [*_frames(one, (whole.width, whole.height))] or [None]
    elif gutter:
        boxes = [*halves_of(gutter, (whole.width, whole.height))]
    negative = negative and micro
    if boxes == [None] and not negative and ppi is None:
        yield whole
        return
    for box in boxes:
        yield Leaf(path, capture, page, box=box, negative=negative, ppi=ppi)


def _pictures_of(report: Report | None) -> dict[str, Any]:
    measured = report.measures.get("pictures") if report else None
    return dict(measured.extra) if measured is not None else {}


def _page_ppi(report: Report | None) -> float | None:
    measured = report.measures.get("ppi") if report else None
    if measured is None or measured.extra.get("from") != "reduction" or not isinstance(measured.value, float):
        return None
    return measured.value


def _frames(one: Chosen, size: tuple[int, int]) -> Iterator[Box]:
    arranged = one.arranged[0] if one.arranged else None
    for picture in plan_pictures(one.name, one.reports[0], item=one.original.id, arranged=arranged).pictures:
        xs, ys = [x for x, _ in picture.corners], [y for _, y in picture.corners]
        left, top = max(0, int(min(xs))), max(0, int(min(ys)))
        yield left, top, min(size[0], int(np.ceil(max(xs)))), min(size[1], int(np.ceil(max(ys))))


def _looked_at(still: OpenStill) -> tuple[bool, list[list[float]] | None]:
    """Whether a page is a negative, and its line between two pages, as a check would say of it."""
    image = still.vips()
    image = (image / 257).cast("uchar") if image.format == "ushort" else image
    small = image.thumbnail_image(LOOK_PX, height=LOOK_PX, size="down", no_rotate=True).numpy()
    grey = (
        small if small.ndim == 2 else small[..., 0] if small.shape[2] == 1 else cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    )
    negative = text_polarity(grey).negative is True
    text = text_tilt(grey)
    found = two_pages(
        255 - grey if negative else grey, upright=text is not None and text.upright, tilt=text.tilt if text else 0.0
    )
    if found is None:
        return negative, None
    times = still.width / grey.shape[1]
    return negative, [[edge * times for edge in point] for point in (found.top, found.foot)]
