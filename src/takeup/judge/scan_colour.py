"""What a chart, the lid or a margin says of the light and colours of a scan, against the published levels. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.measure.scan.chart import Chart
from takeup.measure.scan.colour import ciede2000
from takeup.measure.scan.ground_colour import Light
from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

CAST, UNEVEN, CHART = "CIELAB", "%", "patches"


def reference_of(rows: Rows, edition: str = "") -> np.ndarray:
    """The colours of the lab's own 24-patch chart, shape (24, 3)."""
    return np.array(rows.value(f"chart.patches.{edition or rows.value('chart.patches.edition')}"), float)


def colour_figures(seen: Seen, family: str, rows: Rows) -> dict[str, Measured]:
    """``cast``, ``uneven`` and ``chart``."""
    if seen.broken or seen.light is None:
        why = "scan.not-whole" if seen.broken else "scan.cast-nothing-white"
        names = {"cast": CAST, "uneven": UNEVEN, "chart": CHART}
        return {name: Measured(value=None, unit=unit, why=why) for name, unit in names.items()}
    return {
        "cast": _cast(seen.light, seen.chart, rows),
        "uneven": _uneven(seen.light, family, rows),
        "chart": chart_figure(seen.chart, seen.chart_noise, in_srgb=_in_srgb(seen), family=family, rows=rows),
    }


def _in_srgb(seen: Seen) -> bool:
    name = (seen.image.profile or "sRGB").lower()
    return "srgb" in name or "61966" in name


def cast_of(light: Light | None, chart: Chart | None, rows: Rows) -> tuple[tuple[float, float], str] | None:
    """a* and b* of the best white in view, and what that is: target, lid or paper."""
    if chart is not None:
        neutral = chart.lab if chart.kind == "grey" else chart.lab[rows.value("chart.patches.neutral")]
        middle = neutral[1:-1]  # white and black lie at the ends of a scanner's range
        return (float(middle[:, 1].mean()), float(middle[:, 2].mean())), "target"
    if light is not None and light.lab is not None:
        return (light.lab[1], light.lab[2]), light.of
    return None


def _cast(light: Light, chart: Chart | None, rows: Rows) -> Measured:
    told = cast_of(light, chart, rows)
    if told is None:
        return Measured(value=None, unit=CAST, why=light.why or "scan.cast-nothing-white")
    (a, b), source = told
    return Measured(value={"a": round(a, 3), "b": round(b, 3)}, unit=CAST, extra={"from": source})


def _clipped_cast(light: Light | None) -> tuple[tuple[float, float], str] | None:
    """A lid that is coloured although a channel stands at its limit: how much more, nobody can tell."""
    if light is None or light.least is None or light.of != "lid":
        return None
    return (light.least[1], light.least[2]), light.of


def _strange(a: float, b: float, rows: Rows) -> float:
    """How far a paper lies from any tint that paper takes on by itself: white, or yellow to brown."""
    (a_low, a_high), (b_low, b_high) = rows.value("chart.light.paper_a"), rows.value("chart.light.paper_b")
    return float(np.hypot(a - min(max(a, a_low), a_high), b - min(max(b, b_low), b_high)))


def _uneven(light: Light, family: str, rows: Rows) -> Measured:
    if light.uneven is None or light.uneven_light is None:
        return Measured(value=None, unit=UNEVEN, why="scan.no-lid-cells")
    table = "document" if family == "document" else "print"
    extra = {
        "of": "L*", "luminance": round(light.uneven_light, 4), "cells": light.cells,
        "stars_2023": stars(light.uneven, rows.value("chart.star-2023.print.uneven")),
        "stars_2016": stars(light.uneven_light, rows.value(f"chart.star-2016.{table}.uneven_light")),
    }  # fmt: skip
    return Measured(value=round(light.uneven, 4), unit=UNEVEN, extra=extra)


def stars(value: float, limits: Sequence[float]) -> int:
    """How many of a guideline's limits a figure meets, from one star up (0: none)."""
    met = 0
    for limit in limits:
        if value > limit:
            break
        met += 1
    return met


def chart_figure(
    chart: Chart | None, noise: Sequence[float], *, in_srgb: bool, family: str, rows: Rows, edition: str = ""
) -> Measured:
    """The figure ``chart``: what was read of its patches, and which published limits that meets."""
    if chart is None:
        return Measured(value=None, unit=CHART, why="scan.no-chart")
    read = readings(chart, noise, in_srgb=in_srgb, rows=rows, edition=edition)
    table = "document" if family == "document" else "print"
    meets = {
        year: _met(read, f"chart.star-{year}.{table if year == '2016' else 'print'}", rows) for year in ("2016", "2023")
    }
    extra = {"chart": chart.kind, "turn": 90 * chart.turn, **read, "meets": meets}
    if chart.kind == "24":
        extra["edition"] = edition or rows.value("chart.patches.edition")
    return Measured(value=len(chart.lab), unit=CHART, extra=extra)


def readings(chart: Chart, noise: Sequence[float], *, in_srgb: bool, rows: Rows, edition: str = "") -> dict[str, Any]:
    """Tone, white balance, colour, noise and highlight gain of a chart; a grey scale has no known tones here."""
    told: dict[str, Any] = {}
    neutral = list(rows.value("chart.patches.neutral")) if chart.kind == "24" else list(range(len(chart.lab)))
    grey = chart.lab[neutral]
    told["white_balance"] = round(float(np.hypot(grey[:, 1], grey[:, 2]).max()), 3)
    if noise:
        own = [noise[n] for n in neutral if n < len(noise)]
        told["noise"], told["noise_least"] = round(max(own), 3), round(min(own), 3)
    if chart.kind != "24":
        return told | {"lightness": [round(float(light), 2) for light in grey[:, 0]]}
    known = reference_of(rows, edition)
    tone = grey[:, 0] - known[neutral, 0]
    told["tone_dl"] = [round(float(one), 3) for one in tone]
    told["tone"] = round(float(np.abs(tone).max()), 3)
    left_out = [int(rows.value("chart.patches.cyan"))] if in_srgb else []
    kept = [n for n in range(24) if n not in left_out]
    apart = ciede2000(chart.lab[kept], known[kept])
    told |= {"de2000_mean": round(float(apart.mean()), 3), "de2000_p90": round(float(np.percentile(apart, 90)), 3)}
    told |= {"de2000_max": round(float(apart.max()), 3), "left_out": left_out}
    rise = known[neutral[0], 0] - known[neutral[1], 0]
    told["gain"] = round(float((grey[0, 0] - grey[1, 0]) / rise), 3)
    return told


def _met(read: dict[str, Any], table: str, rows: Rows) -> dict[str, int]:
    limits = rows.section(table)
    met: dict[str, int] = {}
    for name in ("tone", "white_balance", "de2000_mean", "de2000_p90", "noise"):
        if name in limits and name in read:
            met[name] = stars(read[name], limits[name])
    if "gain_least" in limits and "gain" in read:
        fits = [low <= read["gain"] <= high for low, high in zip(limits["gain_least"], limits["gain_most"])]
        met["gain"] = fits.index(False) if False in fits else len(fits)
    if "noise_least" in limits and "noise_least" in read:
        met["noise_least"] = 4 if read["noise_least"] > limits["noise_least"] else 0
    return met


def colour_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """A light that is coloured or uneven: the station's, never the picture's own."""
    findings: list[Finding] = []
    told = cast_of(seen.light, seen.chart, rows) or _clipped_cast(seen.light)
    if told is not None:
        (a, b), source = told
        key = f"chart.light.cast_{source}"
        size = _strange(a, b, rows) if source == "paper" else float(np.hypot(a, b))
        if size > rows.value(key):
            facts = {"a": round(a, 1), "b": round(b, 1), "size": size}
            findings.append(
                Finding(name="cast", verdict="look", again="may help", says=f"cast.{source}",
                        value=round(float(np.hypot(a, b)), 2), unit=CAST, facts=facts, rows=(key,))
            )  # fmt: skip
    limit = "chart.light.uneven_light"
    light = seen.light.uneven_light if seen.light is not None else None
    if light is not None and light > rows.value(limit):
        findings.append(
            Finding(name="uneven_light", verdict="look", again="may help", value=round(light, 2), unit="%",
                    facts={"share": light / 100}, rows=(limit,))
        )  # fmt: skip
    return findings
