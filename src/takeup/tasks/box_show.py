"""Shows where every item of a box stands, what is next, and what holds it up. Reads only."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.box.folder import look_into
from takeup.box.standing import BoxStanding, Hold, Standing, box_standing
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.words.sentences import say


def box_show(folder: Path, settings: Settings) -> tuple[Path, BoxStanding]:
    """The box's folder and how it stands."""
    rows = load_rows()
    films = [name for name in rows.names("carriers") if rows.value(f"carriers.{name}.medium") == "film"]
    box = look_into(folder, settings)
    return box.folder, box_standing(box, joined=films)


def show_answer(folder: Path, standing: BoxStanding, lang: str) -> dict[str, Any]:
    """``box show --json`` (docs/guides/box-show.md)."""
    return {
        "box": str(folder),
        "agreed": standing.agreed,
        "originals": len(standing.items),
        "pieces": sum(item.original.count or 1 for item in standing.items),
        "items": [_item_answer(item, lang) for item in standing.items],
        "next": standing.next or None,
        "held_up_by": [held(hold, lang) for hold in standing.holds],
    }


def _item_answer(item: Standing, lang: str) -> dict[str, Any]:
    about = {"id": item.original.id, "carrier": item.original.carrier, "label": item.original.label}
    details = {"outcome": item.outcome or None, "captures": item.captures, "verdict": item.verdict}
    state = {"next": item.next or None, "held_up_by": [held(hold, lang) for hold in item.holds]}
    return about | dict(item.done) | details | state


def held(hold: Hold, lang: str) -> str:
    """What holds something up, in words."""
    return say("answers", f"hold.{hold.key}", lang, hold.facts)
