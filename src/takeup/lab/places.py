"""Stations: what they are called, whether they are up, the key a paired one speaks with."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import DOWN, STATION
from takeup.lab.secrets import digest, new_token


def stations(db: sa.Connection) -> list[dict[str, Any]]:
    """All stations in the order of the pages."""
    return rows(db, STATION, order=[STATION.c.place, STATION.c.id])


def station(db: sa.Connection, station_id: str) -> dict[str, Any] | None:
    return one(db, STATION, STATION.c.id == station_id)


def add_station(db: sa.Connection, station_id: str, kind: str, name_en: str, name_zh: str, *, place: int) -> None:
    add(db, STATION, id=station_id, kind=kind, name_en=name_en, name_zh=name_zh, state="up", place=place, screen_mm=530)


def pair(db: sa.Connection, station_id: str) -> str:
    """A new key for a station: the old one no longer opens anything. Told once."""
    key = new_token()
    change(db, STATION, station_id, None, key_sha256=digest(key), paired_at=now())
    return key


def station_of_key(db: sa.Connection, key: str) -> str | None:
    """Which station speaks with this key."""
    row = one(db, STATION, STATION.c.key_sha256 == digest(key))
    return row["id"] if row else None


def change_station(db: sa.Connection, station_id: str, version: int | None, **values: Any) -> None:
    """Change what a station is called, its kind, its screen.

    Raises
    ------
    Stale
        When somebody else changed it since ``version``.
    """
    change(db, STATION, station_id, version, **values)


def set_down(db: sa.Connection, station_id: str, first: str, last: str, why: str) -> int:
    """The station cannot be used from one day to another; the number of that line."""
    return int(add(db, DOWN, station_id=station_id, first=first, last=last, why=why))


def take_down_away(db: sa.Connection, down_id: int) -> None:
    """The station is up again on those days."""
    db.execute(DOWN.delete().where(DOWN.c.id == down_id))
