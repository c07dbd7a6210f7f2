"""The lab's own clock and week: its zone, its hours and rules, which station runs on which day."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import sqlalchemy as sa

from takeup.lab.places import stations
from takeup.lab.port import rows
from takeup.lab.schema import DOWN
from takeup.lab.settings import setting
from takeup.plan.opening import BookingRules, Lab, Span, Station, Week, days_from

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def minutes_of(text: str) -> int:
    """``14:30`` as minutes since midnight; ``24:00`` is the day's end.

    Raises
    ------
    ValueError
        When it is no time of the day.
    """
    hours, _, minutes = text.strip().partition(":")
    found = int(hours) * 60 + int(minutes or 0)
    if not (0 <= found <= 1440 and 0 <= int(minutes or 0) < 60):
        raise ValueError(text)
    return found


def zone_of(db: sa.Connection) -> ZoneInfo | None:
    """The lab's zone as its settings name it; None: the zone this computer keeps."""
    name = setting(db, "zone")[0]
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def here(zone: ZoneInfo | None, at: dt.datetime | None = None) -> tuple[dt.date, int]:
    """The day and the minute that the lab's own clock shows (at a moment; now when not told)."""
    local = (at or dt.datetime.now(dt.UTC)).astimezone(zone)
    return local.date(), local.hour * 60 + local.minute


def moment_of(zone: ZoneInfo | None, day: dt.date, minute: int) -> dt.datetime:
    """What the lab's clock calls that minute of that day, as a moment in UTC.

    A minute that the clock leaves out in spring is the same so many minutes after the change; one that it shows twice
    in autumn is the first.

    Examples
    --------
    >>> zone = ZoneInfo("Europe/Berlin")
    >>> [moment_of(zone, dt.date(2027, 3, d), 600).hour for d in (27, 28)]  # summer time begins on the 28th
    [9, 8]
    """
    midnight = dt.datetime.combine(day, dt.time()) + dt.timedelta(minutes=minute)
    return midnight.replace(tzinfo=zone).astimezone(dt.UTC) if zone else midnight.astimezone(dt.UTC)


def rules_of(value: dict[str, Any]) -> BookingRules:
    """The lab's rules as its settings hold them; 0 starts in a step, or visits a day, means no limit."""
    return BookingRules(
        step=value["step_minutes"],
        shortest=value["shortest_minutes"],
        longest=value["longest_minutes"],
        per_visitor_per_day=value["per_visitor_per_day"] or None,
        turn_round=value["turn_round_minutes"],
        starts_per_step=value["starts_per_step"] or None,
    )


def week_of(db: sa.Connection) -> Week:
    """Opening hours and closed days."""
    opening: dict[str, list[list[str]]] = setting(db, "opening")[0] or {}
    hours: dict[int, tuple[Span, ...]] = {
        number: tuple((minutes_of(start), minutes_of(end)) for start, end in opening.get(name, ()))
        for number, name in enumerate(WEEKDAYS)
    }
    closed = setting(db, "closed")[0] or []
    days = {dt.date.fromisoformat(one["day"] if isinstance(one, dict) else one) for one in closed}
    return Week(hours=hours, closed=frozenset(days))


def lab_of(db: sa.Connection, first: dt.date, last: dt.date) -> Lab:
    """What booking needs to know of the lab, with the days down between two days (both included)."""
    down: dict[str, set[dt.date]] = {}
    for row in rows(db, DOWN, DOWN.c.first <= last.isoformat(), DOWN.c.last >= first.isoformat()):
        begins = max(first, dt.date.fromisoformat(row["first"]))
        ends = min(last, dt.date.fromisoformat(row["last"]))
        down.setdefault(row["station_id"], set()).update(days_from(begins, ends))
    return Lab(
        week=week_of(db),
        stations=tuple(
            Station(id=row["id"], kind=row["kind"], down=frozenset(down.get(row["id"], ()))) for row in stations(db)
        ),
        rules=rules_of(setting(db, "rules")[0]),
    )
