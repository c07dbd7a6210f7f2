"""Clear the stations of a box's files under its receipts; a station removes what lies on its own disk itself."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from takeup.lab import live
from takeup.lab.port import one as find
from takeup.lab.schema import STATION
from takeup.settings import Settings
from takeup.tasks.clear import clear, readable
from takeup.tasks.ears import Ears


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Remove what receipts cover; what stays stays with its reason; orders for the stations come with the answer."""
    named = replace(settings, who=asked.get("who") or settings.who)
    done = clear(folder, settings=named, ears=ears)
    kept = [
        [readable(one.file), one.why, {name: str(fact) for name, fact in one.facts.items()}]
        for one in done.kept
        if one.why != "at-station"
    ]
    removed = [readable(path) for path in done.removed]
    return {"removed": removed, "kept": kept, "ordered": [asdict(one) for one in done.ordered]}


def after(db: Any, job: dict[str, Any], answer: dict[str, Any]) -> None:
    """Each file on a station's own disk becomes an order for that station's takeup, once."""
    for one in answer["ordered"]:
        if find(db, STATION, STATION.c.id == one["station"]) is None:
            continue  # the lab has no such station any more: the file stays where it is, and on the list
        facts = {name: value for name, value in one.items() if name != "station"}
        key = f"clear {job['box_id']} {one['station']} {one['path']} {one['sha256']}"
        live.order(db, one["station"], job["box_id"], "clear", key, facts)
