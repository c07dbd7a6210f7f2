"""Boxes as the lab knows them: their number, whose they are, the slip's code. What is in them stands in the box."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import BOX, SITTING
from takeup.lab.secrets import digest, new_code
from takeup.lab.settings import setting


def open_box(db: sa.Connection, person_id: int | None, title: str) -> dict[str, Any]:
    """A new box with the next free number; its folder (below the home's ``boxes/``) is not made here."""
    last = db.execute(sa.select(sa.func.max(BOX.c.id))).scalar() or 0
    number = f"{last + 1:04d}"
    while one(db, BOX, BOX.c.number == number):
        last += 1
        number = f"{last + 1:04d}"
    key = add(db, BOX, number=number, folder=number, person_id=person_id, title=title, opened_at=now())
    return one(db, BOX, BOX.c.id == key) or {}


def box_numbered(db: sa.Connection, number: str) -> dict[str, Any] | None:
    """The box with this number on its labels."""
    return one(db, BOX, BOX.c.number == number)


def open_boxes(db: sa.Connection) -> list[dict[str, Any]]:
    """Boxes that are not closed, the newest first."""
    return rows(db, BOX, BOX.c.closed_at.is_(None), order=BOX.c.id.desc())


def new_slip_code(db: sa.Connection, box_id: int, until: str | None = None) -> str:
    """A code for the box's slip, good for the visit's time; an earlier one opens nothing any more. Told once.

    Parameters
    ----------
    until : str, optional
        When the visit's time is over (UTC, as the tables keep moments); some hours from now when not told.
    """
    keep, _ = setting(db, "keep")
    hours = (datetime.now(UTC) + timedelta(hours=keep["code_hours"])).isoformat(timespec="milliseconds")
    code = new_code()
    _end_sittings(db, box_id)  # what an earlier code opened at a station is not opened again by this one
    change(db, BOX, box_id, None, code_sha256=digest(code), code_until=until or hours)
    return code


def end_slip_code(db: sa.Connection, box_id: int) -> None:
    """The visit is over: the code, and every screen it opened, is of no use any more."""
    _end_sittings(db, box_id)
    change(db, BOX, box_id, None, code_sha256=None, code_until=None)


def _end_sittings(db: sa.Connection, box_id: int) -> None:
    ended = SITTING.update().where(SITTING.c.box_id == box_id, SITTING.c.ended_at.is_(None))
    db.execute(ended.values(ended_at=now(), version=SITTING.c.version + 1))
