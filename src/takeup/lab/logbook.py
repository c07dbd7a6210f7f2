"""The lab's logbook: incidents, cleaning, consumables, the opening list, what was left behind. Five kinds."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import BOX, LOG

KINDS = ("incident", "cleaning", "consumable", "opening", "lost")


def write_log(
    db: sa.Connection,
    kind: str,
    text: str,
    *,
    who: str,
    station_id: str | None = None,
    box_id: int | None = None,
    facts: dict[str, Any] | None = None,
    still_open: bool = False,
) -> int:
    """One line of the logbook; its number. ``still_open``: somebody has to do something about it yet."""
    return int(
        add(
            db,
            LOG,
            at=now(),
            kind=kind,
            text=text,
            who=who,
            station_id=station_id,
            box_id=box_id,
            facts=facts or {},
            state="open" if still_open else "done",
        )
    )


def done_with(db: sa.Connection, log_id: int, version: int | None, who: str) -> None:
    """What was open is seen to.

    Raises
    ------
    Stale
        When somebody else has changed the line meanwhile.
    """
    row = one(db, LOG, LOG.c.id == log_id)
    facts = (row["facts"] if row else {}) | {"done_by": who, "done_at": now()}
    change(db, LOG, log_id, version, state="done", facts=facts)


def log_lines(
    db: sa.Connection, *, kind: str = "", station_id: str = "", only_open: bool = False, most: int = 200
) -> list[dict[str, Any]]:
    """Lines of the logbook, the newest first, with the number of the box they speak of."""
    asked = sa.select(LOG, BOX.c.number).outerjoin(BOX, BOX.c.id == LOG.c.box_id).order_by(LOG.c.id.desc()).limit(most)
    if kind:
        asked = asked.where(LOG.c.kind == kind)
    if station_id:
        asked = asked.where(LOG.c.station_id == station_id)
    if only_open:
        asked = asked.where(LOG.c.state == "open")
    return [dict(row) for row in db.execute(asked).mappings()]


def stock(db: sa.Connection) -> dict[str, int]:
    """How many of each consumable are left, by the logbook's own counts: what came minus what went."""
    left: dict[str, int] = {}
    for row in rows(db, LOG, LOG.c.kind == "consumable", order=LOG.c.id):
        facts = row["facts"]
        if facts.get("what"):
            left[facts["what"]] = left.get(facts["what"], 0) + int(facts.get("count", 0))
    return left


def last_cleaned(db: sa.Connection) -> dict[str, str]:
    """When each station was last cleaned."""
    asked = (
        sa.select(LOG.c.station_id, sa.func.max(LOG.c.at)).where(LOG.c.kind == "cleaning").group_by(LOG.c.station_id)
    )
    return {station: at for station, at in db.execute(asked) if station}


def counts_that_differ(db: sa.Connection) -> list[dict[str, Any]]:
    """Boxes from which some originals went home and not all: ``originals_in``, ``originals_out``."""
    differ = (BOX.c.originals_out > 0, BOX.c.originals_out != BOX.c.originals_in, BOX.c.closed_at.is_(None))
    return rows(db, BOX, *differ, order=BOX.c.id)
