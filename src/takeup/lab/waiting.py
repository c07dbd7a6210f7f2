"""The waiting list: who would come when, and whom a time that came free fits, the one who asked first before others."""

from __future__ import annotations

import datetime as dt
from itertools import islice
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import bookings_between, visitor_of
from takeup.lab.hours import lab_of
from takeup.lab.port import add, change, now, rows
from takeup.lab.schema import PERSON, WAITING
from takeup.plan.booking import Waiting, Wish, who_fits
from takeup.plan.offers import free_starts
from takeup.plan.opening import Booking, Gap
from takeup.plan.schedule_places import Window

ALL_DAY = {"first": "", "last": "", "from_min": 0, "to_min": 1440, "weekdays": []}


def wait(
    db: sa.Connection, *, person_id: int, kind: str, minutes: int, can: dict[str, Any] | None = None, brings: str = ""
) -> int:
    """Put somebody on the list.

    Parameters
    ----------
    can : dict
        When they can come: ``first`` and ``last`` day (empty: any), ``from_min`` and ``to_min`` of the day,
        ``weekdays`` (0 Monday; empty: all). What is left out is any time.
    """
    about = ALL_DAY | (can or {})
    return int(
        add(
            db, WAITING, person_id=person_id, kind=kind, minutes=minutes, can=about, asked_at=now(), state="waiting",
            brings=brings,
        )
    )  # fmt: skip


def all_waiting(db: sa.Connection, *where: Any) -> list[dict[str, Any]]:
    """Who waits, the one who asked first before others."""
    asked = (
        sa.select(WAITING, PERSON.c.name, PERSON.c.contact, PERSON.c.lang)
        .outerjoin(PERSON, PERSON.c.id == WAITING.c.person_id)
        .where(WAITING.c.state == "waiting", *where)
        .order_by(WAITING.c.asked_at, WAITING.c.id)
    )
    return [dict(row) for row in db.execute(asked).mappings()]


def take_off(db: sa.Connection, waiting_id: int, version: int | None, *, visit_id: int | None = None) -> None:
    """Off the list: booked when ``visit_id`` is told, else they no longer wait."""
    change(db, WAITING, waiting_id, version, state="booked" if visit_id else "gone", visit_id=visit_id)


def starts_for(
    db: sa.Connection, waits: dict[str, Any], since: tuple[dt.date, int], last: dt.date, *, most: int = 3
) -> list[Booking]:
    """The first free starts, from a day and minute on, at which somebody on the list could come."""
    can = ALL_DAY | waits["can"]
    first, minute = since
    begins, ends = max(first, _day(can["first"], first)), min(last, _day(can["last"], last))
    if begins > ends:
        return []
    wish = Wish(
        kind=waits["kind"], day=begins, start=minute if begins == first else 0, minutes=waits["minutes"],
        visitor=visitor_of(waits["person_id"]),
    )  # fmt: skip
    lab, bookings = lab_of(db, begins, ends), bookings_between(db, begins, ends)
    between = (can["from_min"], can["to_min"])
    return list(islice(free_starts(lab, bookings, wish, ends, between=between, weekdays=can["weekdays"]), most))


def whom_it_fits(db: sa.Connection, gap: Gap) -> list[tuple[dict[str, Any], Wish]]:
    """Who on the list could come into a time that came free, each with the earliest visit for them."""
    known = {row["id"]: row for row in all_waiting(db)}
    lab, bookings = lab_of(db, gap.day, gap.day), bookings_between(db, gap.day, gap.day)
    asked = [as_waiting(row, gap.day) for row in known.values() if _may_come(row, gap.day)]
    return [(known[one.id], wish) for one, wish in who_fits(gap, asked, lab, bookings)]  # type: ignore[index]


def as_waiting(row: dict[str, Any], *days: dt.date) -> Waiting:
    """Somebody on the list as the planning room takes them, with their times on these days."""
    can = ALL_DAY | row["can"]
    return Waiting(
        id=row["id"],
        visitor=visitor_of(row["person_id"]),
        kind=row["kind"],
        minutes=row["minutes"],
        can=tuple(Window(day=day, start=can["from_min"], end=can["to_min"]) for day in days if _may_come(row, day)),
        asked=dt.datetime.fromisoformat(row["asked_at"]),
    )


def _may_come(row: dict[str, Any], day: dt.date) -> bool:
    can = ALL_DAY | row["can"]
    in_days = _day(can["first"], day) <= day <= _day(can["last"], day)
    return in_days and (not can["weekdays"] or day.weekday() in can["weekdays"])


def _day(text: str, otherwise: dt.date) -> dt.date:
    return dt.date.fromisoformat(text) if text else otherwise


def count_waiting(db: sa.Connection) -> int:
    return len(rows(db, WAITING, WAITING.c.state == "waiting"))
