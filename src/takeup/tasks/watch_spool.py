"""What a station's takeup remembers on its own disk: which captures it follows, which events the desk has not had.

One small database, beside other programs' data and never in the folder of captures. An event is numbered when it is put
in and stays until the desk acknowledges its number; the numbers have no gaps, so that the desk can tell what is missing
and what came twice.
"""

from __future__ import annotations

import json
import math
import os
import secrets
import sqlite3
import threading
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible

FILE_NAME = "spool.sqlite"
KEY_NAME = "key"
SCHEMA = """
CREATE TABLE IF NOT EXISTS event (
  number INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, capture TEXT NOT NULL, at TEXT NOT NULL,
  facts TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS capture (id TEXT PRIMARY KEY, state TEXT NOT NULL, facts TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS known (key TEXT PRIMARY KEY, value TEXT NOT NULL);
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One thing that the desk must hear."""

    number: int
    kind: str
    capture: str
    at: str
    facts: dict[str, Any]


def as_json(facts: Any) -> str:
    """Facts as JSON that every reader takes: a number that is none is left empty."""
    try:
        return json.dumps(facts, default=str, allow_nan=False)
    except ValueError:
        return json.dumps(_finite(facts), default=str, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {name: _finite(one) for name, one in value.items()}
    return [_finite(one) for one in value] if isinstance(value, (list, tuple)) else value


class Spool:
    """The station's memory. May be used by several threads; every call is flushed before it returns.

    While the station's disk is full events are kept in memory and written as soon as there is room.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.guard = threading.RLock()
        self.unwritten: list[tuple[str, str, str, str]] = []
        self.news = threading.Event()
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self.db = sqlite3.connect(folder / FILE_NAME, timeout=30, check_same_thread=False, isolation_level=None)
            with self.guard:
                self.db.execute("PRAGMA journal_mode = WAL")
                self.db.execute("PRAGMA synchronous = FULL")
                self.db.executescript(SCHEMA)
        except (OSError, sqlite3.Error) as error:
            raise NotPossible("watch.no-spool", path=str(folder), error=str(error)) from error
        self.stream = self.known("stream") or self.know("stream", secrets.token_hex(16))

    def close(self) -> None:
        with self.guard:
            self._write_held()
            self.db.close()

    # --- events for the desk ---
    def add(self, kind: str, capture: str, at: str, facts: dict[str, Any]) -> None:
        """Put in an event, the last in line."""
        with self.guard:
            self.unwritten.append((kind, capture, at, as_json(facts)))
            self._write_held()
        self.news.set()

    def _write_held(self) -> bool:
        try:
            while self.unwritten:
                self.db.execute("INSERT INTO event (kind, capture, at, facts) VALUES (?,?,?,?)", self.unwritten[0])
                self.unwritten.pop(0)
            return True
        except sqlite3.Error:
            return False

    def waiting(self, most: int, most_bytes: int) -> list[Event]:
        """The first events that the desk has not acknowledged."""
        found: list[Event] = []
        size = 0
        with self.guard:
            self._write_held()
            with closing(self.db.execute("SELECT number, kind, capture, at, facts FROM event ORDER BY number")) as rows:
                for number, kind, capture, at, facts in rows:
                    size += len(facts)
                    if found and (len(found) >= most or size > most_bytes):
                        break
                    found.append(Event(number=number, kind=kind, capture=capture, at=at, facts=json.loads(facts)))
        return found

    def acknowledged(self, number: int) -> None:
        """The desk has everything up to this number."""
        with self.guard:
            self.db.execute("DELETE FROM event WHERE number <= ?", (number,))

    # --- captures ---
    def keep(self, capture: str, state: str, facts: dict[str, Any]) -> None:
        """Remember where a capture stands."""
        try:
            with self.guard:
                self.db.execute(
                    "INSERT INTO capture VALUES (?,?,?) ON CONFLICT (id) DO UPDATE SET state = excluded.state,"
                    " facts = excluded.facts",
                    (capture, state, json.dumps(facts, default=str)),
                )
        except sqlite3.Error:
            pass  # a full disk: what is remembered is then older, and done once more after a restart

    def forget(self, capture: str) -> None:
        with self.guard:
            self.db.execute("DELETE FROM capture WHERE id = ?", (capture,))

    def captures(self) -> list[tuple[str, str, dict[str, Any]]]:
        """Every capture as (id, state, facts), in the order they were first seen."""
        with self.guard:
            rows = self.db.execute("SELECT id, state, facts FROM capture ORDER BY rowid").fetchall()
        return [(capture, state, json.loads(facts)) for capture, state, facts in rows]

    # --- single facts ---
    def known(self, key: str) -> Any:
        with self.guard:
            row = self.db.execute("SELECT value FROM known WHERE key = ?", (key,)).fetchone()
        return json.loads(row[0]) if row else None

    def know(self, key: str, value: Any) -> Any:
        with self.guard:
            self.db.execute("INSERT OR REPLACE INTO known VALUES (?,?)", (key, json.dumps(value)))
        return value


def keep_key(folder: Path, key: str) -> Path:
    """Keep a station's key in a file that only its user may read."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / KEY_NAME
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        os.fchmod(handle, 0o600) if hasattr(os, "fchmod") else None
        os.write(handle, key.encode() + b"\n")
        os.fsync(handle)
    finally:
        os.close(handle)
    return path


def kept_key(folder: Path) -> str:
    """The key that pairing gave this station; empty when it was not paired here."""
    try:
        return (folder / KEY_NAME).read_text("utf-8").strip()
    except (OSError, ValueError):
        return ""
