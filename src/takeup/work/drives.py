"""Try a visitor's drive before anything is copied to it; nothing is left on it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.lab.port import one
from takeup.lab.schema import BOX
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.drive import drive_document, try_drive
from takeup.tasks.ears import Ears
from takeup.words.sentences import LANGUAGES


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Try ``asked["drive"]``, with room for ``asked["needed"]`` bytes; what is known of it, in both languages."""
    rows = load_rows()
    tried = try_drive(Path(asked["drive"]), rows, needed_bytes=asked.get("needed"), ears=ears)
    return {lang: drive_document(tried, rows, lang) for lang in LANGUAGES}


def after(db: Any, job: dict[str, Any], answer: dict[str, Any]) -> None:
    """The box remembers what the last trial said; a form that is open about the box is not made out of date by it."""
    said = answer["en"]
    told = f"{said['drive']}: {said['verdict']}"
    if job["box_id"]:
        row = one(db, BOX, BOX.c.id == job["box_id"])
        facts = (row["facts"] if row else {}) | {"drive_free_bytes": said.get("free_bytes")}
        db.execute(BOX.update().where(BOX.c.id == job["box_id"]).values(drive=told, facts=facts))
