"""What a check looks at for colour: the lid, a margin, a chart or grey scale on the glass; tools are no pictures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.judge.scan import PAGES_OF_TEXT, Seen
from takeup.judge.scan_colour import reference_of
from takeup.measure.scan import chart as charts
from takeup.measure.scan.chart import Chart, find_chart
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.ground_colour import light_of
from takeup.measure.scan.pictures import Print
from takeup.measure.scan.scale import BODY_MM, MM_PER_INCH, sides_of
from takeup.measure.scan.windows import Place, Window
from takeup.media.still import OpenStill
from takeup.media.still_colour import ToLab, converter
from takeup.tables.rows import Rows

SHEET_SHARE, SHEET_CODE = (
    0.15,
    150,
)  # of the scan, and the brightest channel's code, from which a thing is a sheet of paper
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourSought:
    """The chart that was found, what turns codes to CIELAB, and the places wanted in full."""

    chart: Chart | None
    to_lab: ToLab
    places: tuple[Place, ...]


def colours_seen(
    seen: Seen, still: OpenStill, first: FirstLook, rows: Rows, family: str = "print"
) -> tuple[Seen, ColourSought]:
    """Light, chart and tools by the miniature; what else is wanted of the chart."""
    to_lab = converter(still)
    pixels = first.small.pixels
    chart = find_chart(pixels, to_lab, reference_of(rows))
    tools: list[Box] = list(seen.scale.tools) if seen.scale is not None else []
    wanted: tuple[Place, ...] = ()
    if chart is not None:
        x, y, width, height = (edge * first.small.block for edge in chart.outline())
        tools.append((x, y, width, height))
        wanted = tuple(charts.places(chart, first.small.block, first.size))
    taken = _covered(tools, first) if tools else None
    light = light_of(first, to_lab, taken=taken)
    if family in PAGES_OF_TEXT and light.of == "lid" and not _sheet_in_view(first):
        light = replace(light, of="paper")
    seen = replace(seen, light=light, chart=chart)
    return without_tools(seen, tools), ColourSought(chart=chart, to_lab=to_lab, places=wanted)


def colours_measured(sought: ColourSought, kept: Mapping[str, tuple[Window, ...]], seen: Seen, full_scale: int) -> Seen:
    """The noise of the chart's patches, in the chart's own order."""
    if sought.chart is None:
        return seen
    by_place = {window.place: window for window in kept.get(charts.PURPOSE, ())}
    if any(place not in by_place for place in sought.places):
        return seen
    noise = charts.noise_of([by_place[place] for place in sought.places], full_scale, sought.to_lab)
    return replace(seen, chart_noise=noise)


def _sheet_in_view(first: FirstLook) -> bool:
    """Whether a sheet of paper lies on the scan of a page; else the ground is the paper, with pictures on it."""
    pixels = first.small.pixels
    for one in first.pictures.prints:
        inside = first.inside(one)
        if inside.mean() >= SHEET_SHARE and float(np.median(pixels[inside].max(axis=1))) >= SHEET_CODE:
            return True
    return False


def _covered(tools: list[Box], first: FirstLook) -> np.ndarray:
    taken: np.ndarray = np.zeros(first.small.pixels.shape[:2], np.uint8)
    for x, y, width, height in tools:
        low = int(x / first.small.block), int(y / first.small.block)
        high = int((x + width) / first.small.block), int((y + height) / first.small.block)
        cv2.rectangle(taken, low, high, 1, cv2.FILLED)
    return cv2.dilate(taken, np.ones((61, 61), np.uint8)) > 0


def without_tools(seen: Seen, tools: list[Box]) -> Seen:
    """The pictures without charts and rulers: they are the lab's, nobody wants them cut (decision 0095)."""
    pictures = seen.pictures
    if not tools or pictures is None or pictures.ground != "lid":
        return seen
    per_mm = seen.scale.ppi / MM_PER_INCH if seen.scale is not None and seen.scale.ppi else None
    keep = [n for n, one in enumerate(pictures.prints) if not any(_is(one, tool, per_mm) for tool in tools)]
    unsure = tuple(box for box in pictures.unsure if not any(_mostly(box, tool) for tool in tools))

    def kept(values: tuple) -> tuple:
        return tuple(values[n] for n in keep) if len(values) == len(pictures.prints) else values

    prints = kept(pictures.prints)
    return replace(
        seen, pictures=replace(pictures, prints=prints, unsure=unsure), low=kept(seen.low), high=kept(seen.high),
        weights=kept(seen.weights), tools=tuple(tools),
    )  # fmt: skip


def _is(one: Print, tool: Box, per_mm: float | None) -> bool:
    """Whether a print is the body of a tool: the tool's middle lies in it, and it is not much larger than the tool."""
    x, y, width, height = tool
    inside = cv2.pointPolygonTest(np.asarray(one.corners, np.float32), (x + width / 2, y + height / 2), False) > 0
    sides = sides_of(one)
    slim = per_mm is not None and min(sides) < BODY_MM * per_mm and max(width, height) > 3 * min(width, height)
    return inside and (slim or sides[0] * sides[1] < 2.2 * width * height)


def _mostly(box: Box, tool: Box) -> bool:
    x, y, width, height = box
    wide = min(x + width, tool[0] + tool[2]) - max(x, tool[0])
    high = min(y + height, tool[1] + tool[3]) - max(y, tool[1])
    return wide > 0 and high > 0 and wide * high > 0.4 * width * height
