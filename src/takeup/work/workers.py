"""Does the desk's long work, one piece after another on each worker; picks up again what a stopped desk left undone.

Every task of the house may be done twice without harm (what is there already is not made again), so a piece that was
cut off is simply begun again: three times at most, then it is said to have stopped.
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import DatabaseError, Lab, Stale, add, change, now, one, rows
from takeup.lab.schema import BOX, JOB
from takeup.work.kinds import after_of

WORKERS = 1  # the other core is the desk's and the stations'
MOST_TRIES = 3
END_S = 2.0
PROGRESS_S = 0.5  # the row is written so often; open pages hear each step


def ask_for(db: sa.Connection, kind: str, box_id: int | None, asked: dict[str, Any], by: str) -> int:
    """Put a piece of work in line; the same piece that is still in line is not put there again. Its number."""
    for row in rows(db, JOB, JOB.c.kind == kind, JOB.c.box_id == box_id, JOB.c.state.in_(("waiting", "running"))):
        if row["asked"] == asked:
            return int(row["id"])
    return int(add(db, JOB, kind=kind, box_id=box_id, asked=asked, state="waiting", by=by, made_at=now()))


class Workers:
    """Threads that each mind one process at a time."""

    def __init__(self, lab: Lab, home: Path, wire: Any) -> None:
        self.lab, self.home, self.wire = lab, home, wire
        self.news = threading.Event()
        self.ending = threading.Event()
        self.threads: list[threading.Thread] = []
        self.running: dict[int, subprocess.Popen[str]] = {}

    def start(self) -> None:
        """Begin; what was running when the desk last ended waits again."""
        with self.lab.writing() as db:
            for row in rows(db, JOB, JOB.c.state == "running"):
                self._again(db, row)
        self.threads = [threading.Thread(target=self._mind, daemon=True, name=f"work-{n}") for n in range(WORKERS)]
        for thread in self.threads:
            thread.start()

    def wake(self) -> None:
        """There is new work."""
        self.news.set()

    def stop(self) -> None:
        """End what runs; it waits for the next start."""
        self.ending.set()
        self.news.set()
        for process in list(self.running.values()):
            process.terminate()
        begun = time.monotonic()
        for thread in self.threads:
            thread.join(max(0.1, END_S - (time.monotonic() - begun)))
        for process in list(self.running.values()):
            process.kill()
        self.threads = []

    @staticmethod
    def _again(db: sa.Connection, row: dict[str, Any]) -> None:
        state = "waiting" if row["tries"] < MOST_TRIES else "stopped"
        change(db, JOB, row["id"], None, state=state)

    def _mind(self) -> None:
        while not self.ending.is_set():
            job = self._next()
            if job is None:
                self.news.wait(1.0)
                self.news.clear()
                continue
            try:
                self._do(*job)
            except Exception as error:  # a worker that ends is missed by everybody: this piece stops, the next goes on
                self._stumbled(job[0], error)

    def _stumbled(self, row: dict[str, Any], error: Exception) -> None:
        facts = {"died": f"{type(error).__name__}: {error}"[:2000]}
        try:
            with self.lab.writing() as db:
                change(db, JOB, row["id"], None, state="stopped", answer=facts, ended_at=now())
        except (DatabaseError, Stale):
            return  # the database itself is not to be had: the piece counts as running and is begun again at the start

    def _next(self) -> tuple[dict[str, Any], dict[str, Any]] | None:
        with self.lab.writing() as db:
            busy = sa.select(JOB.c.box_id).where(JOB.c.state == "running", JOB.c.box_id.is_not(None))
            asked = sa.or_(JOB.c.box_id.is_(None), JOB.c.box_id.not_in(busy))
            waiting = rows(db, JOB, JOB.c.state == "waiting", asked, order=JOB.c.id)
            if not waiting:
                return None
            row = waiting[0]
            change(db, JOB, row["id"], None, state="running", begun_at=now(), tries=row["tries"] + 1)
            box = one(db, BOX, BOX.c.id == row["box_id"]) if row["box_id"] else None
        return row, box or {}

    def _do(self, row: dict[str, Any], box: dict[str, Any]) -> None:
        folder = self.home / "boxes" / box["folder"] if box else self.home
        process = subprocess.Popen(
            [sys.executable, "-m", "takeup.work.one"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, encoding="utf-8", errors="replace",
        )  # fmt: skip
        self.running[row["id"]] = process
        try:
            if self.ending.is_set():
                process.terminate()
            self._mind_one(row, folder, process)
        finally:
            self.running.pop(row["id"], None)

    def _mind_one(self, row: dict[str, Any], folder: Path, process: subprocess.Popen[str]) -> None:
        told: dict[str, Any] = {}
        noise: list[str] = []
        reading = threading.Thread(target=lambda: noise.extend(process.stderr or ()), daemon=True)
        reading.start()
        assert process.stdin and process.stdout
        try:
            process.stdin.write(json.dumps({"kind": row["kind"], "folder": str(folder), "asked": row["asked"]}) + "\n")
            process.stdin.close()
        except OSError:
            pass
        written = 0.0
        for line in process.stdout:
            try:
                facts = json.loads(line)
            except ValueError:
                continue
            told |= facts
            if "progress" in facts:
                self.wire.tell("", "work", {"job": row["id"], "kind": row["kind"]} | facts["progress"])
                if time.monotonic() - written > PROGRESS_S:
                    written = time.monotonic()
                    with self.lab.writing() as db:
                        change(db, JOB, row["id"], None, progress=facts["progress"])
        process.wait()
        reading.join(1.0)
        self._ended(row, told, "".join(noise)[-2000:])

    def _ended(self, row: dict[str, Any], told: dict[str, Any], noise: str) -> None:
        with self.lab.writing() as db:
            if "answer" in told:
                change(db, JOB, row["id"], None, state="done", answer=told["answer"], ended_at=now())
                if after := after_of(row["kind"]):
                    after(db, row, told["answer"])  # in the same turn: done and noted, or neither
            elif "fault" in told:
                change(db, JOB, row["id"], None, state="stopped", answer={"fault": told["fault"]}, ended_at=now())
            elif self.ending.is_set():
                change(db, JOB, row["id"], None, state="waiting", tries=row["tries"])
            else:  # its process died: nothing was told
                tries = one(db, JOB, JOB.c.id == row["id"])["tries"]  # type: ignore[index]
                state = "waiting" if tries < MOST_TRIES else "stopped"
                change(db, JOB, row["id"], None, state=state, answer={"died": noise})
        self.wire.tell("", "work", {"job": row["id"], "kind": row["kind"], "ended": True})
