"""What a target says of a station: which figures count for it, what changed against earlier ones. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from takeup.streams import Report
from takeup.tables.rows import Rows

CHARTS = {"24": "scan", "24-before": "scan", "grey": "scan", "ruler": "scan", "tone": "sound"}
"""Targets that can be named, and what kind of capture each is seen or heard in."""
FIGURES = {
    "scan": ("ppi", "cast", "uneven", "sharpness", "streaks", "chart"),
    "sound": ("wow_flutter", "speed_error", "channel_balance", "channel_delay", "loudness", "noise_floor", "mains_hum"),
}
READ_OF_CHART = ("tone", "white_balance", "de2000_mean", "de2000_p90", "de2000_max", "noise", "noise_least", "gain")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A figure that lies further from the middle of the earlier ones than the row allows."""

    figure: str
    before: float
    now: float
    row: str


def is_in_view(chart: str, report: Report) -> bool:
    """Whether the named target was found in a capture."""
    if chart == "tone":
        flutter = report.measures.get("wow_flutter")
        return flutter is not None and flutter.value is not None
    if chart == "ruler":
        ppi = report.measures["ppi"]
        return ppi.value is not None and ppi.extra.get("from") == "ruler"
    told = report.measures["chart"]
    return told.value is not None and told.extra.get("chart") == chart.split("-")[0]


def figures_of(chart: str, report: Report) -> dict[str, float]:
    """The figures that are kept of a target, as plain numbers."""
    kept: dict[str, float] = {}
    for name in FIGURES[CHARTS[chart]]:
        told = report.measures.get(name)
        if told is None or told.value is None:
            continue
        if name == "cast":
            kept |= {"cast_a": told.value["a"], "cast_b": told.value["b"]}
        elif name == "chart":
            kept |= {part: told.extra[part] for part in READ_OF_CHART if part in told.extra}
        elif isinstance(told.value, (int, float)) and (name != "ppi" or told.extra.get("from") == "ruler"):
            kept[name] = float(told.value)
            if name == "ppi" and "down" in told.extra:
                kept["ppi_down"] = float(told.extra["down"])
    return kept


def limits_met(chart: str, report: Report) -> list[dict[str, Any]]:
    """Which published limits the readings meet: figure, value, guideline's edition, stars."""
    if CHARTS[chart] != "scan":
        return []
    told = report.measures["chart"]
    met = [
        {"figure": figure, "value": told.extra[figure], "edition": edition, "stars": stars}
        for edition, by_figure in told.extra.get("meets", {}).items()
        for figure, stars in by_figure.items()
    ]
    uneven = report.measures["uneven"]
    if uneven.value is not None:
        met.append({"figure": "uneven", "value": uneven.value, "edition": "2023", "stars": uneven.extra["stars_2023"]})
    return met


def changes(now: Mapping[str, float], earlier: Sequence[Mapping[str, float]], rows: Rows) -> list[Change]:
    """What lies beyond the rows ``chart.drift`` from the middle of the earlier figures of the same target."""
    found = []
    for figure, value in now.items():
        past = [one[figure] for one in earlier if figure in one]
        shares, steps = rows.section("chart.drift-share"), rows.section("chart.drift")
        if not past or (figure not in shares and figure not in steps):
            continue
        before = float(median(past))
        key = f"chart.drift-share.{figure}" if figure in shares else f"chart.drift.{figure}"
        apart = abs(value / before - 1) if figure in shares and before else abs(value - before)
        if apart > rows.value(key):
            found.append(Change(figure=figure, before=before, now=value, row=key))
    return found
