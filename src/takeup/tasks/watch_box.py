"""A watch without a desk: what is whole is taken into a box, and the check that was made is remembered there."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from takeup.box.folder import look_into
from takeup.errors import TakeupError
from takeup.files.matching import match_item
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check import medium_of, remember_report
from takeup.tasks.ears import Ears
from takeup.tasks.reporting import report_from
from takeup.tasks.take import take
from takeup.tasks.watch_capture import Capture, Known, fault_facts
from takeup.tasks.watch_folder import FAMILIES

AGAIN_S = 20.0  # a full disk or a box in use is tried again so often
PASSING = ("disk.full", "disk.cannot-write", "take.no-room", "box.in-use", "copy.differs")
GUESSED = {"sound": "cassette", "moving": "vhs", "still": "print"}  # whose measures suit a capture that nobody named
Tell = Callable[[str, Capture | None, dict[str, Any]], None]


class _Stopped(Exception):
    """The watch is ending; the copy in hand leaves nothing behind."""


class _UntilStopped(Ears):
    def __init__(self, ending: threading.Event) -> None:
        self.ending = ending

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        if self.ending.is_set():
            raise _Stopped


class BoxOutlet:
    """Tells whoever listens; takes into ``box`` when there is one."""

    def __init__(self, box: Path | None, carrier: str, settings: Settings, tell: Tell) -> None:
        self.box, self.carrier, self.settings, self.tell = box, carrier, settings, tell
        self.ending = threading.Event()
        self.line: queue.SimpleQueue[tuple[Capture, Callable[[Capture, str], None]] | None] = queue.SimpleQueue()
        self.thread = threading.Thread(target=self._work, daemon=True, name="take")
        self.thread.start()
        if carrier:
            medium_of(carrier, load_rows())  # says at once when there is no such carrier
        if box is not None:
            look_into(box, settings)  # or when there is no such box

    def families(self) -> set[str] | None:
        return {FAMILIES[medium_of(self.carrier, load_rows())]} if self.carrier else None

    def original_of(self, path: Path, family: str) -> Known:
        """The item that the file's name speaks of; else the carrier told, else what such files usually are."""
        mains_hz = self.settings.mains
        if self.box is not None:
            originals = {original.id: original for original in look_into(self.box, self.settings).originals()}
            match = match_item(path.name, list(originals))
            if match.item is not None:
                return Known(original=originals[match.item], item=match.item, part=match.part, mains_hz=mains_hz)
        carrier = self.carrier or GUESSED[family]
        return Known(original=Original(id=path.stem[:40], carrier=carrier), mains_hz=mains_hz)

    def hand_over(self, capture: Capture, done: Callable[[Capture, str], None]) -> None:
        self.line.put((capture, done))

    def stop(self) -> None:
        self.ending.set()
        self.line.put(None)
        self.thread.join(3.0)

    def _work(self) -> None:
        while not self.ending.is_set():
            asked = self.line.get()
            if asked is None:
                return
            capture, done = asked
            said = ""
            while not self.ending.is_set():
                try:
                    if self._take_in(capture):
                        done(capture, "done")
                        break
                except _Stopped:
                    return
                except TakeupError as error:
                    if error.key not in PASSING:
                        self.tell("refused", capture, {"fault": fault_facts(error)})
                        done(capture, "done")
                        break
                    if said != error.key:  # said once; the capture is safe where it is, and is tried again
                        said = error.key
                        self.tell("said", capture, {"what": "not-yet", "names": [], "fault": fault_facts(error)})
                self.ending.wait(AGAIN_S)

    def _take_in(self, capture: Capture) -> bool:
        """Whether that was the last of it: False, try again later."""
        if self.box is None:
            return True
        answer = take(
            self.box, [capture.path], rows=load_rows(), settings=self.settings, ears=_UntilStopped(self.ending),
            item=capture.known.item if capture.known else "",
        )  # fmt: skip
        for one in answer.taken:
            facts = {"item": one.item, "bytes": one.bytes, "sha256": one.sha256, "stored": str(one.stored)}
            if capture.report is not None and capture.known is not None and capture.whole == capture.sight.state:
                remember_report(
                    self.box, self.settings, stored=one.stored, sha256=one.sha256,
                    carrier=capture.known.original.carrier, report=report_from(capture.report),
                )  # fmt: skip
            self.tell("taken", capture, facts | {"already": one.already})
        for refused in answer.refused:
            if refused.why == "growing":
                return False
            facts = {name: str(fact) for name, fact in refused.facts.items()}
            self.tell("refused", capture, {"refused": refused.why, "facts": facts})
        return True
