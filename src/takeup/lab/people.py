"""Staff, and who may try how often."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ATTEMPT, SESSION, STAFF
from takeup.lab.secrets import hash_password, is_password, new_password

ROLES = ("librarian", "helper")
TRIES, WITHIN_MINUTES = 10, 10  # the contract's


def add_staff(db: sa.Connection, name: str, role: str = "librarian") -> str:
    """A new account; its one-time password, shown once and never again.

    Raises
    ------
    IntegrityError
        When somebody has that name already.
    """
    password = new_password()
    add(
        db, STAFF, name=name, name_folded=name.casefold(), password_hash=hash_password(password), role=role,
        must_change=True, made_at=now(),
    )  # fmt: skip
    return password


def staff_of(db: sa.Connection, name: str) -> dict[str, Any] | None:
    """The account of that name, of those who still work here."""
    return one(db, STAFF, STAFF.c.name_folded == name.casefold(), STAFF.c.left_at.is_(None))


def all_staff(db: sa.Connection) -> list[dict[str, Any]]:
    return rows(db, STAFF, STAFF.c.left_at.is_(None), order=STAFF.c.name_folded)


def knows_password(account: dict[str, Any] | None, password: str) -> bool:
    """Whether this is the account's password. Slow on purpose; not to be called inside a writing turn."""
    return is_password(password, account["password_hash"] if account else None)


def set_password(db: sa.Connection, staff_id: int, password: str, *, once: bool = False) -> None:
    """A new password; every session of the account but a new one ends."""
    change(db, STAFF, staff_id, None, password_hash=hash_password(password), must_change=once)
    db.execute(SESSION.delete().where(SESSION.c.staff_id == staff_id))


def tried_too_often(db: sa.Connection, keys: list[str]) -> bool:
    """Whether one of these names or addresses has been wrong ten times within ten minutes."""
    since = (datetime.now(UTC) - timedelta(minutes=WITHIN_MINUTES)).isoformat(timespec="milliseconds")
    counts = db.execute(
        sa.select(ATTEMPT.c.key, sa.func.count())
        .where(ATTEMPT.c.key.in_(keys), ATTEMPT.c.at >= since)
        .group_by(ATTEMPT.c.key)
    )
    return any(count >= TRIES for _, count in counts)


def note_wrong(db: sa.Connection, keys: list[str]) -> None:
    """One more wrong password or code. What is older than a day is forgotten."""
    before = (datetime.now(UTC) - timedelta(days=1)).isoformat(timespec="milliseconds")
    db.execute(ATTEMPT.delete().where(ATTEMPT.c.at < before))
    for key in keys:
        add(db, ATTEMPT, at=now(), key=key)


def new_first_password(db: sa.Connection, staff_id: int) -> str:
    """A new one-time password for somebody who lost theirs; shown once."""
    password = new_password()
    set_password(db, staff_id, password, once=True)
    return password


def leave(db: sa.Connection, staff_id: int, version: int | None) -> None:
    """Somebody works here no longer: signed out everywhere at once. The name stays beside what they did.

    Raises
    ------
    Stale
        When the account was changed since ``version``.
    """
    change(db, STAFF, staff_id, version, left_at=now())
    db.execute(SESSION.delete().where(SESSION.c.staff_id == staff_id))
