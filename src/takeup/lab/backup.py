"""The lab's database kept a second time, and brought back. Boxes are folders and are kept like any folder.

SQLite only: another database has its own ways, and that is said. A backup is written beside, read through (SQLite's own
integrity check), then named; bringing one back keeps the present database under another name.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from takeup.errors import NotPossible, Unreadable
from takeup.files.beside import beside
from takeup.files.own import copy_own, remove_own
from takeup.lab.port import FILE_NAME, Lab

FOLDER = "backups"
KEEP = 30  # older ones are removed when a new one is whole
EVERY_HOURS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """One kept database."""

    path: Path
    bytes: int
    at: str  # UTC


def backups(home: Path) -> list[Backup]:
    """What is kept, the newest first."""
    found = [
        Backup(
            path=path,
            bytes=path.stat().st_size,
            at=datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="milliseconds"),
        )
        for path in (home / FOLDER).glob("takeup-lab-*.sqlite")
    ]
    return sorted(found, key=lambda one: one.path.name, reverse=True)


def back_up(lab: Lab) -> Backup:
    """Keep the database as it is now.

    Raises
    ------
    NotPossible
        ``backup.not-here`` where the lab's database is no file; ``disk.*`` when there is no room.
    """
    source = _file_of(lab)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
    target = lab.home / FOLDER / f"takeup-lab-{stamp}.sqlite"
    with beside(target) as part:
        with closing(sqlite3.connect(source)) as now, closing(sqlite3.connect(part)) as then:
            now.backup(then)
            then.execute("PRAGMA journal_mode = DELETE")
        look_through(part)
    for old in backups(lab.home)[KEEP:]:
        remove_own(old.path)
    return next(one for one in backups(lab.home) if one.path == target)


def back_up_when_due(lab: Lab) -> Backup | None:
    """A backup a day: none is made when the last one is younger, or there is no file to keep."""
    if lab.engine.dialect.name != "sqlite":
        return None
    newest = backups(lab.home)[:1]
    due = (datetime.now(UTC) - timedelta(hours=EVERY_HOURS)).isoformat(timespec="milliseconds")
    return None if newest and newest[0].at > due else back_up(lab)


def look_through(path: Path) -> None:
    """Read a kept database through.

    Raises
    ------
    Unreadable
        ``backup.not-whole`` when it is damaged or is no lab's database.
    """
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
            (said,) = db.execute("PRAGMA integrity_check").fetchone()
            db.execute("SELECT count(*) FROM staff, alembic_version").fetchone()
    except sqlite3.DatabaseError as error:
        raise Unreadable("backup.not-whole", path=str(path), error=str(error)) from error
    if said != "ok":
        raise Unreadable("backup.not-whole", path=str(path), error=str(said))


def bring_back(home: Path, kept: Path) -> Path | None:
    """Put a kept database in the present one's place, while no desk runs; where the present one is now (None: none).

    Raises
    ------
    Unreadable
        When the kept one is not whole: nothing is changed then.
    NotPossible
        ``backup.no-such-file``.
    """
    if not kept.is_file():
        raise NotPossible("backup.no-such-file", path=str(kept))
    look_through(kept)
    present = home / FILE_NAME
    aside: Path | None = None
    if present.is_file():
        with closing(sqlite3.connect(present)) as db:  # what is still in the write-ahead log belongs to it
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        aside = home / FOLDER / f"before-{datetime.now(UTC).strftime('%Y%m%dT%H%M%S%f')}.sqlite"
        copy_own(present, aside)
    copy_own(kept, present)
    for ending in ("-wal", "-shm"):
        remove_own(present.with_name(present.name + ending))
    return aside


def _file_of(lab: Lab) -> Path:
    if lab.engine.dialect.name != "sqlite":
        raise NotPossible("backup.not-here", kind=lab.engine.dialect.name)
    return Path(lab.engine.url.database or "")
