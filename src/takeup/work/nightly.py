"""What the desk does by itself: a backup a day, forgetting who is due, sweeping ended sessions."""

from __future__ import annotations

import threading
from datetime import date

from takeup.errors import TakeupError
from takeup.lab.backup import back_up_when_due
from takeup.lab.port import DatabaseError, Lab
from takeup.lab.sessions import sweep_sessions
from takeup.tasks.forgetting import forget_due

EVERY_S = 900.0


class Nightly:
    """A thread that wakes now and then. What it cannot do now (no room, the database busy) it tries again later."""

    def __init__(self, lab: Lab) -> None:
        self.lab = lab
        self.ending = threading.Event()
        self.thread: threading.Thread | None = None

    def start(self) -> None:
        self.thread = threading.Thread(target=self._mind, daemon=True, name="nightly")
        self.thread.start()

    def stop(self) -> None:
        self.ending.set()
        if self.thread:
            self.thread.join(1.0)

    def _mind(self) -> None:
        while not self.ending.wait(EVERY_S):
            self.look()

    def look(self, today: date | None = None) -> None:
        """Do what is due."""
        try:
            with self.lab.writing() as db:
                sweep_sessions(db)
            forget_due(self.lab, self.lab.home, (today or date.today()).isoformat())
            back_up_when_due(self.lab)
        except (TakeupError, DatabaseError):
            return
