"""Forgetting people when the lab's set time is over. The figures stay; nothing in a box is touched."""

from __future__ import annotations

import sqlalchemy as sa

from takeup.lab.gifts import forget_gifts
from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import AGREEMENT, BOX, FIGURE, PERSON, SESSION, VISIT, WAITING


def due_to_forget(db: sa.Connection, today: str) -> list[dict]:
    """People whose time is over and who are still known by name."""
    return rows(
        db, PERSON, PERSON.c.forget_on != "", PERSON.c.forget_on <= today, PERSON.c.name != "", order=PERSON.c.id
    )


def forget(db: sa.Connection, person_id: int) -> None:
    """Take a person's name, contact and needs away, and what else names them; count the visits for the funder.

    The row stays without a word in it, so that what points to it stays whole.
    """
    person = one(db, PERSON, PERSON.c.id == person_id)
    if person is None or not person["name"]:
        return
    for visit in rows(db, VISIT, VISIT.c.person_id == person_id):
        facts = {"state": visit["state"], "minutes": visit["to_min"] - visit["from_min"], "lang": person["lang"]}
        add(db, FIGURE, day=visit["day"], what="visit", kind=visit["station_id"], count=1, facts=facts)
    db.execute(VISIT.update().where(VISIT.c.person_id == person_id).values(brings=""))
    db.execute(WAITING.delete().where(WAITING.c.person_id == person_id))
    db.execute(AGREEMENT.delete().where(AGREEMENT.c.person_id == person_id))
    for box in rows(db, BOX, BOX.c.person_id == person_id):
        db.execute(SESSION.delete().where(SESSION.c.box_id == box["id"]))
        forget_gifts(db, box["id"])
        change(db, BOX, box["id"], None, title="", code_sha256=None, code_until=None)
    change(db, PERSON, person_id, None, name="", contact="", needs="", lang="", minor=False, forget_on=now()[:10])
