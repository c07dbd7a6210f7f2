"""The box's memory: one append-only table of facts in the box's folder. The disk is the truth, the record remembers.

A fact says who did what to which item when. Nothing is edited; the last fact for a key wins. Facts are appended only
AFTER the file they speak of is whole on the disk. Paths in facts are relative to the box, so a box may be moved.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible, Unreadable

FILE_NAME = "takeup-box.sqlite"
SCHEMA = """
CREATE TABLE IF NOT EXISTS fact (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  at TEXT NOT NULL,          -- UTC, ISO 8601
  who TEXT NOT NULL,
  what TEXT NOT NULL,        -- a past event: box-started, item-listed, taken, checked, made ...
  item TEXT NOT NULL,        -- '' for the whole box
  key TEXT NOT NULL,         -- the last fact for (what, item, key) wins
  facts TEXT NOT NULL,       -- JSON
  command TEXT NOT NULL UNIQUE
);
CREATE TRIGGER IF NOT EXISTS fact_is_never_edited BEFORE UPDATE ON fact BEGIN SELECT RAISE(ABORT, 'append only'); END;
CREATE TRIGGER IF NOT EXISTS fact_is_never_removed BEFORE DELETE ON fact BEGIN SELECT RAISE(ABORT, 'append only'); END;
PRAGMA user_version = 1;
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One remembered event."""

    seq: int
    at: str
    who: str
    what: str
    item: str
    key: str
    facts: dict[str, Any]


class Record:
    """The facts of one box. Open, read, append; every call is its own transaction, flushed before it returns."""

    def __init__(self, folder: Path, who: str = "") -> None:
        self.path = folder / FILE_NAME
        self.who = who

    def exists(self) -> bool:
        return self.path.is_file()

    def start(self) -> None:
        """Make the table. Harmless when it is there."""
        with self._open() as db:
            db.executescript(SCHEMA)

    def append(self, what: str, facts: dict[str, Any], *, item: str = "", key: str = "", command: str = "") -> Fact:
        """Remember one event.

        Parameters
        ----------
        command : str
            The command's own id: a repeat of it changes nothing and gives back the fact that stands.
        """
        at = datetime.now(UTC).isoformat(timespec="milliseconds")
        text = as_json(facts)
        with self._open() as db:
            if not command:
                (top,) = db.execute("SELECT coalesce(max(seq), 0) FROM fact").fetchone()
                command = f"{what}/{item}/{key}/{top}/{at}"
            db.execute(
                "INSERT OR IGNORE INTO fact (at, who, what, item, key, facts, command) VALUES (?,?,?,?,?,?,?)",
                (at, self.who, what, item, key, text, command),
            )
            row = db.execute("SELECT seq, at, who, what, item, key, facts FROM fact WHERE command = ?", (command,))
            return _fact(row.fetchone())

    def append_all(self, what: str, entries: Sequence[tuple[str, dict[str, Any], str]]) -> bool:
        """Remember several events of one kind in one transaction: all of them, or none.

        Parameters
        ----------
        entries : sequence of (item, facts, command)

        Returns
        -------
        bool
            False when one of the commands has been done already: nothing was remembered.
        """
        at = datetime.now(UTC).isoformat(timespec="milliseconds")
        rows = [(at, self.who, what, item, "", as_json(facts), command) for item, facts, command in entries]
        with self._open() as db:
            try:
                db.executemany(
                    "INSERT INTO fact (at, who, what, item, key, facts, command) VALUES (?,?,?,?,?,?,?)", rows
                )
            except sqlite3.IntegrityError:
                db.rollback()
                return False
        return True

    def facts(self, what: str | None = None, item: str | None = None) -> list[Fact]:
        """All facts in the order they came, or those of one kind or item."""
        with self._open() as db:
            rows = db.execute(
                "SELECT seq, at, who, what, item, key, facts FROM fact"
                " WHERE (?1 IS NULL OR what = ?1) AND (?2 IS NULL OR item = ?2) ORDER BY seq",
                (what, item),
            ).fetchall()
        return [_fact(row) for row in rows]

    def latest(self, what: str, item: str | None = None) -> list[Fact]:
        """The standing facts of one kind: the last for each (item, key), in the order they first came."""
        standing: dict[tuple[str, str], Fact] = {}
        for fact in self.facts(what, item):
            standing[fact.item, fact.key] = fact
        return list(standing.values())

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        try:
            with closing(sqlite3.connect(self.path, timeout=30)) as db:
                db.execute("PRAGMA synchronous = FULL")
                with db:
                    yield db
        except sqlite3.DatabaseError as error:
            if getattr(error, "sqlite_errorname", "") == "SQLITE_FULL":
                raise NotPossible("disk.full", path=str(self.path)) from error
            raise Unreadable("box.record-unreadable", path=str(self.path), error=str(error)) from error


def as_json(facts: dict[str, Any]) -> str:
    """Facts as readable JSON; a file name whose bytes are no text keeps them as escapes."""
    text = json.dumps(facts, ensure_ascii=False, sort_keys=True)
    return text if text.isascii() or not _has_lone_half(text) else json.dumps(facts, sort_keys=True)


def _has_lone_half(text: str) -> bool:
    return any("\ud800" <= sign <= "\udfff" for sign in text)


def _fact(row: tuple) -> Fact:
    seq, at, who, what, item, key, facts = row
    return Fact(seq=seq, at=at, who=who, what=what, item=item, key=key, facts=json.loads(facts))
