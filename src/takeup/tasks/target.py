"""Measure a station with its reference target, compare with the earlier ones, remember."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible
from takeup.files.hash import hash_file
from takeup.files.targets import held_history, history_path, keep
from takeup.judge.station_targets import CHARTS, Change, changes, figures_of, is_in_view, limits_met
from takeup.media.probe import look_at
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked

CARRIERS = {"scan": "print", "sound": "cassette"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a target showed. ``already``: the same file was measured before, nothing new was kept."""

    path: Path
    station: str
    chart: str
    figures: Mapping[str, float]
    met: list[dict[str, Any]]
    changed: list[Change]
    earlier: int
    kept: Path
    already: bool


def measure_target(
    path: Path, *, chart: str, station: str, home: Path, mains_hz: int = 50, wait_s: float = 10.0
) -> Target:
    """Measure one capture of a target and add it to the station's history.

    Parameters
    ----------
    chart : str
        24 (a chart of 24 patches, of the lab's edition), 24-before, grey, ruler, tone.
    station : str
        Whose history it belongs to.
    home : Path
        The lab's folder.
    wait_s : float
        How long to wait for another run that adds to the history [s].

    Raises
    ------
    NotPossible
        ``target.unknown-chart``, ``target.not-in-view``; or the file cannot be read.
    """
    if chart not in CHARTS:
        raise NotPossible("target.unknown-chart", chart=chart, known=", ".join(CHARTS))
    original = Original(id=path.stem, carrier=CARRIERS[CHARTS[chart]])
    asked = Asked(original=original, mains_hz=mains_hz)
    capture, report = check_file(path, asked, look_at(path))
    if chart == "24-before":
        from takeup.tasks.check_scan import check_scan

        report = check_scan(path, capture, asked, _with_edition(load_rows(), "before"))
    if not is_in_view(chart, report):
        raise NotPossible("target.not-in-view", path=str(path), chart=f"@target.{chart}")
    figures = figures_of(chart, report)
    digest = hash_file(path.resolve()).sha256
    kept = history_path(home, station)
    with held_history(kept, wait_s) as history:
        alike = [one for one in history if one["chart"] == chart]
        already = any(one["sha256"] == digest for one in alike)
        if not already:
            at = datetime.now(UTC).isoformat(timespec="seconds")
            keep(kept, history, {"at": at, "chart": chart, "file": path.name, "sha256": digest, "figures": figures})
    past = [one["figures"] for one in alike if one["sha256"] != digest]
    return Target(
        path=path, station=station, chart=chart, figures=figures, met=limits_met(chart, report),
        changed=changes(figures, past, load_rows()), earlier=len(past), kept=kept, already=already,
    )  # fmt: skip


def _with_edition(rows: Rows, edition: str) -> Rows:
    key = "chart.patches.edition"
    return Rows({name: replace(row, value=edition) if name == key else row for name, row in rows.items()})
