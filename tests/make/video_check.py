"""How these tests ask for a check: through the task, with the real rows."""

from __future__ import annotations

from pathlib import Path

from takeup.media.moving import look_at_moving
from takeup.streams import Finding, Original, Report
from takeup.tables.loader import load_rows
from takeup.tasks.check_video import check_video
from takeup.tasks.checking import Asked


def check(path: Path, **asked: object) -> Report:
    original = Original(id="t1", carrier="vhs", **asked.pop("item", {}))  # type: ignore[arg-type]
    return check_video(path, look_at_moving(path), Asked(original=original, **asked), load_rows())  # type: ignore[arg-type]


def named(report: Report, name: str) -> list[Finding]:
    return [finding for finding in report.findings if finding.name == name]


def value(report: Report, name: str) -> object:
    return report.measures[name].value


def bad(report: Report, *but: str) -> set[str]:
    """Names of findings that are not good; a clip that ends in mid picture is said to, and set apart."""
    return {one.name for one in report.findings if one.verdict != "good"} - {"ends_early", *but}
