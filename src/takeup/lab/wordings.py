"""The lab's own texts in both languages: the agreement, the interview's release, step lists. Every edition stays."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import Stale, add, now, rows
from takeup.lab.schema import WORDING


def editions(db: sa.Connection, key: str, lang: str) -> list[dict[str, Any]]:
    """All editions of a text, the newest first."""
    return rows(db, WORDING, WORDING.c.key == key, WORDING.c.lang == lang, order=WORDING.c.edition.desc())


def wording(db: sa.Connection, key: str, lang: str) -> dict[str, Any] | None:
    """The text in force, or None while the lab has none of its own."""
    found = editions(db, key, lang)
    return found[0] if found else None


def keep_wording(db: sa.Connection, key: str, lang: str, body: str, *, after: int, who: str) -> int:
    """Keep a new edition; its number.

    Parameters
    ----------
    after : int
        The edition the form was filled from (0: none).

    Raises
    ------
    Stale
        When somebody kept another edition meanwhile.
    """
    standing = wording(db, key, lang)
    if (standing["edition"] if standing else 0) != after:
        raise Stale("wording")
    if standing and standing["body"] == body:
        return after
    add(db, WORDING, key=key, lang=lang, edition=after + 1, body=body, made_at=now(), who=who)
    return after + 1
