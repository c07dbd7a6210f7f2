"""From what was measured in a scan to figures and findings. Pure: measures and rows in, verdicts out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from takeup.judge.scan_colour import colour_figures, colour_findings
from takeup.judge.scan_dyes import dye_findings
from takeup.judge.scan_findings import clipping_findings, file_findings, place_findings
from takeup.judge.scan_machine import Machine, machine_findings, streaks_figure
from takeup.judge.scan_micro import Leaves, leaf_facts, leaf_findings, original_ppi
from takeup.judge.scan_origin import origin_figures, origin_findings
from takeup.judge.scan_reading import ghost_findings, reading_findings
from takeup.judge.scan_scale import scale_findings, true_ppi
from takeup.judge.scan_sharpness import Sharpness, sharpness, soft_findings
from takeup.measure.scan.chart import Chart
from takeup.measure.scan.depth import Depth
from takeup.measure.scan.fade import Fade
from takeup.measure.scan.ground_colour import Light
from takeup.measure.scan.mirrored import Reading
from takeup.measure.scan.origin import Origin
from takeup.measure.scan.pictures import Pictures
from takeup.measure.scan.rails import ClippedShare
from takeup.measure.scan.scale import Scale
from takeup.measure.scan.text_tilt import TextTilt
from takeup.streams import Finding, Measured, Original, StillImage
from takeup.tables.rows import Rows

FAMILY = {
    "print": "print", "document": "document", "newspaper": "newspaper", "slide": "film", "negative": "film",
    "microfilm": "micro", "microfiche": "micro",
}  # fmt: skip
PAGES_OF_TEXT = ("document", "newspaper", "micro")


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one page or bed showed. ``low``, ``high``: one per picture; None where pixels could not be read."""

    image: StillImage
    notes: tuple[str, ...] = ()
    depth: Depth | None = None
    pictures: Pictures | None = None
    low: tuple[ClippedShare, ...] = ()
    high: tuple[ClippedShare, ...] = ()
    weights: tuple[float, ...] = ()  # area of each picture
    block: int = 1
    text: TextTilt | None = None
    scale: Scale | None = None
    light: Light | None = None
    chart: Chart | None = None
    chart_noise: tuple[float, ...] = ()  # of each patch, in its own order
    tools: tuple[tuple[float, float, float, float], ...] = ()  # rulers, charts: x, y, width, height [px]
    sharp: Sharpness = field(default_factory=Sharpness)
    origin: Origin = field(default_factory=Origin)
    leaves: Leaves = field(default_factory=Leaves)
    fades: tuple[Fade, ...] = ()  # of each picture's dyes
    reading: Reading = field(default_factory=Reading)  # lettering, both ways
    ghost: Reading = field(default_factory=Reading)  # pale lettering of a page, both ways
    machine: Machine = field(default_factory=Machine)
    broken: str = ""  # why its pixels could not be read to the end


def judge_scan(seen: Seen, original: Original, rows: Rows) -> tuple[dict[str, Measured], list[Finding]]:
    """Figures and findings of one page or bed.

    Parameters
    ----------
    seen : Seen
    original : Original
        Its carrier chooses the rows.
    rows : Rows
        Every table's rows.
    """
    family = FAMILY.get(original.carrier, "print")
    measures = _figures(seen, family, original, rows) | colour_figures(seen, family, rows)
    findings = file_findings(seen, family, original, rows)
    if not seen.broken:
        findings += [] if family == "micro" else scale_findings(seen, family, rows)
        findings += colour_findings(seen, family, rows)
        findings += place_findings(seen, family, rows) + clipping_findings(seen, family, rows)
        findings += soft_findings(seen, family, rows) + machine_findings(seen, family, rows)
        findings += origin_findings(seen, family, rows)
        findings += dye_findings(seen, original.carrier, rows)
        findings += leaf_findings(seen, family, original, rows)
        findings += reading_findings(seen, family, rows) + ghost_findings(seen, rows)
    return measures, findings


def _figures(seen: Seen, family: str, original: Original, rows: Rows) -> dict[str, Measured]:
    image = seen.image
    measures = {
        "ppi": original_ppi(seen, original, rows) if family == "micro" else true_ppi(seen),
        "ppi_stated": _stated(image, family, rows),
        "bits": _bits(seen),
        "bits_stated": Measured(value=image.bits_stated, unit="bits"),
        "channels": Measured(value=image.channels, unit="count", extra={"profile": image.profile}),
        "pictures": _pictures(seen, family),
        "sharpness": sharpness(seen, family, rows),
        "clipped_low": _clipped(seen.low, seen),
        "clipped_high": _clipped(seen.high, seen),
        "streaks": streaks_figure(seen),
    }
    measures |= origin_figures(seen)
    return measures


def _stated(image: StillImage, family: str, rows: Rows) -> Measured:
    if image.ppi_stated is None:
        return Measured(value=None, unit="px/inch", why="scan.no-ppi")
    extra: dict[str, Any] = {}
    if image.ppi_y_stated is not None and _apart(image.ppi_y_stated, image.ppi_stated, rows):
        extra["down"] = round(image.ppi_y_stated, 3)
    key = f"scan.resolution.{family}.levels"
    if key in rows:
        extra["level"] = level_of(image.ppi_stated, rows.value(key), rows.value("scan.resolution.slack"))
        extra["levels"] = list(rows.value(key))
    return Measured(value=round(image.ppi_stated, 3), unit="px/inch", extra=extra)


def _apart(down: float, across: float, rows: Rows) -> bool:
    return abs(down / across - 1) > rows.value("scan.resolution.axes_share")


def level_of(ppi: float, levels: list[float], slack: float) -> int:
    """How many of a guideline's levels a resolution reaches (0: none)."""
    return sum(ppi >= least * (1 - slack) for least in levels)


def _bits(seen: Seen) -> Measured:
    if seen.broken or seen.depth is None:
        return Measured(value=None, unit="bits", why="scan.not-whole")
    extra = {"levels": seen.depth.levels}
    if seen.image.bits_stated < 8:
        return Measured(value=seen.image.bits_stated, unit="bits", extra=extra)
    if seen.depth.bits is None:
        return Measured(value=None, unit="bits", why="scan.too-plain", extra=extra)
    return Measured(value=seen.depth.bits, unit="bits", extra=extra)


def _pictures(seen: Seen, family: str) -> Measured:
    if seen.broken or seen.pictures is None:
        return Measured(value=None, unit="px", why="scan.not-whole")
    found: list[Mapping[str, Any]] = []
    page = seen.pictures.ground == "whole" and family in PAGES_OF_TEXT
    for one in seen.pictures.prints:
        tilt: float | None = one.tilt
        if page:
            tilt = seen.text.tilt if seen.text is not None else None
        corners = [[round(x, 2), round(y, 2)] for x, y in one.corners]
        found.append({"corners": corners, "tilt": None if tilt is None else round(tilt, 3)})
    extra: dict[str, Any] = {"ground": seen.pictures.ground} | leaf_facts(seen)
    if page:
        extra["page"] = True
        if seen.text is not None:
            extra["text"] = {"within": round(seen.text.within, 3), "upright": seen.text.upright}
    if seen.tools:
        extra["tools"] = [[round(edge, 1) for edge in box] for box in seen.tools]
    if seen.pictures.unsure:
        extra["unsure"] = [[round(edge, 1) for edge in box] for box in seen.pictures.unsure]
    if seen.pictures.pages:
        extra["pages"] = [[[round(x, 2), round(y, 2)] for x, y in one.corners] for one in seen.pictures.pages]
    if seen.image.orientation != 1:
        extra["orientation"] = seen.image.orientation
    return Measured(value=found, unit="px", extra=extra)


def _clipped(shares: tuple[ClippedShare, ...], seen: Seen) -> Measured:
    if seen.broken:
        return Measured(value=None, unit="%", why="scan.not-whole")
    if not shares or not sum(seen.weights):
        return Measured(value=None, unit="%", why="scan.no-picture")
    total = sum(seen.weights)
    channels = len(shares[0].by_channel)
    by_channel = [
        sum(share.by_channel[c] * weight for share, weight in zip(shares, seen.weights, strict=True)) / total
        for c in range(channels)
    ]
    extra: dict[str, Any] = {}
    if channels == 3:
        extra = {name: round(100 * share, 4) for name, share in zip(("red", "green", "blue"), by_channel, strict=True)}
    return Measured(value=round(100 * max(by_channel), 4), unit="%", extra=extra)
