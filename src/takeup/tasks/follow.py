"""Check a capture while it is being written: an event as soon as a thing is known, the same verdict in the end."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible, Unreadable
from takeup.judge.sound_notice import Notice
from takeup.media.moving_live import NOTE, look_at_open_mov, may_be_told, open_without_index
from takeup.media.probe import look_at
from takeup.media.sound import can_follow_sound
from takeup.streams import NO_FACTS, CaptureFile, Finding, Report
from takeup.tables.loader import load_rows
from takeup.tasks.check import check_file, medium_of
from takeup.tasks.checking import Asked, Heard

LOOK_EVERY_S = 0.1
MOST_TO_LEARN = 150_000_000  # bytes of an open MOV in which its pictures are looked for

Emit = Callable[[str, dict[str, Any], Finding | None], None]
"""Told each event: its name (``progress``, ``finding``, ``end``), its figures, and the finding if it is one."""


def follow(path: Path, asked: Asked, idle_s: float, emit: Emit) -> Report:
    """Follow one growing file until it has not grown for ``idle_s`` seconds, telling events as they become known.

    A finding is never taken back; one that was told while it lasted is told once more, with its end, when it is over.
    In the end the findings told are those of checking the finished file.

    Raises
    ------
    Unreadable
        If nothing came, or what came is not a capture of this carrier.
    """
    medium_of(asked.original.carrier, load_rows())
    if os.path.isdir(path):  # unlike Path.is_dir, it takes any name
        raise NotPossible("follow.needs-file", path=str(path))
    capture = _first_sight(path, idle_s, asked.original.system)
    teller = _Teller(emit)
    if capture is not None and _can_follow(capture):
        _, report = check_file(path, replace(asked, idle_s=idle_s, hear=teller.hear), capture)
    else:
        emit("progress", {"seconds": 0.0, "levels": {}, "why": "@why.index-at-end"}, None)
        _wait_until_whole(path, idle_s, emit)
        _, report = check_file(path, asked)
    teller.rest(report)
    emit("end", {"seconds": report.seconds, "verdict": report.verdict}, None)
    return report


class _Teller:
    """Remembers what was told, so that nothing is told twice or taken back."""

    def __init__(self, emit: Emit) -> None:
        self.emit = emit
        self.told: dict[tuple[str, float | None], Finding] = {}
        self.last = 0.0
        self.begun = False  # the first that was measured is told at once: a short capture may have no second moment
        self.notice: Notice | None = None

    def hear(self, heard: Heard) -> None:
        for finding in heard.findings:
            self._tell(finding)
        if heard.moments is not None:  # every one, also when a writer hands over seconds at once: a meter plays them
            for at, (seconds, levels) in enumerate(heard.moments):
                if at == len(heard.moments) - 1:  # a notice is of now
                    self.notice = heard.notice
                self._progress(seconds, levels)
            return
        self.notice = heard.notice
        now = time.monotonic()
        if now - self.last >= LOOK_EVERY_S or (heard.seconds and not self.begun):
            self.last, self.begun = now, bool(heard.seconds)
            self._progress(round(heard.seconds, 3), heard.levels, heard.figures)

    def _progress(self, seconds: float, levels: Mapping[str, Any], figures: Mapping[str, Any] = NO_FACTS) -> None:
        more = {"figures": dict(figures)} if figures else {}
        more |= {"notice": self.notice} if self.notice else {}
        self.emit("progress", {"seconds": seconds, "levels": dict(levels)} | more, None)

    def rest(self, report: Report) -> None:
        for finding in report.findings:
            self._tell(finding)

    def _tell(self, finding: Finding) -> None:
        key = (finding.name, finding.from_s)
        if self.told.get(key) != finding:
            self.told[key] = finding
            self.emit("finding", {}, finding)


def _first_sight(path: Path, idle_s: float, system: str | None) -> CaptureFile | None:
    """What the file is, as soon as its head is there; None when only its end will tell (an index at the end)."""
    until, size, tried = time.monotonic() + idle_s, -1, 0
    while True:
        grown = _bytes_of(path) or 0
        if grown != size:
            until, size = time.monotonic() + idle_s, grown
        if size and open_without_index(path):
            if size >= 2 * tried or time.monotonic() >= until:
                tried = size
                found = look_at_open_mov(path, system)
                if found is not None or not may_be_told(path):
                    return found
            if size > MOST_TO_LEARN or time.monotonic() >= until:
                return None
            time.sleep(LOOK_EVERY_S / 2)
            continue
        if size:
            try:
                return look_at(path)
            except Unreadable as error:  # half a header, or one that its program still holds: perhaps soon
                unfinished = error
        if time.monotonic() >= until:
            if not size:
                return look_at(path)  # says plainly that it is not there, or empty
            raise unfinished
        if size > 1_000_000:
            return None
        time.sleep(LOOK_EVERY_S / 2)


def _can_follow(capture: CaptureFile) -> bool:
    """Whether pictures or sound can be read before the file is closed."""
    if capture.image is not None:
        return False
    if capture.picture is None and capture.container != "mkv":
        return can_follow_sound(capture)
    return NOTE in capture.notes or capture.container not in ("mp4", "mov", "m4a")


def _wait_until_whole(path: Path, idle_s: float, emit: Emit) -> None:
    until, size, told = time.monotonic() + idle_s, -1, 0.0
    while time.monotonic() < until:
        grown = _bytes_of(path)
        if grown is None:
            raise Unreadable("follow.gone", path=str(path))
        if grown != size:
            until, size = time.monotonic() + idle_s, grown
            if time.monotonic() - told >= 1:
                told = time.monotonic()
                emit("progress", {"seconds": None, "bytes": size, "levels": {}, "why": "@why.index-at-end"}, None)
        time.sleep(LOOK_EVERY_S)


def _bytes_of(path: Path) -> int | None:
    """How long the file is; None when it is not there."""
    try:
        return path.stat().st_size
    except (OSError, ValueError):
        return None
