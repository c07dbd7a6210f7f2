"""The people who come: found again by name or contact, entered once. Their data go after the lab's set time."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import BOX, PERSON, VISIT
from takeup.lab.settings import setting

MOST_FOUND = 6  # as many as are looked through while somebody waits on the telephone


def find_persons(db: sa.Connection, typed: str, most: int = MOST_FOUND) -> list[dict[str, Any]]:
    """People whose name or contact holds every word typed, those whose name begins so first.

    Words are compared without regard to case in every script; the digits of a telephone number also without its blanks.
    """
    words = typed.casefold().split()
    digits = "".join(sign for sign in typed if sign.isdigit())
    if len("".join(words)) < 2:
        return []
    found = []
    for row in rows(db, PERSON, order=PERSON.c.id.desc()):
        name, contact = row["name"].casefold(), row["contact"].casefold()
        called = "".join(sign for sign in contact if sign.isdigit())
        if all(word in name or word in contact for word in words) or (len(digits) > 3 and digits in called):
            found.append((not name.startswith(words[0]), name, row))
    return [row | {"last": _last_day(db, row["id"])} for _, _, row in sorted(found, key=lambda one: one[:2])[:most]]


def _last_day(db: sa.Connection, person_id: int) -> str:
    asked = sa.select(sa.func.max(VISIT.c.day)).where(VISIT.c.person_id == person_id, VISIT.c.state != "cancelled")
    return db.execute(asked).scalar() or ""


def person_for(
    db: sa.Connection, *, person_id: int | None, name: str, contact: str = "", lang: str = "", needs: str = ""
) -> int:
    """The person chosen, or the one with the very same name and contact, or a new one.

    What is typed anew for a known person (contact, needs, language) is kept; what is left empty changes nothing.
    """
    known = one(db, PERSON, PERSON.c.id == person_id) if person_id else None
    if known is None and contact:
        same = (row for row in rows(db, PERSON, PERSON.c.contact == contact) if _folded(row["name"]) == _folded(name))
        known = next(same, None)
    if known is None:
        return int(
            add(db, PERSON, name=name, contact=contact, lang=lang, needs=needs, made_at=now(), forget_on="")
        )  # fmt: skip
    typed = {"contact": contact, "lang": lang, "needs": needs}
    news = {field: value for field, value in typed.items() if value and value != known[field]}
    if news:
        change(db, PERSON, known["id"], None, **news)
    return int(known["id"])


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def keep_until_after(db: sa.Connection, person_id: int, day: dt.date) -> None:
    """Keep a person's data so many days after this day, as the lab has set; never shorter than before."""
    days = setting(db, "keep")[0]["person_days"]
    until = (day + dt.timedelta(days=days)).isoformat()
    row = one(db, PERSON, PERSON.c.id == person_id)
    if row and row["forget_on"] < until:
        change(db, PERSON, person_id, None, forget_on=until)


def open_box_of(db: sa.Connection, person_id: int | None) -> int | None:
    """The person's newest box that is not closed."""
    if person_id is None:
        return None
    asked = sa.select(sa.func.max(BOX.c.id)).where(BOX.c.person_id == person_id, BOX.c.closed_at.is_(None))
    return db.execute(asked).scalar()


def no_shows_of(db: sa.Connection, person_id: int | None) -> int:
    """How often this person did not come."""
    asked = sa.select(sa.func.count()).where(VISIT.c.person_id == person_id, VISIT.c.state == "no-show")
    return int(db.execute(asked).scalar() or 0) if person_id else 0
