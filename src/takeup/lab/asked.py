"""What waits for a person: a finding that says do it again, a bell, a station that drifts. It stays until answered."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ASKED


def ask_somebody(
    db: sa.Connection,
    station_id: str | None,
    kind: str,
    key: str,
    *,
    verdict: str = "look",
    facts: dict[str, Any] | None = None,
    capture_id: str | None = None,
    box_id: int | None = None,
    item: str = "",
) -> int:
    """Put a question before people, once for each ``(kind, key)``; its number."""
    row = one(db, ASKED, ASKED.c.kind == kind, ASKED.c.key == key)
    if row:
        return int(row["id"])
    return int(
        add(
            db, ASKED, station_id=station_id, kind=kind, key=key, verdict=verdict, facts=facts or {},
            capture_id=capture_id, box_id=box_id, item=item, at=now(), answer="", why="", who="",
        )
    )  # fmt: skip


def answer(db: sa.Connection, asked_id: int, version: int | None, *, said: str, who: str, why: str = "") -> None:
    """Keep who answered what and why.

    Raises
    ------
    Stale
        When somebody else has answered meanwhile.
    """
    change(db, ASKED, asked_id, version, answer=said, who=who, why=why, answered_at=now())


def waiting(db: sa.Connection, *where: Any) -> list[dict[str, Any]]:
    """What nobody has answered yet, the oldest first."""
    return rows(db, ASKED, ASKED.c.answered_at.is_(None), *where, order=ASKED.c.id)
