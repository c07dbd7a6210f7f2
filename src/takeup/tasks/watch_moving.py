"""One whole capture on its way from the station's disk to the desk, piece by piece, from wherever it was left off."""

from __future__ import annotations

import hashlib
import os
from typing import Any
from urllib.parse import quote

from takeup.files.hash import hash_file
from takeup.files.pieces import PIECE_BYTES, piece_at
from takeup.tasks.watch_capture import Capture
from takeup.tasks.watch_talk import NotNow, Talk, answered

ASK_AGAIN_S = 1.0  # after what became of a whole capture; longer while it waits for staff
WAITS_S = 5.0
LONG_S = 30.0


class Moving:
    """Brings one whole capture to the desk, from wherever it was left off."""

    def __init__(self, outlet: Any, capture: Capture) -> None:
        self.outlet, self.capture = outlet, capture
        self.talk = Talk(outlet.url, outlet.key)
        self.where = f"/station-api/captures/{quote(capture.id)}"

    def move(self) -> tuple[str, float]:
        """What became of it; empty: ask again after so many seconds."""
        try:
            return self._move()
        finally:
            self.talk.close()

    def _move(self) -> tuple[str, float]:
        capture = self.capture
        if not self._as_it_was():
            return "", WAITS_S  # it grows again, or its folder is away
        if not capture.sha256:
            self._sum()
            if not capture.sha256:
                return "", WAITS_S
        while not self.outlet.ending.is_set():
            said = self.talk.get(self.where)
            if said.status == 404 or (said.status == 200 and said.facts["sha256"] != capture.sha256):
                return "", ASK_AGAIN_S  # its events are still on their way
            stands = answered(said)
            if stands["state"] in ("taken", "refused"):
                return self._ended(stands)
            if stands["shared"] or stands["received"] == stands["bytes"]:
                stands = answered(self.talk.post(f"{self.where}/whole", {}))
                if stands["state"] in ("taken", "refused"):
                    return self._ended(stands)
                return "", ASK_AGAIN_S if stands["known"] else WAITS_S
            if not self._send(stands["received"]):
                return "", WAITS_S
        return "", LONG_S

    def _as_it_was(self) -> bool:
        try:
            state = os.stat(self.capture.path)
        except OSError:
            return False
        return (state.st_size, state.st_mtime_ns) == self.capture.whole

    def _sum(self) -> None:
        capture = self.capture
        found = hash_file(capture.path, hear=self._go_on)
        if self._as_it_was():
            capture.sha256 = found.sha256
            facts = {"bytes": found.bytes, "sha256": found.sha256, "path": str(capture.path)}
            self.outlet.tell("whole", capture, facts | {"modified_ns": (capture.whole or (0, 0))[1]})

    def _go_on(self, _count: int) -> None:
        if self.outlet.ending.is_set():
            raise NotNow

    def _send(self, at: int) -> bool:
        """One piece; whether the file is still what it was."""
        piece = piece_at(self.capture.path, at, PIECE_BYTES)
        if not piece or not self._as_it_was():
            return False
        said = self.talk.send(f"{self.where}/pieces/{at}", piece, hashlib.sha256(piece).hexdigest())
        if said.status in (200, 409):
            return True
        if said.status == 400 and self.talk.get(self.where).status == 200:
            self.outlet.ending.wait(ASK_AGAIN_S)  # changed on its way, or no room just now: once more from there
            return True
        answered(said)
        return True

    def _ended(self, stands: dict[str, Any]) -> tuple[str, float]:
        if stands["state"] == "taken":
            facts = {"item": stands["item"], "bytes": stands["bytes"], "sha256": stands["sha256"]}
            self.outlet.say_here("taken", self.capture, facts | {"stored": stands["stored"], "already": False})
        else:
            self.outlet.say_here("said", self.capture, {"what": "refused", "names": [stands["why"]]})
        return "done", 0.0
