"""What is captured at the stations: captures, their events in order and once, orders for a station's takeup."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ASKED, BOX, CAPTURE, EVENT, ORDER, SITTING, STATION, TOLD
from takeup.lab.secrets import clean_code, digest, new_code, new_token

PAIR_MINUTES = 10
DESK = "desk"  # the stream of events that the desk itself makes


# --- pairing --------------------------------------------------------------------------------------------------------
def new_pair_code(db: sa.Connection, station_id: str) -> str:
    """A code that a station's takeup may send once, within minutes, for its key. Told once."""
    code = new_code()
    until = (datetime.now(UTC) + timedelta(minutes=PAIR_MINUTES)).isoformat(timespec="milliseconds")
    change(db, STATION, station_id, None, pair_sha256=digest(code), pair_until=until)
    return code


def pair_by_code(db: sa.Connection, station_id: str, typed: str) -> str | None:
    """The station's new key for its code: the code and the old key are of no use any more. None: no such code now."""
    row = one(
        db, STATION, STATION.c.pair_sha256 == digest(clean_code(typed)), STATION.c.pair_until > now(),
        STATION.c.id == station_id,
    )  # fmt: skip
    if row is None:
        return None
    key = new_token()
    change(
        db, STATION, station_id, None, key_sha256=digest(key), paired_at=now(), pair_sha256=None, pair_until=None,
    )  # fmt: skip
    return key


def unpair(db: sa.Connection, station_id: str, version: int | None) -> None:
    """The station's key, and a code not yet used, open nothing any more."""
    change(db, STATION, station_id, version, key_sha256=None, paired_at=None, pair_sha256=None, pair_until=None)


def heard(db: sa.Connection, station_id: str) -> str:
    """Note that a station was heard just now; no form about it becomes out of date by that. The moment."""
    at = now()
    db.execute(STATION.update().where(STATION.c.id == station_id).values(heard_at=at))
    return at


# --- events ---------------------------------------------------------------------------------------------------------
def come_to(db: sa.Connection, stream: str) -> int | None:
    """The number up to which a stream's events are here; None for a stream never heard of."""
    row = one(db, TOLD, TOLD.c.stream == stream)
    return int(row["number"]) if row else None


def note_come(db: sa.Connection, stream: str, number: int) -> None:
    """A stream's events are here up to this number."""
    if not db.execute(TOLD.update().where(TOLD.c.stream == stream).values(number=number)).rowcount:
        add(db, TOLD, stream=stream, number=number)


def keep_event(
    db: sa.Connection, station_id: str, stream: str, number: int, kind: str, facts: dict[str, Any], *,
    capture_id: str | None = None, at: str = "",
) -> int:  # fmt: skip
    """Keep one event of a station's; the number under which pages hear it."""
    return int(
        add(
            db, EVENT, station_id=station_id, capture_id=capture_id, stream=stream, number=number, kind=kind,
            at=at or now(), facts=facts,
        )
    )  # fmt: skip


def note_event(
    db: sa.Connection, station_id: str, kind: str, facts: dict[str, Any], *, capture_id: str | None = None
) -> int:
    """Keep an event that the desk itself makes; the number for ``wire.tell`` once the transaction is through."""
    number = (come_to(db, DESK) or 0) + 1
    note_come(db, DESK, number)
    return keep_event(db, station_id, DESK, number, kind, facts, capture_id=capture_id)


def findings_of(db: sa.Connection, capture_id: str) -> list[dict[str, Any]]:
    """What was found in a capture, as pages hear it: the last word for each place, in the order they were found."""
    last: dict[str, dict[str, Any]] = {}
    for row in rows(db, EVENT, EVENT.c.capture_id == capture_id, EVENT.c.kind == "finding", order=EVENT.c.seq):
        last[row["facts"].get("key", str(row["seq"]))] = row["facts"]
    return list(last.values())


# --- captures -------------------------------------------------------------------------------------------------------
def capture(db: sa.Connection, capture_id: str) -> dict[str, Any] | None:
    return one(db, CAPTURE, CAPTURE.c.id == capture_id)


def captures_at(db: sa.Connection, station_id: str, states: Iterable[str] = ("growing",)) -> list[dict[str, Any]]:
    """A station's captures in some states, the newest first."""
    return rows(
        db, CAPTURE, CAPTURE.c.station_id == station_id, CAPTURE.c.state.in_(list(states)),
        order=CAPTURE.c.begun_at.desc(),
    )  # fmt: skip


def coming_in(db: sa.Connection, most: int = 5) -> dict[str, list[dict[str, Any]]]:
    """What is captured or on its way at each station, with the number of its box; the newest first, some of each."""
    asked = (
        sa.select(CAPTURE, BOX.c.number.label("box"))
        .outerjoin(BOX, BOX.c.id == CAPTURE.c.box_id)
        .where(CAPTURE.c.state.in_(("growing", "whole", "moving")))
        .order_by(CAPTURE.c.begun_at.desc())
    )
    found: dict[str, list[dict[str, Any]]] = {}
    for row in db.execute(asked).mappings():
        of_station = found.setdefault(row["station_id"], [])
        if len(of_station) < most:
            of_station.append(dict(row) | {"box": row["box"] or ""})
    return found


def coming_to(db: sa.Connection, box_id: int) -> list[dict[str, Any]]:
    """What is captured for a box, or on its way into it, the newest first."""
    on_its_way = CAPTURE.c.state.in_(("growing", "whole", "moving"))
    return rows(db, CAPTURE, CAPTURE.c.box_id == box_id, on_its_way, order=CAPTURE.c.begun_at.desc())


def box_of_capture(db: sa.Connection, row: dict[str, Any]) -> dict[str, Any] | None:
    """The box that a capture is for, once somebody or the sitting said so."""
    return one(db, BOX, BOX.c.id == row["box_id"]) if row["box_id"] is not None else None


def for_whom(db: sa.Connection) -> list[dict[str, Any]]:
    """Captures that are whole and that nobody has said whose they are, the oldest first."""
    nobody = sa.or_(CAPTURE.c.box_id.is_(None), CAPTURE.c.item == "")
    return rows(db, CAPTURE, CAPTURE.c.state.in_(("whole", "moving")), nobody, order=CAPTURE.c.begun_at)


def give_to(db: sa.Connection, capture_id: str, version: int | None, box_id: int, item: str, part: str) -> None:
    """Say whose a capture is; its unanswered questions are that box's too.

    Raises
    ------
    Stale
        When it changed meanwhile.
    """
    change(db, CAPTURE, capture_id, version, box_id=box_id, item=item, part=part)
    mine = ASKED.update().where(ASKED.c.capture_id == capture_id, ASKED.c.answered_at.is_(None))
    db.execute(mine.values(box_id=box_id, item=item))


def note_received(db: sa.Connection, capture_id: str, received: int) -> None:
    """So many verified bytes of a capture lie here; no form about it becomes out of date by that."""
    db.execute(
        CAPTURE.update().where(CAPTURE.c.id == capture_id).values(received=received, state="moving", heard_at=now())
    )


def sitting_at(db: sa.Connection, station_id: str, at: str) -> dict[str, Any] | None:
    """Who sat at a station at a moment, while the visit's time lasted: the sitting with the box's number and folder."""
    asked = (
        sa.select(SITTING, BOX.c.number, BOX.c.folder)
        .join(BOX, BOX.c.id == SITTING.c.box_id)
        .where(
            SITTING.c.station_id == station_id,
            SITTING.c.begun_at <= at,
            sa.or_(SITTING.c.ended_at.is_(None), SITTING.c.ended_at > at),
            sa.or_(SITTING.c.ended_at.is_not(None), BOX.c.code_until > at),  # an open one is over with the visit's time
        )
        .order_by(SITTING.c.id.desc())
    )
    found = db.execute(asked).mappings().first()
    return dict(found) if found else None


# --- orders ---------------------------------------------------------------------------------------------------------
def order(db: sa.Connection, station_id: str, box_id: int | None, kind: str, key: str, facts: dict[str, Any]) -> None:
    """Put something in line for a station's takeup, once for each key; one that it kept may be asked for again."""
    row = one(db, ORDER, ORDER.c.key == key)
    if row is None:
        add(db, ORDER, station_id=station_id, box_id=box_id, kind=kind, key=key, facts=facts, state="waiting", why="",
            made_at=now())  # fmt: skip
    elif row["state"] == "kept":
        db.execute(ORDER.update().where(ORDER.c.id == row["id"]).values(state="waiting", facts=facts, done_at=None))


def orders_for(db: sa.Connection, station_id: str) -> list[dict[str, Any]]:
    """What waits for a station's takeup, the oldest first."""
    return rows(db, ORDER, ORDER.c.station_id == station_id, ORDER.c.state == "waiting", order=ORDER.c.id)


def orders_waiting(db: sa.Connection) -> dict[str, int]:
    """How many orders wait for each station."""
    asked = sa.select(ORDER.c.station_id, sa.func.count()).where(ORDER.c.state == "waiting")
    return {row[0]: row[1] for row in db.execute(asked.group_by(ORDER.c.station_id))}


def order_done(db: sa.Connection, order_id: int, state: str, why: str) -> None:
    """What became of an order: ``done`` or ``kept``."""
    db.execute(ORDER.update().where(ORDER.c.id == order_id).values(state=state, why=why[:500], done_at=now()))
