"""The desk under load: 20 stations that send meters and findings, 50 pages that listen, pages loaded meanwhile.

One desk process; stations and pages in another (threads and one loop). ``python -m bench desk`` takes about 40 seconds.
Every finding must reach every page that listens, once; the median page must come within 100 ms.
"""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup.lab.people import add_staff, set_password, staff_of
from takeup.lab.places import add_station, pair
from takeup.lab.port import open_lab
from takeup.lab.sessions import begin_session

STATIONS, PAGES, SECONDS = 20, 50, 20.0
METERS_S, MOMENTS = 0.25, 3  # as a watch sends them
FINDING_S = 2.0
WANTED_MS, WANTED_TOLD_S = 100.0, 2.0


def ready_home(home: Path) -> tuple[list[str], str]:
    """A home with stations and a librarian: the keys, and a session for the cookie."""
    lab = open_lab(home)
    with lab.writing() as db:
        for n in range(STATIONS):
            add_station(db, f"s-{n:02d}", "audio", f"Station {n}", f"工作站 {n}", place=n)
        keys = [pair(db, f"s-{n:02d}") for n in range(STATIONS)]
        add_staff(db, "Maren")
        account = staff_of(db, "Maren")
        set_password(db, account["id"], "a rather long word")
        token = begin_session(db, "staff", staff_id=account["id"])
    lab.close()
    return keys, token


class Station(threading.Thread):
    """One station: a growing capture, meters four times a second, a finding every other second."""

    def __init__(self, port: int, number: int, key: str, until: float, sent: dict[str, float]) -> None:
        super().__init__(daemon=True)
        self.number, self.key, self.until, self.sent = number, key, until, sent
        self.talk = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self.capture, self.count, self.slowest = f"{number:024x}", 0, 0.0

    def post(self, path: str, facts: dict[str, Any]) -> None:
        begun = time.monotonic()
        head = {"Authorization": f"Bearer {self.key}", "Content-Type": "application/json"}
        self.talk.request("POST", path, json.dumps(facts).encode(), head)
        answer = self.talk.getresponse()
        answer.read()
        self.slowest = max(self.slowest, time.monotonic() - begun)
        if answer.status != 200:
            raise AssertionError((path, answer.status))

    def event(self, kind: str, facts: dict[str, Any]) -> None:
        self.count += 1
        now = datetime.now(UTC).isoformat(timespec="milliseconds")
        event = {"number": self.count, "kind": kind, "capture": self.capture, "at": now, "facts": facts}
        sent = {"stream": "b", "first": self.count, "now": now, "events": [event]}
        self.post("/station-api/events", sent)

    def run(self) -> None:
        about = {"name": "side-a.wav", "path": "/c/side-a.wav", "carrier": "cassette", "family": "sound", "anew": False}
        self.event("begin", about)
        at, next_finding = 0.0, time.monotonic() + 0.1 * self.number
        levels = {"left_dbfs": -20.1, "right_dbfs": -21.3, "left_peak_dbfs": -9.0, "right_peak_dbfs": -9.5}
        while time.monotonic() < self.until:
            begun = time.monotonic()
            at += METERS_S
            moments = [[round(at + n / 10, 1), levels] for n in range(MOMENTS)]
            now = {"capture": self.capture, "seconds": at, "bytes": int(at * 288_000), "levels": levels}
            self.post("/station-api/now", {"captures": [now | {"moments": moments}]})
            if begun >= next_finding:
                next_finding += FINDING_S
                finding = {
                    "name": "clipping", "verdict": "redo", "again": "helps", "says": "clipping.at-input", "from_s": at,
                    "to_s": None, "area": None, "value": None, "unit": "samples", "facts": {}, "rows": [],
                }  # fmt: skip
                self.sent[f"{self.capture}/clipping/{at}"] = time.monotonic()
                self.event("finding", {"finding": finding})
            time.sleep(max(0.0, METERS_S - (time.monotonic() - begun)))


class Listening:
    """Pages that hold the live wire open and note when each finding came."""

    def __init__(self, port: int, token: str) -> None:
        self.port, self.token = port, token
        self.heard: list[dict[str, list[float]]] = [{} for _ in range(PAGES)]
        self.meters = 0
        self.open = 0

    async def run(self, until: float) -> None:
        pages = [asyncio.create_task(self._page(n)) for n in range(PAGES)]
        await asyncio.sleep(max(0.0, until - time.monotonic()))
        for page in pages:
            page.cancel()
        await asyncio.gather(*pages, return_exceptions=True)

    async def _page(self, number: int) -> None:
        reading, writing = await asyncio.open_connection("127.0.0.1", self.port)
        writing.write(f"GET /live HTTP/1.1\r\nHost: bench\r\nCookie: takeup={self.token}\r\n\r\n".encode())
        kind = ""
        while line := await reading.readline():
            if line.startswith(b"retry"):
                self.open += 1
            elif line.startswith(b"event: "):
                kind = line[7:].strip().decode()
            elif line.startswith(b"data: "):
                if kind == "progress":
                    self.meters += 1
                elif kind == "finding":
                    key = json.loads(line[6:])["key"]
                    self.heard[number].setdefault(key, []).append(time.monotonic())


def load_pages(port: int, token: str, until: float, took: list[float]) -> None:
    """A person who goes from page to page, four times a second."""
    talk = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    while time.monotonic() < until:
        for path in ("/today", "/stations", "/boxes", "/visits"):
            begun = time.monotonic()
            talk.request("GET", path, headers={"Cookie": f"takeup={token}"})
            answer = talk.getresponse()
            answer.read()
            if answer.status == 200:
                took.append(time.monotonic() - begun)
            time.sleep(0.25)


def run() -> list[dict]:
    """The ratios."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        keys, token = ready_home(home)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        command = [sys.executable, "-m", "takeup", "desk", "--home", str(home), "--port", str(port), "--json"]
        environment = os.environ | {"TAKEUP_SETTINGS": "", "OPENBLAS_NUM_THREADS": "1"}
        desk = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        try:
            assert desk.stdout is not None and json.loads(desk.stdout.readline())["url"]
            begun = time.monotonic()
            sent, took, until = {}, [], begun + SECONDS
            listening = Listening(port, token)
            stations = [Station(port, n, key, until, sent) for n, key in enumerate(keys)]
            person = threading.Thread(target=load_pages, args=(port, token, until, took), daemon=True)
            wire = threading.Thread(target=lambda: asyncio.run(listening.run(until + 4)), daemon=True)
            wire.start()
            while listening.open < PAGES and time.monotonic() < begun + 10:
                time.sleep(0.05)
            for thread in (*stations, person):
                thread.start()
            for thread in (*stations, person, wire):
                thread.join()
        finally:
            desk.terminate()
            _, _, used = os.wait4(desk.pid, 0)
    return _ratios(sent, took, listening, max(one.slowest for one in stations), used)


def _ratios(sent: dict[str, float], took: list[float], listening: Listening, slowest: float, used: Any) -> list[dict]:
    lost = sum(len(sent.keys() - page.keys()) for page in listening.heard)
    twice = sum(len(times) > 1 for page in listening.heard for times in page.values())
    delays = sorted(times[0] - sent[key] for page in listening.heard for key, times in page.items() if key in sent)
    median_ms = 1000 * statistics.median(took)
    worst = delays[-1] if delays else float("inf")
    cpu = used.ru_utime + used.ru_stime
    detail = f"{len(took)} pages; 95 of 100 under {1000 * sorted(took)[int(0.95 * len(took))]:.0f} ms"
    meters = (
        f"{listening.meters} meters heard; slowest answer to a station {slowest:.2f} s; desk used {cpu:.0f} s of a core"
    )
    told = f"{len(sent)} findings to {PAGES} pages; median {statistics.median(delays or [0]):.3f} s"
    return [
        _most("median page, over 100 ms", median_ms / WANTED_MS, 1.0, f"{median_ms:.0f} ms, {detail}"),
        _most("findings lost or told twice", lost + twice, 0.0, told),
        _most("slowest finding at a page, over 2 s", worst / WANTED_TOLD_S, 1.0, f"{worst:.2f} s; {meters}"),
    ]


def _most(name: str, ratio: float, most: float, detail: str) -> dict:
    return {"name": name, "ratio": ratio, "wanted": f"at most {most:g}", "met": ratio <= most, "detail": detail}
