"""Who is signed in where: staff, a visitor with the slip's code, a station's screen, or nobody yet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

import sqlalchemy as sa

from takeup.lab.port import add, now, one
from takeup.lab.schema import BOX, ONCE, SESSION, STAFF
from takeup.lab.secrets import clean_code, digest, new_token

Kind = Literal["nobody", "staff", "visitor", "screen"]
HOURS = {"nobody": 12, "staff": 12, "visitor": 6, "screen": 24 * 366}


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """The person or screen that asks."""

    session_id: int = 0
    kind: Kind = "nobody"
    form_token: str = ""
    lang: str = ""
    staff_id: int | None = None
    name: str = ""
    role: str = ""
    must_change: bool = False
    box_id: int | None = None
    station_id: str | None = None


NOBODY = Who()


def begin_session(
    db: sa.Connection,
    kind: Kind,
    *,
    lang: str = "",
    staff_id: int | None = None,
    box_id: int | None = None,
    station_id: str | None = None,
    until: str | None = None,
) -> str:
    """A new session; its token, for the cookie and nowhere else."""
    token = new_token()
    ends = (datetime.now(UTC) + timedelta(hours=HOURS[kind])).isoformat(timespec="milliseconds")
    add(
        db, SESSION, token_sha256=digest(token), kind=kind, staff_id=staff_id, box_id=box_id, station_id=station_id,
        form_token=new_token(), lang=lang, made_at=now(), seen_at=now(), ends_at=min(ends, until or ends),
    )  # fmt: skip
    return token


def who_has(db: sa.Connection, token: str) -> Who:
    """Whose token it is; nobody's when it is unknown or has ended."""
    row = one(db, SESSION, SESSION.c.token_sha256 == digest(token), SESSION.c.ends_at > now()) if token else None
    if row is None:
        return NOBODY
    about: dict[str, Any] = {}
    if row["kind"] == "staff":
        account = one(db, STAFF, STAFF.c.id == row["staff_id"], STAFF.c.left_at.is_(None))
        if account is None:
            return NOBODY
        about = {name: account[name] for name in ("name", "role", "must_change")}
    if row["kind"] == "visitor":
        box = one(db, BOX, BOX.c.id == row["box_id"])
        if box is None or box["code_until"] is None or box["code_until"] <= now():  # the visit's time is over
            return NOBODY
    return Who(
        session_id=row["id"], kind=row["kind"], form_token=row["form_token"], lang=row["lang"],
        staff_id=row["staff_id"], box_id=row["box_id"], station_id=row["station_id"], **about,
    )  # fmt: skip


def remember_language(db: sa.Connection, session_id: int, lang: str) -> None:
    db.execute(SESSION.update().where(SESSION.c.id == session_id).values(lang=lang))


def end_session(db: sa.Connection, session_id: int) -> None:
    db.execute(SESSION.delete().where(SESSION.c.id == session_id))


def sweep_sessions(db: sa.Connection) -> None:
    """Forget what has ended."""
    db.execute(SESSION.delete().where(SESSION.c.ends_at <= now()))
    before = (datetime.now(UTC) - timedelta(days=2)).isoformat(timespec="milliseconds")
    db.execute(ONCE.delete().where(ONCE.c.at < before))


def box_of_code(db: sa.Connection, typed: str) -> dict[str, Any] | None:
    """The box whose slip carries this code, while the code is good."""
    return one(db, BOX, BOX.c.code_sha256 == digest(clean_code(typed)), BOX.c.code_until > now())


def sent_before(db: sa.Connection, token: str) -> str | None:
    """Where the same form led when it was sent before; None the first time."""
    row = one(db, ONCE, ONCE.c.token == token) if token else None
    return row["location"] if row else None


def note_sent(db: sa.Connection, token: str, location: str) -> None:
    if token:
        add(db, ONCE, token=token, at=now(), location=location)
