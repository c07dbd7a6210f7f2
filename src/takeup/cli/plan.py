"""``takeup plan``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from takeup.cli.face import Face, faced


@click.command("plan", help="Time, bytes, stations, visits, and the drive to bring.")
@click.argument("target", metavar="BOX|ITEMS.CSV", type=click.Path(path_type=Path))
@faced
def command(face: Face, target: Path) -> None:
    """Plan a box or an item list."""
    from takeup.tasks.plan import plan, plan_answer

    document = plan_answer(plan(target, face.settings), face.lang)
    face.answer(document, _lines(face, document))


def _lines(face: Face, document: dict[str, Any]) -> Iterator[str]:
    left_out = {entry["id"]: entry["why"] for entry in document["left_out"]}
    for item in document["items"]:
        if item["id"] in left_out:
            yield face.words("plan.left-out", id=item["id"], why=left_out[item["id"]])
            continue
        yield face.words(
            "plan.item",
            id=item["id"],
            station=face.words(f"station.{item['station']}"),
            likely=item["minutes_likely"],
            safe=item["minutes_safe"],
            master=item["master_bytes"],
            copy=item["copy_bytes"],
        )
        yield from (f"    {note}" for note in item["notes"])
    for number, visit in enumerate(document["visits"], 1):
        parts = visit.get("parts", {})
        items = [f"{name} ({parts[name]})" if name in parts else name for name in visit["items"]]
        station = face.words(f"station.{visit['station']}")
        yield face.words("plan.visit", number=number, station=station, minutes=visit["minutes"], items=items)
    drive = document["drive"]
    yield face.words(
        "plan.drive",
        bytes=drive["bytes"],
        copies=drive["copies_only_bytes"],
        filesystem="exFAT",
        why=drive["why"],
    )
