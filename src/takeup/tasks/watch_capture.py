"""A capture at a station as its watch knows it, and the process that checks it."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Protocol

from takeup.errors import TakeupError
from takeup.streams import Original
from takeup.tasks.watch_folder import History, Sight


@dataclass(slots=True, kw_only=True)
class Known:
    """What is known of the original that is being captured. ``about`` travels to the desk as it is."""

    original: Original
    item: str = ""  # empty: the file's name, or staff, will tell
    part: str = ""
    mains_hz: int = 50
    recorded_mains_hz: int | None = None
    about: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Capture:
    """One file that began to grow here.

    ``state``: ``new`` (not decided), ``checking``, ``checked`` (must still rest), ``whole`` (being handed over),
    ``done``.
    """

    id: str
    path: Path
    history: History
    state: str = "new"
    forced: bool = False  # followed before
    restarted: bool = False  # was being followed when the watch last ended: no waiting to see it grow
    missing: int = 0  # looks at which it was not there
    begun: int = 0  # how often it was followed from its beginning
    ended: tuple[int, int] | None = None  # bytes and time of change that the check ended with
    whole: tuple[int, int] | None = None
    report: dict[str, Any] | None = None
    fault: dict[str, Any] | None = None
    sha256: str = ""
    known: Known | None = None
    died: int = 0
    told: dict[str, dict[str, Any]] = field(default_factory=dict)
    process: subprocess.Popen[str] | None = None

    @property
    def sight(self) -> Sight:
        return self.history.sight

    @property
    def verdict(self) -> str:
        return self.report["verdict"] if self.report else ""


def fault_facts(error: TakeupError) -> dict[str, Any]:
    """A fault as it travels: its key, and facts that JSON can hold; numbers stay numbers."""
    plain = {name: fact if isinstance(fact, (int, float)) else str(fact) for name, fact in error.facts.items()}
    return {"key": error.key, "facts": plain}


class Outlet(Protocol):
    """Where a watch's news and whole captures go: into a box beside it, or to the desk. Called from several threads."""

    def families(self) -> set[str] | None:
        """What captures of this station may be: ``sound``, ``moving``, ``still``; None: anything."""

    def original_of(self, path: Path, family: str) -> Known:
        """What is being captured into a file that began to grow just now."""

    def tell(self, kind: str, capture: Capture | None, facts: dict[str, Any]) -> None:
        """One thing that happened."""

    def hand_over(self, capture: Capture, done: Callable[[Capture, str], None]) -> None:
        """Take a whole capture in, in its own time; ``done`` is told what became of it."""

    def stop(self) -> None:
        """End within seconds; nothing is half made."""


Result = tuple[Capture, int, dict[str, Any]]


def check_in_a_process(
    capture: Capture, *, live: bool, idle_s: float, outlet: Outlet, family: str, ended: Callable[[Result], None]
) -> None:
    """Begin to check a capture; its news go to the outlet, its end to ``ended``."""
    capture.begun += 1
    capture.state, capture.ended, capture.report, capture.fault = "checking", None, None, None
    run = _Run(capture, capture.begun, live, idle_s, outlet, family, ended)
    threading.Thread(target=run.work, daemon=True, name=f"check-{capture.id[:8]}").start()


def let_go(capture: Capture) -> None:
    """End its check, if one runs: what it would still say is not heard."""
    capture.begun += 1
    if capture.process is not None:
        capture.process.kill()
        capture.process = None


class _Run:
    def __init__(self, capture, turn, live, idle_s, outlet, family, ended) -> None:
        self.capture, self.turn, self.live, self.idle_s = capture, turn, live, idle_s
        self.outlet, self.family, self.ended = outlet, family, ended
        self.last: dict[str, Any] = {}

    def work(self) -> None:
        try:
            self._check()
        except Exception as error:  # a thread's end must be heard, whatever ended it
            self.last = {"died": f"{type(error).__name__}: {error}"}
        self.ended((self.capture, self.turn, self.last))

    def _check(self) -> None:
        capture = self.capture
        if capture.known is None:
            capture.known = self.outlet.original_of(capture.path, self.family)
        known = capture.known
        if not self._mine:
            return
        facts = {"name": capture.path.name, "path": str(capture.path), "family": self.family, "live": self.live}
        self.outlet.tell("begin", capture, facts | {"anew": self.turn > 1 or capture.forced} | _about(known))
        process = subprocess.Popen(
            [sys.executable, "-m", "takeup.tasks.watch_follow"], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True, encoding="utf-8", errors="surrogateescape",
            start_new_session=True,
        )  # fmt: skip
        capture.process = process
        assert process.stdin and process.stdout
        asked = {
            "path": str(capture.path), "live": self.live, "idle_s": self.idle_s, "original": asdict(known.original),
            "mains_hz": known.mains_hz, "recorded_mains_hz": known.recorded_mains_hz,
        }  # fmt: skip
        try:
            process.stdin.write(json.dumps(asked) + "\n")
            process.stdin.flush()
            for line in process.stdout:
                if not self._mine:
                    break
                self._hear(json.loads(line))
        except (OSError, ValueError):
            pass
        finally:
            process.kill() if not self._mine else None
            process.stdin.close()
            process.wait()
        if not self.last:
            self.last = {"died": str(process.returncode)}

    @property
    def _mine(self) -> bool:
        return self.capture.begun == self.turn

    def _hear(self, said: dict[str, Any]) -> None:
        event = said.pop("event", "")
        if not event:
            self.last = said
        elif event == "finding":
            self._finding(said["finding"])
        elif event == "progress":
            said.setdefault("bytes", self.capture.sight.bytes)
            self.outlet.tell("progress", self.capture, said)

    def _finding(self, finding: dict[str, Any]) -> None:
        """Told once, and once more when it changed: also when the file is checked from its beginning again."""
        key = f"{self.capture.id}/{finding['name']}/{finding['from_s']}"
        if self.capture.told.get(key) != finding:
            self.capture.told[key] = finding
            self.outlet.tell("finding", self.capture, {"key": key, "finding": finding})


def _about(known: Known) -> dict[str, Any]:
    return {"item": known.item, "part": known.part, "carrier": known.original.carrier} | known.about
