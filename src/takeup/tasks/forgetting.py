"""Forget people whose time is over: their words in the lab, pictures of their labels, pieces made of captures,
and which scans of theirs a station's history has its figures from.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from takeup.box.record import Record
from takeup.errors import Unreadable
from takeup.files.label_photos import drop_photo
from takeup.files.targets import forget_captures
from takeup.lab.forgetting import due_to_forget, forget
from takeup.lab.photos import forget_photo, photos_of
from takeup.lab.port import Lab, rows
from takeup.lab.schema import BOX
from takeup.tasks.excerpt import forget_box

BOXES = "boxes"  # of a lab's home
WAIT_S = 10.0  # for a check that is adding to a station's history


def forget_due(lab: Lab, home: Path, today: str) -> int:
    """Forget everybody whose day has come; how many. Nothing in a box is touched; cut off, it goes on next time."""
    with lab.reading() as db:
        due = due_to_forget(db, today)
    for person in due:
        with lab.reading() as db:
            boxes = rows(db, BOX, BOX.c.person_id == person["id"])
        forget_captures(
            home, _scanned(home, [box["folder"] for box in boxes]), WAIT_S
        )  # first: cut off, it is due again
        with lab.writing() as db:
            gone = [forget_photo(db, box["id"], picture["id"]) for box in boxes for picture in photos_of(db, box["id"])]
            forget(db, person["id"])
        for path in gone:
            if path:
                drop_photo(home, path)
        for box in boxes:
            forget_box(home, box["number"])
    return len(due)


def _scanned(home: Path, folders: list[str]) -> set[str]:
    """The checksums of all that was captured into some boxes, as far as they still lie in the lab's home."""
    digests: set[str] = set()
    for record in (Record(home / BOXES / folder) for folder in folders if folder):
        if record.exists():
            with suppress(Unreadable):  # a damaged record keeps nobody from being forgotten
                digests |= {fact.facts["sha256"] for fact in record.facts("taken")}
    return digests
