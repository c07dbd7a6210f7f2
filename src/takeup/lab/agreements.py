"""The agreement: its text (in words until the lab writes its own), and who signed which one."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, one, rows
from takeup.lab.schema import AGREEMENT, PERSON
from takeup.lab.settings import setting
from takeup.lab.wordings import wording
from takeup.words.sentences import say

KEY = "agreement"
FIRST = ("mine", "care", "private", "kept", "home", "defer")


def agreement_text(db: sa.Connection, lang: str) -> tuple[str, list[str]]:
    """The version in force and its paragraphs in a language (the lab's own text, else the first one)."""
    keep, _ = setting(db, "keep")
    facts = {"days": keep["person_days"], "age": setting(db, "adult_age")[0]}
    saved = wording(db, KEY, lang)
    if saved and saved["body"].strip():
        body = saved["body"].replace("\r", "")
        for name, value in facts.items():
            body = body.replace(f"{{{name}}}", str(value))
        paragraphs = [" ".join(part.split()) for part in body.split("\n\n")]
        return f"agreement-{saved['edition']}", [part for part in paragraphs if part]
    return "agreement-0", [say("agreement", key, lang, facts) for key in FIRST]


def note_agreement(
    db: sa.Connection, box: dict[str, Any], *, form: str, lang: str, adult_for_minor: bool, who: str
) -> None:
    """Note that it was signed; the very same again changes nothing."""
    standing = agreement_of(db, box["id"])
    facts = {"form": form, "lang": lang, "adult_for_minor": adult_for_minor}
    if standing is None or any(standing[name] != value for name, value in facts.items()):
        day = date.today().isoformat()
        add(db, AGREEMENT, person_id=box["person_id"], box_id=box["id"], date=day, who=who, **facts)


def agreement_of(db: sa.Connection, box_id: int) -> dict[str, Any] | None:
    """The last one signed for a box."""
    found = rows(db, AGREEMENT, AGREEMENT.c.box_id == box_id, order=AGREEMENT.c.id.desc())
    return found[0] if found else None


def person_of_box(db: sa.Connection, box: dict[str, Any]) -> dict[str, Any] | None:
    """Whose box it is; nobody's once the person is forgotten."""
    return one(db, PERSON, PERSON.c.id == box["person_id"]) if box["person_id"] else None
