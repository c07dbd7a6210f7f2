"""Forget people whose time is over: their words in the lab, pictures of their labels, pieces made of captures."""

from __future__ import annotations

from pathlib import Path

from takeup.files.label_photos import drop_photo
from takeup.lab.forgetting import due_to_forget, forget
from takeup.lab.photos import forget_photo, photos_of
from takeup.lab.port import Lab, rows
from takeup.lab.schema import BOX
from takeup.tasks.excerpt import forget_box


def forget_due(lab: Lab, home: Path, today: str) -> int:
    """Forget everybody whose day has come; how many. Nothing in a box is touched; cut off, it goes on next time."""
    with lab.reading() as db:
        due = due_to_forget(db, today)
    for person in due:
        with lab.writing() as db:
            boxes = rows(db, BOX, BOX.c.person_id == person["id"])
            gone = [forget_photo(db, box["id"], picture["id"]) for box in boxes for picture in photos_of(db, box["id"])]
            forget(db, person["id"])
        for path in gone:
            if path:
                drop_photo(home, path)
        for box in boxes:
            forget_box(home, box["number"])
    return len(due)
