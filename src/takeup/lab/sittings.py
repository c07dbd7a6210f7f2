"""Who sits at which station with which original: begun with the slip's code, over when the visit is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ASKED, BOX, CAPTURE, EVENT, SESSION, SITTING, STATION, VISIT
from takeup.lab.secrets import CODE_SIGNS, clean_code, digest, new_code

PAIRING_MINUTES = 10
WARN_MINUTES, LONGER_MINUTES, MOST_LONGER = 10, 10, 10  # WCAG 2.2, 2.2.1: warned, one button, ten times


def code_for_screen(db: sa.Connection, station_id: str) -> str:
    """A code that makes one browser this station's screen, good for minutes and for once. Told once."""
    code = new_code()
    until = (datetime.now(UTC) + timedelta(minutes=PAIRING_MINUTES)).isoformat(timespec="milliseconds")
    change(db, STATION, station_id, None, screen_code_sha256=digest(code), screen_code_until=until)
    return code


def station_of_screen_code(db: sa.Connection, typed: str) -> dict[str, Any] | None:
    """The station that such a code is for, while it is good."""
    code = clean_code(typed)
    if len(code) != CODE_SIGNS + 1:
        return None
    return one(db, STATION, STATION.c.screen_code_sha256 == digest(code), STATION.c.screen_code_until > now())


def spend_screen_code(db: sa.Connection, station_id: str) -> None:
    change(db, STATION, station_id, None, screen_code_sha256=None, screen_code_until=None)


def screens_of(db: sa.Connection, station_id: str) -> list[dict[str, Any]]:
    """The browsers that are this station's screens."""
    return rows(
        db, SESSION, SESSION.c.kind == "screen", SESSION.c.station_id == station_id, SESSION.c.ends_at > now(),
        order=SESSION.c.id,
    )  # fmt: skip


def part_with_screens(db: sa.Connection, station_id: str) -> None:
    """None of the station's screens shows anything any more until it is paired again."""
    db.execute(SESSION.delete().where(SESSION.c.kind == "screen", SESSION.c.station_id == station_id))


def begin_sitting(db: sa.Connection, station_id: str, box: dict[str, Any]) -> int:
    """This box's visitor sits here now; whoever sat here before does no more. Sitting down twice changes nothing."""
    standing = sitting_now(db, station_id)
    if standing and standing["box_id"] == box["id"]:
        return int(standing["id"])
    end_sitting(db, station_id)
    visit = one(
        db, VISIT, VISIT.c.box_id == box["id"], VISIT.c.station_id == station_id, VISIT.c.state.in_(("booked", "here")),
        VISIT.c.day == datetime.now().date().isoformat(),
    )  # fmt: skip
    return int(
        add(
            db, SITTING, station_id=station_id, box_id=box["id"], visit_id=visit["id"] if visit else None, item="",
            part="", step=0, chosen_at=now(), begun_at=now(),
        )
    )  # fmt: skip


def sit_for(db: sa.Connection, station_id: str, box_id: int, item: str, hours: float) -> None:
    """Staff put something of a box on at a station: what is captured there from now on is that item's.

    Without a slip's code in force the sitting lasts so many hours; a code whose time is over opens nothing again.
    """
    box = one(db, BOX, BOX.c.id == box_id)
    if box is None:
        return
    if not box["code_until"] or box["code_until"] <= now():
        until = (datetime.now(UTC) + timedelta(hours=hours)).isoformat(timespec="milliseconds")
        change(db, BOX, box_id, None, code_sha256=None, code_until=until)
    sitting_id = begin_sitting(db, station_id, box)
    choose_original(db, sitting_id, None, item, "")


def sitting_now(db: sa.Connection, station_id: str) -> dict[str, Any] | None:
    """Who sits here, with the number of the box and when the visit's time is over; None when nobody does (any more)."""
    asked = (
        sa.select(SITTING, BOX.c.number, BOX.c.folder, BOX.c.code_until)
        .join(BOX, BOX.c.id == SITTING.c.box_id)
        .where(SITTING.c.station_id == station_id, SITTING.c.ended_at.is_(None), BOX.c.code_until > now())
        .order_by(SITTING.c.id.desc())
    )
    found = db.execute(asked).mappings().first()
    return dict(found) if found else None


def choose_original(db: sa.Connection, sitting_id: int, version: int | None, item: str, part: str) -> None:
    """Which original is on the machine; its steps begin at the first.

    Raises
    ------
    Stale
        When another screen of this station has changed the sitting meanwhile.
    """
    change(db, SITTING, sitting_id, version, item=item, part=part, step=0, chosen_at=now())


def go_to_step(db: sa.Connection, sitting_id: int, version: int | None, step: int) -> None:
    """Which step is shown.

    Raises
    ------
    Stale
        As :func:`choose_original`.
    """
    change(db, SITTING, sitting_id, version, step=step)


def end_sitting(db: sa.Connection, station_id: str) -> None:
    """Nobody sits here; what is captured goes on, and what waits for an answer goes on waiting."""
    ended = SITTING.update().where(SITTING.c.station_id == station_id, SITTING.c.ended_at.is_(None))
    db.execute(ended.values(ended_at=now(), version=SITTING.c.version + 1))


def minutes_left(sitting: dict[str, Any]) -> float:
    """How long this box may still be seen here [min]."""
    return (datetime.fromisoformat(sitting["code_until"]) - datetime.now(UTC)).total_seconds() / 60


def stay_longer(db: sa.Connection, sitting: dict[str, Any]) -> bool:
    """Ten minutes more, near the end and some times only: whether it was given."""
    if minutes_left(sitting) > WARN_MINUTES or sitting["longer"] >= MOST_LONGER:
        return False
    until = datetime.fromisoformat(sitting["code_until"]) + timedelta(minutes=LONGER_MINUTES)
    change(db, BOX, sitting["box_id"], None, code_until=until.astimezone(UTC).isoformat(timespec="milliseconds"))
    change(db, SITTING, sitting["id"], None, longer=sitting["longer"] + 1)
    return True


def captures_since(db: sa.Connection, sitting: dict[str, Any]) -> int:
    """How many captures of the original in hand have come since it was chosen: scans are many."""
    asked = sa.select(sa.func.count()).select_from(CAPTURE).where(
        CAPTURE.c.station_id == sitting["station_id"], CAPTURE.c.box_id == sitting["box_id"],
        CAPTURE.c.item == sitting["item"], CAPTURE.c.begun_at >= sitting["chosen_at"],
    )  # fmt: skip
    return int(db.execute(asked).scalar() or 0)


def newest_capture(db: sa.Connection, station_id: str, sitting: dict[str, Any]) -> dict[str, Any] | None:
    """The capture that a screen shows: the newest of the box that sits here, or one of no box begun since it sits."""
    nobodys = sa.and_(CAPTURE.c.box_id.is_(None), CAPTURE.c.begun_at >= sitting["begun_at"])
    found = rows(
        db, CAPTURE, CAPTURE.c.station_id == station_id, sa.or_(CAPTURE.c.box_id == sitting["box_id"], nobodys),
        order=[CAPTURE.c.begun_at.desc(), CAPTURE.c.id.desc()],
    )  # fmt: skip
    return found[0] if found else None


def last_event(db: sa.Connection, station_id: str) -> int:
    """The number of the station's last kept event, from which a page goes on hearing."""
    return int(db.execute(sa.select(sa.func.max(EVENT.c.seq)).where(EVENT.c.station_id == station_id)).scalar() or 0)


def waiting_here(db: sa.Connection, station_id: str, box_id: int | None) -> list[dict[str, Any]]:
    """Questions this screen may show: of the box that sits here, and those of no box; the oldest first."""
    of = ASKED.c.box_id.is_(None) if box_id is None else sa.or_(ASKED.c.box_id.is_(None), ASKED.c.box_id == box_id)
    return rows(db, ASKED, ASKED.c.station_id == station_id, ASKED.c.answered_at.is_(None), of, order=ASKED.c.id)


def waiting_for_others(db: sa.Connection, station_id: str, box_id: int | None) -> int:
    """How many questions of other boxes wait at this station; nothing else of them is told."""
    asked = sa.select(sa.func.count()).select_from(ASKED).where(
        ASKED.c.station_id == station_id, ASKED.c.answered_at.is_(None), ASKED.c.box_id.is_not(None)
    )  # fmt: skip
    return int(db.execute(asked if box_id is None else asked.where(ASKED.c.box_id != box_id)).scalar() or 0)
