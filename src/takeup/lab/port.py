"""The one way into the lab's database: opened once, brought to today's tables, read and written in short turns.

SQLite (write-ahead log, full flushing) lies in the desk's home unless the lab's settings name another database; the
queries are SQLAlchemy Core and nothing here speaks SQLite but the lines that say so.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from sqlalchemy.exc import DatabaseError, IntegrityError

from takeup.errors import NotPossible, Unreadable

FILE_NAME = "takeup-lab.sqlite"
MIGRATIONS = Path(__file__).parent / "migrations"


class Stale(Exception):
    """Somebody else changed the row since the page was shown; nothing was overwritten."""


class Lab:
    """The database, opened. Every turn is one transaction: whole or not at all."""

    def __init__(self, engine: sa.Engine, home: Path) -> None:
        self.engine = engine
        self.home = home

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Look things up."""
        with self.engine.connect() as db:
            yield db

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """Change things; one writer at a time, so that what was looked up still holds when it is written."""
        level = {} if self.engine.dialect.name == "sqlite" else {"isolation_level": "SERIALIZABLE"}
        with self.engine.connect().execution_options(writes=True, **level) as db, db.begin():
            yield db

    def close(self) -> None:
        self.engine.dispose()


def open_lab(home: Path, url: str = "") -> Lab:
    """Open the lab's database, making it or bringing it to today's tables first.

    Parameters
    ----------
    home : Path
        The desk's folder; made when it is not there.
    url : str
        Another database than the file in ``home``, as SQLAlchemy writes addresses.

    Raises
    ------
    Unreadable
        ``lab.unreadable``: what lies there is no database of ours, or one of a later takeup.
    """
    try:
        home.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise NotPossible("lab.no-home", path=str(home), error=error.strerror or str(error)) from error
    engine = sa.create_engine(url or f"sqlite:///{home / FILE_NAME}", **({} if url else {"pool_size": 20}))
    if engine.dialect.name == "sqlite":
        _set_up_sqlite(engine)
    try:
        _migrate(engine)
    except Exception as error:
        engine.dispose()
        raise Unreadable("lab.unreadable", path=str(home / FILE_NAME), error=_first_line(error)) from error
    return Lab(engine, home)


def _set_up_sqlite(engine: sa.Engine) -> None:
    @sa.event.listens_for(engine, "connect")
    def opened(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # takeup begins and ends its turns itself
        for line in (
            "PRAGMA journal_mode = WAL",
            "PRAGMA synchronous = FULL",
            "PRAGMA foreign_keys = ON",
            "PRAGMA busy_timeout = 30000",
        ):
            connection.execute(line)

    @sa.event.listens_for(engine, "begin")
    def begun(db: sa.Connection) -> None:
        kind = "IMMEDIATE" if db.get_execution_options().get("writes") else "DEFERRED"
        db.exec_driver_sql(f"BEGIN {kind}")


def _migrate(engine: sa.Engine) -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.begin() as db:
        config.attributes["connection"] = db
        command.upgrade(config, "head")


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:200]


def now() -> str:
    """This moment as the tables keep it: UTC, milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def change(db: sa.Connection, table: sa.Table, key: Any, version: int | None, **values: Any) -> int:
    """Change one row and raise its version.

    Parameters
    ----------
    version : int or None
        The version the page was filled from; None: whatever stands there (the desk's own doing, no form).

    Returns
    -------
    int
        The row's new version.

    Raises
    ------
    Stale
        When the row has another version by now, or is gone.
    """
    (column,) = table.primary_key.columns
    where = [column == key]
    if version is not None:
        where.append(table.c.version == version)
    done = db.execute(table.update().where(*where).values(version=table.c.version + 1, **values))
    if done.rowcount != 1:
        raise Stale(table.name)
    return int(db.execute(sa.select(table.c.version).where(column == key)).scalar_one())


def add(db: sa.Connection, table: sa.Table, **values: Any) -> Any:
    """Put in one row; its key."""
    return db.execute(table.insert().values(**values)).inserted_primary_key[0]  # type: ignore[index]


def one(db: sa.Connection, table: sa.Table, *where: Any) -> dict[str, Any] | None:
    """The row that fits, or None."""
    row = db.execute(sa.select(table).where(*where)).mappings().first()
    return dict(row) if row else None


def rows(db: sa.Connection, table: sa.Table, *where: Any, order: Any = None) -> list[dict[str, Any]]:
    """All rows that fit."""
    asked = sa.select(table).where(*where)
    if order is not None:
        asked = asked.order_by(*(order if isinstance(order, (list, tuple)) else [order]))
    return [dict(row) for row in db.execute(asked).mappings()]


__all__ = ["DatabaseError", "IntegrityError", "Lab", "Stale", "add", "change", "now", "one", "open_lab", "rows"]
