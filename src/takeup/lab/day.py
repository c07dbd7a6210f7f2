"""One day of the lab as its page shows it."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.places import stations
from takeup.lab.port import rows
from takeup.lab.schema import ASKED, BOX, DOWN, PERSON, STATION, VISIT
from takeup.lab.settings import setting


def day_of(db: sa.Connection, day: str) -> dict[str, Any]:
    """Visits by station, stations down, questions waiting; times in minutes since midnight."""
    asked = (
        sa.select(VISIT, BOX.c.number, PERSON.c.name, PERSON.c.lang)
        .outerjoin(BOX, BOX.c.id == VISIT.c.box_id)
        .outerjoin(PERSON, PERSON.c.id == VISIT.c.person_id)
        .where(VISIT.c.day == day, VISIT.c.state != "cancelled")
        .order_by(VISIT.c.from_min)
    )
    visits = [dict(row) for row in db.execute(asked).mappings()]
    down = {row["station_id"]: row for row in rows(db, DOWN, DOWN.c.first <= day, DOWN.c.last >= day)}
    places = [
        station
        | {
            "visits": [visit for visit in visits if visit["station_id"] == station["id"]],
            "down": down.get(station["id"]),
        }
        for station in stations(db)
    ]
    waiting = (
        sa.select(ASKED, BOX.c.number, STATION.c.name_en, STATION.c.name_zh)
        .outerjoin(BOX, BOX.c.id == ASKED.c.box_id)
        .outerjoin(STATION, STATION.c.id == ASKED.c.station_id)
        .where(ASKED.c.answered_at.is_(None))
        .order_by(ASKED.c.at)
    )
    opening, _ = setting(db, "opening")
    return {
        "day": day,
        "stations": places,
        "visits": visits,
        "asked": [dict(row) for row in db.execute(waiting).mappings()],
        "opening": opening,
    }
