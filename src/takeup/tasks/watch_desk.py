"""A watch with a desk: events are spooled and sent in order, meters handed through, whole captures sent in pieces.

Three threads, each with a connection of its own: for events and meters, for captures, for the desk's orders. Whatever
happens to the desk or the network, each goes on where it was.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup import __version__
from takeup.errors import TakeupError
from takeup.plan.outline import Outline
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check import medium_of
from takeup.tasks.watch_box import GUESSED, Tell
from takeup.tasks.watch_capture import Capture, Known, Outlet
from takeup.tasks.watch_folder import FAMILIES
from takeup.tasks.watch_follow import original_from
from takeup.tasks.watch_moving import LONG_S, Moving
from takeup.tasks.watch_orders import carry_out
from takeup.tasks.watch_spool import Spool, kept_key
from takeup.tasks.watch_talk import Away, NotNow, Talk, Unpaired, answered, key_for

KEPT_KINDS = ("begin", "finding", "end", "whole", "lost", "said")
METERS_EVERY_S = 0.25
OUTLINES_EVERY_S = 30.0  # and at every greeting: a desk that was started again has forgotten what it drew
BEAT_S = 2.0  # the desk hears so often that this station is there
MOST_BATCH, MOST_BATCH_BYTES = 100, 1_000_000
AWAY_S = (0.5, 5.0)  # how soon, and how seldom at most, a desk that does not answer is tried again
OF_KIND = {"film": ("super8", "film"), "microfilm": ("microfilm", "scan"), "video": ("vhs", "video"),
           "audio": ("cassette", "sound"), "cassette": ("cassette", "sound"), "scan": ("print", "scan"),
           "flatbed": ("print", "scan")}  # fmt: skip


class DeskOutlet(Outlet):
    """Everything goes to the desk; what is said here is said to whoever listens as well."""

    def __init__(self, url: str, key: str, spool: Spool, carrier: str, settings: Settings, tell: Tell) -> None:
        self.url, self.key, self.spool, self.carrier, self.settings = url, key, spool, carrier, settings
        self.say_here = tell
        if carrier:
            medium_of(carrier, load_rows())
        self.ending = threading.Event()
        self.meters: dict[str, dict[str, Any]] = {}
        self.meters_guard = threading.Lock()
        self.outlines: dict[str, Outline] = {}  # of the captures that grow: a desk that comes back is told them whole
        self.outlines_at = 0.0
        self.orders = threading.Event()
        self.there = True
        self.line: queue.SimpleQueue[tuple[Capture, Callable[[Capture, str], None]] | None] = queue.SimpleQueue()
        self.threads = [
            threading.Thread(target=work, daemon=True, name=name)
            for name, work in (("events", self._events), ("captures", self._captures), ("orders", self._orders))
        ]
        for thread in self.threads:
            thread.start()

    # --- what the watch asks ---
    def families(self) -> set[str] | None:
        medium = medium_of(self.carrier, load_rows()) if self.carrier else OF_KIND.get(self._kind(), ("", ""))[1]
        return {FAMILIES[medium]} if medium else None

    def original_of(self, path: Path, family: str) -> Known:
        """What the desk says lies on the machine; else what such a station usually captures."""
        known: dict[str, Any] = {}
        talk = Talk(self.url, self.key)
        try:
            said = talk.get("/station-api/sitting")
            known = said.facts if said.status == 200 else {}
        except Away:
            pass
        finally:
            talk.close()
        original = original_from(known["original"]) if known.get("original") else None
        if original is None:
            carrier = self.carrier or OF_KIND.get(self._kind(), (GUESSED[family], ""))[0]
            original = Original(id=path.stem[:40] or "-", carrier=carrier)
        mains_hz = int(known.get("mains_hz") or self.settings.mains)
        return Known(original=original, item=known.get("item", ""), part=known.get("part", ""), mains_hz=mains_hz)

    def _kind(self) -> str:
        return self.spool.known("kind") or ""

    def tell(self, kind: str, capture: Capture | None, facts: dict[str, Any]) -> None:
        self.say_here(kind, capture, facts)
        if kind == "progress" and capture is not None:
            self._meter(capture.id, facts)
        elif kind in ("begin", "end", "lost") and capture is not None:
            self._outline_anew(capture.id, grows=kind == "begin")
        if kind not in KEPT_KINDS or facts.get("what", "").startswith(("desk-", "key-")):
            return
        if kind == "end" and capture is not None:
            carrier = capture.known.original.carrier if capture.known else ""
            facts = facts | {"report": capture.report, "carrier": carrier, "by": __version__}
        at = datetime.now(UTC).isoformat(timespec="milliseconds")
        self.spool.add(kind, capture.id if capture else "", at, facts)

    def _meter(self, capture_id: str, facts: dict[str, Any]) -> None:
        with self.meters_guard:
            before = self.meters.get(capture_id, {}).get("moments", [])
            step = [[facts["seconds"], facts["levels"]]] if facts.get("levels") else []
            self.outlines.setdefault(capture_id, Outline()).hear(facts.get("seconds") or 0.0, step)
            self.meters[capture_id] = facts | {"capture": capture_id, "moments": (before + step)[-20:]}

    def _outline_anew(self, capture_id: str, *, grows: bool) -> None:
        with self.meters_guard:
            self.outlines.pop(capture_id, None)
            if grows:
                self.outlines[capture_id] = Outline()

    def hand_over(self, capture: Capture, done: Callable[[Capture, str], None]) -> None:
        self.line.put((capture, done))

    def stop(self) -> None:
        self.ending.set()
        self.spool.news.set()
        self.orders.set()
        self.line.put(None)
        until = time.monotonic() + 3.0
        for thread in self.threads:
            thread.join(max(0.1, until - time.monotonic()))

    # --- events and meters ---
    def _events(self) -> None:
        talk, wait, beat_at = Talk(self.url, self.key), AWAY_S[0], 0.0
        hello = False
        while not self.ending.is_set():
            try:
                if not hello:
                    hello = self._hello(talk)
                waiting = hello and self.spool.waiting(MOST_BATCH, MOST_BATCH_BYTES)
                if waiting:
                    self._send_events(talk, waiting)
                    continue
                now = time.monotonic()
                if hello and (self.meters or now - beat_at >= BEAT_S):
                    beat_at = now
                    self._send_meters(talk)
                self._is_there(True)
                wait = AWAY_S[0]
                self.spool.news.wait(METERS_EVERY_S if hello else AWAY_S[1])
                self.spool.news.clear()
            except Unpaired:
                self._unpaired()
                hello, talk.key = False, self.key
            except (Away, NotNow):
                self._is_there(False)
                hello = False
                self.ending.wait(wait)
                wait = min(AWAY_S[1], wait * 2)
        self._last_words(talk)
        talk.close()

    def _hello(self, talk: Talk) -> bool:
        said = answered(talk.get("/station-api/hello"))
        self.spool.know("kind", said["kind"])
        self.outlines_at = 0.0
        return True

    def _send_events(self, talk: Talk, waiting: list[Any]) -> None:
        batch = {
            "stream": self.spool.stream, "first": waiting[0].number,
            "now": datetime.now(UTC).isoformat(timespec="milliseconds"),
            "events": [
                {"number": one.number, "kind": one.kind, "capture": one.capture, "at": one.at, "facts": one.facts}
                for one in waiting
            ],
        }  # fmt: skip
        upto = int(answered(talk.post("/station-api/events", batch))["upto"])
        if upto < waiting[0].number:
            raise NotNow
        self.spool.acknowledged(upto)

    def _send_meters(self, talk: Talk) -> None:
        with self.meters_guard:
            now, self.meters = list(self.meters.values()), {}
            if now and time.monotonic() - self.outlines_at >= OUTLINES_EVERY_S:
                self.outlines_at = time.monotonic()
                kept = {key: outline.as_told() for key, outline in self.outlines.items()}
                now = [one | {"outline": kept.get(one["capture"])} for one in now]
        if answered(talk.post("/station-api/now", {"captures": now}))["orders"]:
            self.orders.set()

    def _last_words(self, talk: Talk) -> None:
        """What is known goes out before the end, if the desk is there."""
        try:
            while self.there and (waiting := self.spool.waiting(MOST_BATCH, MOST_BATCH_BYTES)):
                self._send_events(talk, waiting)
        except (Away, NotNow, Unpaired):
            pass

    def _is_there(self, there: bool) -> None:
        if there != self.there:
            self.there = there
            self.say_here("said", None, {"what": "desk-back" if there else "desk-away", "names": []})

    def _unpaired(self) -> None:
        """The key opens nothing any more: said once; one that pairing has left here meanwhile is used."""
        if self.there:
            self.there = False
            self.say_here("said", None, {"what": "key-unknown", "names": []})
        self.ending.wait(AWAY_S[1])
        self.key = kept_key(self.spool.folder) or self.key

    # --- captures ---
    def _captures(self) -> None:
        """One after another; one that waits for staff makes room for the next."""
        line: list[tuple[float, Capture, int, Callable[[Capture, str], None]]] = []
        while not self.ending.is_set():
            soonest = min((at for at, *_ in line), default=time.monotonic() + LONG_S)
            try:
                asked = self.line.get(timeout=max(0.01, soonest - time.monotonic()))
                if asked is None:
                    return
                line.append((time.monotonic(), asked[0], asked[0].begun, asked[1]))
            except queue.Empty:
                pass
            for entry in [entry for entry in line if entry[0] <= time.monotonic()]:
                line.remove(entry)
                _, capture, turn, done = entry
                if capture.begun != turn or capture.state != "whole":
                    continue  # it grew again or is gone: the watch's loop sees to it
                try:
                    state, again_s = Moving(self, capture).move()
                except (Away, NotNow, Unpaired):
                    state, again_s = "", AWAY_S[1]
                except (TakeupError, OSError):  # the station's disk is away: the folder is looked at again and again
                    state, again_s = "", LONG_S
                if state:
                    done(capture, state)
                elif not self.ending.is_set():
                    line.append((time.monotonic() + again_s, capture, turn, done))

    # --- orders ---
    def _orders(self) -> None:
        while not self.ending.is_set():
            self.orders.wait(LONG_S)
            if self.ending.is_set():
                return
            self.orders.clear()
            talk = Talk(self.url, self.key)
            try:
                for order in answered(talk.get("/station-api/orders"))["orders"]:
                    if self.ending.is_set():
                        return
                    told = carry_out(order)
                    answered(talk.post(f"/station-api/orders/{order['id']}", told))
            except (Away, NotNow, Unpaired):
                self.ending.wait(AWAY_S[1])
            finally:
                talk.close()


__all__ = ["DeskOutlet", "key_for"]
