"""``takeup target``."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from takeup.cli.face import Face, faced

if TYPE_CHECKING:
    from takeup.tasks.target import Target


@click.command("target", help="Measure a station with its reference target and keep the history.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--chart", required=True, metavar="C", help="What is in view or plays: 24, 24-before, grey, ruler, tone.")
@click.option("--station", default="", metavar="S", help="Whose history it belongs to; else scan or sound.")
@click.option("--home", type=click.Path(path_type=Path), help="The lab's folder; else the desk's.")
@faced
def command(face: Face, file: Path, chart: str, station: str, home: Path | None) -> None:
    """Hand the words to the task and print its answer."""
    from takeup.settings import default_home
    from takeup.tasks.target import measure_target

    fallback = Path(face.settings.home).expanduser() if face.settings.home else default_home(os.environ)
    whose = station or ("sound" if chart == "tone" else "scan")
    found = measure_target(
        file, chart=chart, station=whose, home=home or fallback, mains_hz=face.settings.mains,
        wait_s=face.settings.wait_s,
    )  # fmt: skip
    document = {
        "file": str(file.absolute()),
        "station": found.station,
        "chart": found.chart,
        "figures": dict(found.figures),
        "meets": found.met,
        "changed": [{"figure": one.figure, "before": one.before, "now": one.now} for one in found.changed],
        "earlier": found.earlier,
        "already": found.already,
        "kept": str(found.kept.absolute()),
    }
    face.answer(document, lines(face, found))


def lines(face: Face, found: Target) -> Iterator[str]:
    """The answer for people."""
    yield face.words("target.head", station=found.station, earlier=found.earlier)
    for figure, value in found.figures.items():
        yield face.words("target.figure", figure=f"@figure.{figure}", value=f"{value:.6g}")
    for one in found.met:
        key = "target.meets" if one["stars"] else "target.meets-none"
        yield face.words(key, **one | {"figure": f"@figure.{one['figure']}"})
    for change in found.changed:
        yield face.words("target.changed", figure=f"@figure.{change.figure}", before=change.before, now=change.now)
    if found.earlier and not found.changed:
        yield face.words("target.steady")
    yield face.words("target.already" if found.already else "target.kept", path=str(found.kept))
