"""``takeup schedule``."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from takeup.cli.face import Face, faced


@click.command("schedule", help="Book many visitors onto stations within opening hours.")
@click.argument("requests", metavar="REQUESTS.JSON", type=click.Path(path_type=Path))
@faced
def command(face: Face, requests: Path) -> None:
    """Book a request file."""
    from takeup.tasks.schedule import schedule, schedule_answer

    keep_output_clean()
    document = schedule_answer(*schedule(requests), face.lang)
    face.answer(document, _lines(face, document))


def keep_output_clean() -> None:
    """From here on only our answer goes to standard output.

    The solver's library now and then prints a line of its own there, from below Python and at any time until the
    process ends; it goes to standard error instead, so that ``--json`` is one document and nothing else.
    """
    sys.stdout.flush()
    ours = os.dup(sys.stdout.fileno())
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    sys.stdout = os.fdopen(ours, "w", encoding="utf-8", errors="replace")


def _lines(face: Face, document: dict[str, Any]) -> Iterator[str]:
    visits = [(visit, "visit") for visit in document["visits"]] + [(one, "promised") for one in document["promised"]]
    for visit, key in sorted(visits, key=lambda one: (one[0]["date"], one[0]["from"], one[0]["station"])):
        facts = {"start": visit["from"], "end": visit["to"]}
        yield face.words(f"schedule.{key}", **{name: visit[name] for name in ("date", "station", "visitor")}, **facts)
    for one in document["unplaced"]:
        yield face.words("schedule.unplaced", visitor=one["visitor"], minutes=one["minutes"], why=one["why"])
    placed, left = len(document["visits"]), len(document["unplaced"])
    yield face.words("schedule.totals", visits=placed, minutes=document["minutes_placed"], unplaced=left)
    yield face.words("schedule.best" if document["best_possible"] else "schedule.not-proven")
    if document["best_possible"] and not document["order_proven"]:
        yield face.words("schedule.order")
