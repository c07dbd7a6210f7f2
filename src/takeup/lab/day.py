"""One day of the lab as its page shows it: visits, machines down, questions, what is ready, what was left behind."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import as_booking, bookings_between, visits_between
from takeup.lab.hours import here, lab_of, moment_of, zone_of
from takeup.lab.logbook import counts_that_differ
from takeup.lab.places import stations
from takeup.lab.port import rows
from takeup.lab.schema import ASKED, BOX, CAPTURE, DOWN, JOB, LOG, STATION
from takeup.plan.booking import is_no_show, what_fits
from takeup.plan.opening import Lab, open_spans
from takeup.tables.loader import load_rows


def day_of(db: sa.Connection, day: str, at: dt.datetime | None = None) -> dict[str, Any]:
    """Everything of one day; times in minutes since midnight of the lab's own clock.

    Parameters
    ----------
    at : datetime, optional
        The present moment.
    """
    date = dt.date.fromisoformat(day)
    today, minute = here(zone_of(db), at)
    present = minute if date == today else None
    lab = lab_of(db, date, date)
    visits = [visit | _state(visit, date, today, minute) for visit in visits_between(db, date, date)]
    down = {row["station_id"]: row for row in rows(db, DOWN, DOWN.c.first <= day, DOWN.c.last >= day)}
    gaps = _gaps(db, lab, date, present or 0) if date >= today else {}
    places = [
        station
        | {
            "visits": [visit for visit in visits if visit["station_id"] == station["id"]],
            "gaps": gaps.get(station["id"], []),
            "down": down.get(station["id"]),
        }
        for station in stations(db)
    ]
    return {
        "day": day,
        "today": today.isoformat(),
        "now": present,
        "hours": _hours(open_spans(lab.week, date), visits),
        "open": open_spans(lab.week, date),
        "stations": places,
        "visits": visits,
        "asked": questions(db),
        "left": left_behind(db),
        "good": good_captures(db, date),
    }


def _state(visit: dict[str, Any], day: dt.date, today: dt.date, minute: int) -> dict[str, Any]:
    """``shows``: the state a person sees; ``overdue``: nobody came for so long that the time may be given away."""
    shows, overdue = visit["state"], False
    if visit["state"] == "booked" and day <= today:
        booking = as_booking(visit | {"from_min": visit["from_min"] + visit["late_min"]})
        shows = "late" if is_no_show(booking, today, minute, 0) else "booked"
        overdue = is_no_show(booking, today, minute, load_rows().value("booking.no_show.after_minutes"))
    return {"shows": shows, "overdue": overdue}


def _gaps(db: sa.Connection, lab: Lab, day: dt.date, minute: int) -> dict[str, list[dict[str, int]]]:
    """Free time of each station in which a visit could still begin: the first start, the end, how long at most."""
    bookings = bookings_between(db, day, day)
    found: dict[str, list[dict[str, int]]] = {}
    for kind in dict.fromkeys(station.kind for station in lab.stations):
        for gap in what_fits(kind, lab.rules.shortest, lab, bookings, (day, minute), days=1, most=1000):
            most = gap.minutes - gap.minutes % lab.rules.step
            found.setdefault(gap.station, []).append({"start": gap.start, "end": gap.end, "most": most})
    return found


def _hours(spans: tuple[tuple[int, int], ...], visits: list[dict[str, Any]]) -> tuple[int, int]:
    """The whole hours that the chart shows: the opening hours, and whatever lies outside them."""
    starts = [start for start, _ in spans] + [visit["from_min"] for visit in visits]
    ends = [end for _, end in spans] + [visit["to_min"] for visit in visits]
    return (min(starts) // 60, -(-max(ends) // 60)) if starts else (10, 18)


def questions(db: sa.Connection) -> list[dict[str, Any]]:
    """What waits for a person: bells first, then what should be done again, then the rest, the oldest first."""
    asked = (
        sa.select(ASKED, BOX.c.number, STATION.c.name_en, STATION.c.name_zh, CAPTURE.c.part)
        .outerjoin(BOX, BOX.c.id == ASKED.c.box_id)
        .outerjoin(STATION, STATION.c.id == ASKED.c.station_id)
        .outerjoin(CAPTURE, CAPTURE.c.id == ASKED.c.capture_id)
        .where(ASKED.c.answered_at.is_(None))
        .order_by(ASKED.c.id)
    )
    found = [dict(row) for row in db.execute(asked).mappings()]
    return sorted(found, key=lambda row: (row["kind"] != "bell", row["verdict"] != "redo"))


def copying_stopped(db: sa.Connection) -> dict[int, str]:
    """Boxes not yet closed whose last copying to a drive stopped, and when. All else of it stands in their records."""
    asked = (
        sa.select(JOB.c.state, JOB.c.ended_at, JOB.c.box_id)
        .join(BOX, BOX.c.id == JOB.c.box_id)
        .where(BOX.c.closed_at.is_(None), JOB.c.kind == "deliver")
        .order_by(JOB.c.id)
    )
    last = {row["box_id"]: row for row in db.execute(asked).mappings()}
    return {box_id: row["ended_at"] or "" for box_id, row in last.items() if row["state"] == "stopped"}


def left_behind(db: sa.Connection) -> dict[str, Any]:
    """Lost property that nobody has fetched, and boxes whose originals went out in another number than they came in."""
    lost = (
        sa.select(LOG, BOX.c.number, STATION.c.name_en, STATION.c.name_zh)
        .outerjoin(BOX, BOX.c.id == LOG.c.box_id)
        .outerjoin(STATION, STATION.c.id == LOG.c.station_id)
        .where(LOG.c.kind == "lost", LOG.c.state == "open")
        .order_by(LOG.c.id)
    )
    return {"things": [dict(row) for row in db.execute(lost).mappings()], "counts": counts_that_differ(db)}


def good_captures(db: sa.Connection, day: dt.date) -> int:
    """How many captures of that day were good and ask for nothing."""
    zone = zone_of(db)
    begins, ends = (moment_of(zone, day, at).isoformat(timespec="milliseconds") for at in (0, 1440))
    asked = sa.select(sa.func.count()).where(
        CAPTURE.c.verdict == "good", CAPTURE.c.begun_at >= begins, CAPTURE.c.begun_at < ends
    )
    return int(db.execute(asked).scalar() or 0)
