"""Pictures of labels as the lab knows them: of which original, where they lie below the home."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, now, one, rows
from takeup.lab.schema import PHOTO


def photos_of(db: sa.Connection, box_id: int, item: str | None = None) -> list[dict[str, Any]]:
    """Pictures of a box, or of one original in it, in the order they came."""
    where = [PHOTO.c.box_id == box_id] + ([PHOTO.c.item == item] if item is not None else [])
    return rows(db, PHOTO, *where, order=PHOTO.c.id)


def photo(db: sa.Connection, box_id: int, photo_id: int) -> dict[str, Any] | None:
    return one(db, PHOTO, PHOTO.c.box_id == box_id, PHOTO.c.id == photo_id)


def add_photo(db: sa.Connection, box_id: int, item: str, path: str, sha256: str, who: str) -> int:
    """Note a picture once: the same one of the same original again changes nothing."""
    there = one(db, PHOTO, PHOTO.c.box_id == box_id, PHOTO.c.item == item, PHOTO.c.sha256 == sha256)
    if there:
        return int(there["id"])
    return int(add(db, PHOTO, box_id=box_id, item=item, path=path, sha256=sha256, at=now(), who=who))


def rename_photos(db: sa.Connection, box_id: int, old: str, new: str) -> None:
    """The original has another id now."""
    db.execute(PHOTO.update().where(PHOTO.c.box_id == box_id, PHOTO.c.item == old).values(item=new))


def forget_photo(db: sa.Connection, box_id: int, photo_id: int) -> str:
    """Take a picture away; its path, when no other row speaks of it any more."""
    row = photo(db, box_id, photo_id)
    if row is None:
        return ""
    db.execute(PHOTO.delete().where(PHOTO.c.id == photo_id))
    return "" if one(db, PHOTO, PHOTO.c.path == row["path"]) else str(row["path"])
