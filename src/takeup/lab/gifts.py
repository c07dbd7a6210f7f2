"""Gifts: offered by a visitor, decided by the librarian, taken down later. Who did what when is kept with each."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab import asked
from takeup.lab.port import Stale, add, change, now, one, rows
from takeup.lab.schema import ASKED, BOX, GIFT
from takeup.lab.wordings import wording
from takeup.words.sentences import say

STATES = ("offered", "accepted", "declined", "withdrawn", "taken-down")
FIRST = {  # keys of words/<key>/ text.<...>, until the lab writes its own
    "gift": ("copy", "use", "true", "back", "defer"),
    "release": ("speak", "keep", "heard", "others", "defer"),
}


def text_in_force(db: sa.Connection, key: str, lang: str) -> tuple[str, list[str]]:
    """The version (``gift-3``; ``gift-0``: the house's own words) and its paragraphs in a language."""
    saved = wording(db, key, lang)
    if saved and saved["body"].strip():
        parts = [" ".join(part.split()) for part in saved["body"].replace("\r", "").split("\n\n")]
        return f"{key}-{saved['edition']}", [part for part in parts if part]
    return f"{key}-0", [say(key, f"text.{name}", lang) for name in FIRST[key]]


def gifts_of(db: sa.Connection, box_id: int) -> list[dict[str, Any]]:
    """A box's gifts, the newest first."""
    return rows(db, GIFT, GIFT.c.box_id == box_id, order=GIFT.c.id.desc())


def gift(db: sa.Connection, gift_id: int) -> dict[str, Any] | None:
    """A gift with its box's number and title."""
    asked_for = sa.select(GIFT, BOX.c.number, BOX.c.title, BOX.c.folder).join(BOX, BOX.c.id == GIFT.c.box_id)
    row = db.execute(asked_for.where(GIFT.c.id == gift_id)).mappings().first()
    return dict(row) if row else None


def all_gifts(db: sa.Connection) -> list[dict[str, Any]]:
    """Every gift with its box's number and title, those that wait first, then the newest."""
    wanted = sa.select(GIFT, BOX.c.number, BOX.c.title).join(BOX, BOX.c.id == GIFT.c.box_id).order_by(GIFT.c.id.desc())
    found = [dict(row) for row in db.execute(wanted).mappings()]
    return sorted(found, key=lambda row: (row["state"] != "offered", not wants_down(row)))


def wants_down(row: dict[str, Any]) -> bool:
    """Whether its donor asked that an accepted gift be taken down."""
    return row["state"] == "accepted" and bool(row["facts"].get("down_asked"))


def offer(
    db: sa.Connection, box_id: int, gift_id: int | None, version: int | None, said: dict[str, Any], who: str
) -> int:
    """Offer a gift, or change one that nobody has decided yet; its number.

    Parameters
    ----------
    said : dict
        The columns ``kind, items, rights, people, people_agree, embargo_until, release`` and ``facts`` (the rest).

    Raises
    ------
    Stale
        When it was changed, decided or taken back meanwhile, or another is waiting that the form did not show.
    """
    waiting = one(db, GIFT, GIFT.c.box_id == box_id, GIFT.c.state == "offered")
    if (waiting["id"] if waiting else None) != gift_id:
        raise Stale("gift")
    what = "changed" if waiting else "offered"
    facts = said["facts"] | {"history": [*(waiting["facts"].get("history", []) if waiting else []), _line(what, who)]}
    columns = {name: value for name, value in said.items() if name != "facts"} | {"who": who, "facts": facts}
    if waiting:
        if version is None:
            raise Stale("gift")
        change(db, GIFT, waiting["id"], version, **columns)
        return int(waiting["id"])
    made = int(add(db, GIFT, box_id=box_id, state="offered", why="", offered_at=now(), **columns))
    asked.ask_somebody(db, None, "gift", f"gift-{made}", facts={"gift": made}, box_id=box_id)
    return made


def decide(db: sa.Connection, gift_id: int, version: int | None, state: str, why: str, who: str) -> None:
    """Accept, decline, take back or take down; the question about it is answered by that.

    Raises
    ------
    Stale
        When somebody else changed or decided it meanwhile, or it stands where this cannot be done.
    """
    row = one(db, GIFT, GIFT.c.id == gift_id)
    before = "accepted" if state == "taken-down" else "offered"
    if row is None or version is None or row["state"] != before:
        raise Stale("gift")
    facts = row["facts"] | {"history": [*row["facts"].get("history", []), _line(state, who, why)]}
    change(db, GIFT, gift_id, version, state=state, why=why, decided_at=now(), facts=facts)
    key = f"gift-{gift_id}-down" if state == "taken-down" else f"gift-{gift_id}"
    for question in asked.waiting(db, ASKED.c.kind == "gift", ASKED.c.key == key):
        asked.answer(db, question["id"], None, said="done", who=who, why=state)


def ask_down(db: sa.Connection, gift_id: int, version: int | None, why: str, who: str) -> None:
    """The donor asks that an accepted gift be taken down; staff see it among what waits.

    Raises
    ------
    Stale
        When it changed meanwhile or is not accepted.
    """
    row = one(db, GIFT, GIFT.c.id == gift_id)
    if row is None or version is None or row["state"] != "accepted":
        raise Stale("gift")
    facts = row["facts"] | {
        "down_asked": why or "-", "history": [*row["facts"].get("history", []), _line("down-asked", who, why)]
    }  # fmt: skip
    change(db, GIFT, gift_id, version, facts=facts)
    asked.ask_somebody(
        db, None, "gift", f"gift-{gift_id}-down", facts={"gift": gift_id, "down": True}, box_id=row["box_id"]
    )


def forget_gifts(db: sa.Connection, box_id: int) -> None:
    """Take away what a gift says of people, where the library did not take it; an accepted one is the collection's."""
    for row in rows(db, GIFT, GIFT.c.box_id == box_id, GIFT.c.state != "accepted"):
        history = [{name: line[name] for name in ("what", "who", "at")} for line in row["facts"].get("history", [])]
        facts = row["facts"] | {"maker": "", "named": "", "history": history}
        facts.pop("down_asked", None)
        state = "withdrawn" if row["state"] == "offered" else row["state"]
        change(db, GIFT, row["id"], None, people="", why="", state=state, facts=facts)
        for question in asked.waiting(db, ASKED.c.kind == "gift", ASKED.c.key == f"gift-{row['id']}"):
            asked.answer(db, question["id"], None, said="done", who="desk", why="forgotten")


def _line(what: str, who: str, why: str = "") -> dict[str, str]:
    return {"what": what, "who": who, "at": now()} | ({"why": why} if why else {})
