"""The book of visits as it is read: who has which time of which station, and what time is left."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.port import rows
from takeup.lab.schema import BOX, PERSON, VISIT
from takeup.plan.booking import gap_left
from takeup.plan.opening import Booking, Gap

HOLDS = ("booked", "here", "done")  # visits that keep their time


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """Where and when: a station, a day, minutes since midnight."""

    station_id: str
    day: dt.date
    start: int
    end: int


def slot_of(visit: dict[str, Any]) -> Slot:
    day = dt.date.fromisoformat(visit["day"])
    return Slot(station_id=visit["station_id"], day=day, start=visit["from_min"], end=visit["to_min"])


def visits_between(db: sa.Connection, first: dt.date, last: dt.date, *where: Any) -> list[dict[str, Any]]:
    """Visits of these days with who comes and which box, by day and start; cancelled ones are left out."""
    asked = (
        sa.select(VISIT, BOX.c.number, PERSON.c.name, PERSON.c.contact, PERSON.c.lang, PERSON.c.needs)
        .outerjoin(BOX, BOX.c.id == VISIT.c.box_id)
        .outerjoin(PERSON, PERSON.c.id == VISIT.c.person_id)
        .where(VISIT.c.day.between(first.isoformat(), last.isoformat()), VISIT.c.state != "cancelled", *where)
        .order_by(VISIT.c.day, VISIT.c.from_min, VISIT.c.id)
    )
    return [dict(row) for row in db.execute(asked).mappings()]


def bookings_between(
    db: sa.Connection, first: dt.date, last: dt.date, *, but: int | tuple[int, ...] | None = None
) -> list[Booking]:
    """The visits that keep their time, as the planning room takes them. ``but``: these are left out."""
    left_out = (but,) if isinstance(but, int) else but or ()
    found = rows(
        db, VISIT, VISIT.c.day.between(first.isoformat(), last.isoformat()), VISIT.c.state.in_(HOLDS),
        VISIT.c.id.not_in(left_out),
    )  # fmt: skip
    return [as_booking(row) for row in found]


def as_booking(row: dict[str, Any]) -> Booking:
    slot = slot_of(row)
    return Booking(
        visitor=visitor_of(row["person_id"], row["id"]), station=slot.station_id, day=slot.day, start=slot.start,
        end=slot.end,
    )  # fmt: skip


def visitor_of(person_id: int | None, visit_id: int = 0) -> str:
    """What the planning room calls somebody; a walk-in without a name is nobody but themselves."""
    return f"p{person_id}" if person_id else f"v{visit_id}"


def hit_by_downtime(db: sa.Connection, first: dt.date) -> list[dict[str, Any]]:
    """Booked visits from a day on at stations that do not run then."""
    last = first + dt.timedelta(days=366)
    lab = lab_of(db, first, last)
    down = {one.id: one.down for one in lab.stations}
    found = visits_between(db, first, last, VISIT.c.state == "booked")
    return [visit for visit in found if dt.date.fromisoformat(visit["day"]) in down.get(visit["station_id"], ())]


def gap_of(db: sa.Connection, visit: dict[str, Any], at: dt.datetime | None = None) -> Gap | None:
    """The free time that a visit which will not be leaves now; None when it is over or taken again."""
    day, minute = here(zone_of(db), at)
    booking = as_booking(visit)
    lab = lab_of(db, booking.day, booking.day)
    return gap_left(booking, day, minute, lab, bookings_between(db, booking.day, booking.day))
