"""``takeup watch``: beside a station, every file that begins to grow is followed, and handed over when whole.

One loop looks at the folder twice a second and decides; every check is a process of its own; where news and whole
captures go is the outlet's business (:mod:`takeup.tasks.watch_box`, :mod:`takeup.tasks.watch_desk`). No file of the
station is ever changed or removed here.
"""

from __future__ import annotations

import queue
import secrets
import threading
import time
from pathlib import Path
from typing import Any

from takeup.errors import NotAllowedNow, NotPossible
from takeup.files.lock import held
from takeup.files.station import open_for_writing
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.watch_capture import Capture, Known, Outlet, Result, check_in_a_process, let_go
from takeup.tasks.watch_folder import OLD_S, History, Lying, Sight, family_at, sights
from takeup.tasks.watch_follow import original_from
from takeup.tasks.watch_spool import Spool

LOOK_EVERY_S = 0.5
MISSING_LOOKS = 4  # a file that is renamed is away for a moment
MOST_DIED = 2  # a file that brings its check down twice is handed over unchecked


class Watch:
    """One station's folder."""

    def __init__(self, folder: Path, spool: Spool, outlet: Outlet, idle_s: float) -> None:
        self.folder, self.spool, self.outlet, self.idle_s = folder, spool, outlet, idle_s
        self.rows = load_rows()
        self.captures: dict[str, Capture] = {}
        self.lying = Lying()
        self.foreign: dict[Path, tuple[int, int]] = {}
        self.results: queue.SimpleQueue[Result | None] = queue.SimpleQueue()
        self.ending = threading.Event()
        self.away = False
        self.came_back = False
        self.device: int | None = None
        self.guard = threading.RLock()  # captures are changed by the loop and by the outlet's thread

    def stop(self) -> None:
        """End soon; may be called from a signal's handler."""
        self.ending.set()
        self.results.put(None)

    def run(self) -> None:
        """Until told to stop.

        Raises
        ------
        NotPossible
            ``watch.no-folder``; ``watch.running`` when another watch of this station runs here.
        """
        first = sights(self.folder, self.rows)
        if first is None:
            raise NotPossible("watch.no-folder", path=str(self.folder))
        try:
            with held(self.spool.folder, "watch", 0.5):
                self._begin(first)
                try:
                    while not self.ending.is_set():
                        self._turn()
                finally:
                    self.ending.set()
                    for capture in self.captures.values():
                        let_go(capture)
                    self.outlet.stop()
        except NotAllowedNow as error:
            raise NotAllowedNow("watch.running", **error.facts) from error

    # --- beginning ---
    def _begin(self, first: dict[Path, Sight]) -> None:
        now = time.monotonic()
        by_file = {sight.file: sight for sight in first.values()}
        for capture_id, state, facts in self.spool.captures():
            sight = first.get(Path(facts["path"])) or by_file.get(tuple(facts["file"]))
            if sight is None:
                sight = Sight(Path(facts["path"]), facts["bytes"], facts["modified_ns"], tuple(facts["file"]))
            self._remember(capture_id, state, facts, sight, now)
        ours = {capture.path for capture in self.captures.values()}
        said = set(self.spool.known("lying") or ())
        for path, sight in first.items():
            if path not in ours:
                self.lying.files[path] = sight.state
        self._say("lying", sorted(str(path.relative_to(self.folder)) for path in self.lying.files), said)
        self.spool.know("lying", sorted({str(path.relative_to(self.folder)) for path in self.lying.files} | said))
        self.outlet.tell("ready", None, {"folder": str(self.folder), "lying": len(self.lying.files)})

    def _remember(self, capture_id: str, state: str, facts: dict[str, Any], sight: Sight, now: float) -> None:
        capture = Capture(id=capture_id, path=sight.path, history=History(sight, now, now), forced=True)
        capture.told = facts.get("told", {})
        capture.restarted = state in ("checking", "checked")
        if known := facts.get("known"):
            capture.known = Known(**known | {"original": original_from(known["original"])})
        self.captures[capture_id] = capture
        whole = tuple(facts["whole"]) if facts.get("whole") else None
        if state in ("whole", "done") and whole == sight.state:
            capture.state, capture.whole = state, whole
            capture.sha256, capture.report, capture.fault = facts["sha256"], facts["report"], facts["fault"]
            if state == "whole":
                self.outlet.hand_over(capture, self._handed)

    # --- one turn ---
    def _turn(self) -> None:
        seen, now = self._there(sights(self.folder, self.rows)), time.monotonic()
        with self.guard:
            if seen is None:
                if not self.away:
                    self.away = True
                    self._say("folder-gone", [str(self.folder)])
            else:
                if self.away:
                    self.away, self.came_back = False, True
                    self._say("folder-back", [str(self.folder)])
                self._look(seen, now)
                self.came_back = False
        until = now + LOOK_EVERY_S
        while not self.ending.is_set() and (left := until - time.monotonic()) > 0:
            try:
                result = self.results.get(timeout=left)
            except queue.Empty:
                break
            if result is not None:
                with self.guard:
                    self._checked(*result)

    def _there(self, seen: dict[Path, Sight] | None) -> dict[Path, Sight] | None:
        """What was seen, or None when the disk that the folder is a place of has been taken away."""
        try:
            device = self.folder.stat().st_dev
        except OSError:
            return None
        if device != self.device:
            if self.device is not None and seen is not None and self.captures:
                paths = {capture.path for capture in self.captures.values()}
                if not paths & seen.keys():
                    return None
            self.device = device
        return seen

    def _look(self, seen: dict[Path, Sight], now: float) -> None:
        by_file = {sight.file: sight for sight in seen.values() if sight.file[1]}
        for capture in list(self.captures.values()):
            self._find_again(capture, seen, by_file)
        paths = {capture.path for capture in self.captures.values()}
        for path, sight in seen.items():
            if path in paths or self.lying.left_alone(sight) or self.foreign.get(path) == sight.state:
                continue
            capture = Capture(id=secrets.token_hex(12), path=path, history=History(sight, now, now))
            self.captures[capture.id] = capture
        for capture in list(self.captures.values()):
            if sight := seen.get(capture.path):
                capture.history.see(sight, now)
                self._step(capture, now)

    def _find_again(self, capture: Capture, seen: dict[Path, Sight], by_file: dict[tuple[int, int], Sight]) -> None:
        """Where a capture lies now: under its name, under another one, or nowhere."""
        sight = seen.get(capture.path)
        same_file = by_file.get(capture.sight.file)
        if same_file is not None and same_file.path != capture.path and (
            sight is None or sight.file != capture.sight.file
        ):  # fmt: skip
            capture.path, capture.missing = same_file.path, 0
            if capture.state in ("checking", "checked"):
                self._from_the_beginning(capture)
            self._keep(capture)
        elif sight is None:
            capture.missing += 1
            if capture.missing >= MISSING_LOOKS:
                self._lost(capture)
        else:
            capture.missing = 0
            if sight.file != capture.sight.file and not self.came_back and capture.state in ("checking", "checked"):
                self._from_the_beginning(capture)  # another file under its name: what was read is not of this one

    def _lost(self, capture: Capture) -> None:
        let_go(capture)
        if capture.state in ("checking", "checked", "whole") and capture.begun:
            self.outlet.tell("lost", capture, {"what": "gone", "name": capture.path.name})
        del self.captures[capture.id]
        self.spool.forget(capture.id)

    def _step(self, capture: Capture, now: float) -> None:
        rested = capture.history.rested_s(now)
        if capture.state == "new":
            self._decide(capture, rested, now)
        elif capture.state == "checked":
            if capture.ended != capture.sight.state:
                self._from_the_beginning(capture)
            elif rested >= self.idle_s and not self._held(capture):
                self._is_whole(capture)
        elif capture.state in ("whole", "done") and capture.whole != capture.sight.state:
            self._from_the_beginning(capture)

    def _decide(self, capture: Capture, rested: float, now: float) -> None:
        """Follow it while it grows, check it when it rests, or leave it alone."""
        grows = capture.history.grows() or (capture.restarted and rested < self.idle_s)
        if not capture.sight.bytes or not (grows or rested >= self.idle_s):
            return
        family = family_at(capture.path)
        wanted = self.outlet.families()
        if family is None or (wanted is not None and family not in wanted):
            if rested >= self.idle_s:
                self._leave_alone(capture)
            return
        if not grows:
            first_s = time.time() - (now - capture.history.first_at)
            if not capture.forced and first_s - capture.sight.modified_ns / 1e9 > OLD_S:
                self._leave_alone(capture)
                return
            if self._held(capture):
                return
        capture.restarted = False
        check_in_a_process(
            capture, live=grows, idle_s=self.idle_s, outlet=self.outlet, family=family, ended=self.results.put
        )
        self._keep(capture)

    def _leave_alone(self, capture: Capture) -> None:
        del self.captures[capture.id]
        self.spool.forget(capture.id)
        self.foreign[capture.path] = capture.sight.state
        self._say("foreign", [str(capture.path.relative_to(self.folder))])

    def _from_the_beginning(self, capture: Capture) -> None:
        let_go(capture)
        capture.state, capture.whole, capture.sha256 = "new", None, ""
        capture.history.grew = capture.history.rewritten = 0
        capture.forced = capture.forced or bool(capture.begun)
        self._keep(capture)

    def _held(self, capture: Capture) -> bool:
        """Whether the capture program still has it open (told on Linux only)."""
        file = capture.sight.file
        return file in open_for_writing([file])

    # --- ends ---
    def _checked(self, capture: Capture, turn: int, last: dict[str, Any]) -> None:
        if turn != capture.begun or capture.id not in self.captures:
            return
        capture.process = None
        if self.ending.is_set():
            return
        if "report" in last:
            capture.state, capture.report = "checked", last["report"]
            capture.ended = (last["bytes"], last["modified_ns"])
            return
        if "died" in last and capture.died < MOST_DIED:
            capture.died += 1
            self._from_the_beginning(capture)
            return
        gone = last.get("fault", {}).get("key", "") in ("follow.gone", "follow.replaced", "follow.shrank")
        if gone and not capture.missing:  # the next looks tell where it is
            self._from_the_beginning(capture)
            return
        capture.fault = last.get("fault") or {"key": "watch.check-died", "facts": {"path": capture.path.name}}
        capture.state, capture.ended = "checked", capture.sight.state

    def _is_whole(self, capture: Capture) -> None:
        capture.state, capture.whole = "whole", capture.sight.state
        report = capture.report or {"seconds": None, "findings": []}
        facts = {"seconds": report["seconds"], "bytes": capture.sight.bytes, "verdict": capture.verdict}
        self.outlet.tell("end", capture, facts | {"findings": len(report["findings"]), "fault": capture.fault})
        self._keep(capture)
        self.outlet.hand_over(capture, self._handed)

    def _handed(self, capture: Capture, state: str) -> None:
        """The outlet's last word on a capture."""
        with self.guard:
            if capture.id in self.captures and capture.state == "whole":
                capture.state = state
                self._keep(capture)

    def _keep(self, capture: Capture) -> None:
        known = capture.known
        facts = {
            "path": str(capture.path), "file": list(capture.sight.file), "bytes": capture.sight.bytes,
            "modified_ns": capture.sight.modified_ns, "whole": capture.whole, "sha256": capture.sha256,
            "report": capture.report if capture.state == "whole" else None, "fault": capture.fault,
            "told": capture.told if capture.state != "done" else {},
            "known": known and {name: getattr(known, name) for name in known.__slots__ if name != "original"}
            | {"original": _plain(known.original)},
        }  # fmt: skip
        self.spool.keep(capture.id, capture.state, facts)

    def _say(self, what: str, names: list[str], said: set[str] | None = None) -> None:
        new = [name for name in names if name not in (said or ())]
        if new:
            self.outlet.tell("said", None, {"what": what, "names": new})


def _plain(original: Original) -> dict[str, Any]:
    return {name: getattr(original, name) for name in original.__slots__}
