"""A lab's home with a box, two stations and a paired key; a desk as a process of its own, and a capture program."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
from make.tiny import sound_samples, write_wav

from takeup.lab import live
from takeup.lab.boxes import new_slip_code, open_box
from takeup.lab.places import add_station, pair
from takeup.lab.port import add, now, open_lab
from takeup.lab.schema import PERSON, SITTING
from takeup.settings import Settings
from takeup.tasks.box_new import box_new

ITEMS = "id,carrier,label,minutes\nk1,cassette,Aunt and uncle 1983,60\nk2,cassette,Harbour,60\n"


class Home:
    """The home of an invented lab."""

    def __init__(self, folder: Path, stations=("cassette-1",)) -> None:
        self.folder = folder / "home"
        self.lab = open_lab(self.folder)
        (self.folder / "boxes").mkdir()
        self.keys: dict[str, str] = {}
        with self.lab.writing() as db:
            for place, station in enumerate(stations):
                add_station(db, station, "cassette", station, "录音带", place=place)
                self.keys[station] = pair(db, station)
            person = add(db, PERSON, name="Tan Marlow", made_at=now(), forget_on="")
            self.box = open_box(db, person, "The Tan and Marlow family")
            new_slip_code(db, self.box["id"])
        self.box_folder = self.folder / "boxes" / self.box["folder"]
        (folder / "items.csv").write_text(ITEMS, "utf-8")
        box_new(self.box_folder, folder / "items.csv", Settings())

    def sit(self, station: str, item: str, part: str = "") -> int:
        """The box's visitor sits at a station with one original."""
        with self.lab.writing() as db:
            return add(
                db, SITTING, station_id=station, box_id=self.box["id"], item=item, part=part, begun_at=now()
            )  # fmt: skip

    def code(self, station: str) -> str:
        with self.lab.writing() as db:
            return live.new_pair_code(db, station)

    def events(self, station: str) -> list[tuple[str, dict]]:
        """Kinds and facts of a station's events in their order."""
        with self.lab.reading() as db:
            from takeup.lab.port import rows
            from takeup.lab.schema import EVENT

            return [
                (row["kind"], row["facts"]) for row in rows(db, EVENT, EVENT.c.station_id == station, order=EVENT.c.seq)
            ]

    def captures(self) -> list[dict]:
        from takeup.lab.port import rows
        from takeup.lab.schema import CAPTURE

        with self.lab.reading() as db:
            return rows(db, CAPTURE, order=CAPTURE.c.begun_at)


def environment(folder: Path) -> dict[str, str]:
    return os.environ | {"XDG_DATA_HOME": str(folder / "data"), "TAKEUP_SETTINGS": "", "OPENBLAS_NUM_THREADS": "1"}


class DeskProcess:
    """``takeup desk`` on a port of its own, ended and started again at the same address."""

    def __init__(self, home: Path) -> None:
        with socket.socket() as taken:
            taken.bind(("127.0.0.1", 0))
            self.port = taken.getsockname()[1]
        self.home, self.url = home, f"http://127.0.0.1:{self.port}/"
        self.process: subprocess.Popen[str] | None = None
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "takeup", "desk", "--home", str(self.home), "--port", str(self.port), "--json"]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment(self.home))
        assert json.loads(self.process.stdout.readline())["url"]

    def stop(self, *, kill: bool = False) -> None:
        if self.process is not None:
            self.process.kill() if kill else self.process.terminate()
            self.process.wait(20)
            self.process.stdout.close()
            self.process = None


class WatchProcess:
    """``takeup watch ... --json`` and what it has said so far."""

    def __init__(self, folder: Path, *words: str, station: str = "cassette-1", spool: Path, idle: str = "2") -> None:
        command = [
            sys.executable, "-m", "takeup", "watch", str(folder), "--station", station, "--spool", str(spool),
            "--idle", idle, "--json", *words,
        ]  # fmt: skip
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment(spool.parent)
        )
        self.told: list[dict] = []
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        for line in self.process.stdout or ():
            self.told.append(json.loads(line))

    def of(self, event: str) -> list[dict]:
        return [one for one in list(self.told) if one["event"] == event]

    def until(self, event: str, count: int = 1, most_s: float = 60.0) -> list[dict]:
        wait_for(lambda: len(self.of(event)) >= count, most_s, lambda: f"{event}: {self.told[-5:]}")
        return self.of(event)

    def end(self, *, kill: bool = False) -> int:
        self.process.kill() if kill else self.process.terminate()
        status = self.process.wait(20)
        self.reader.join(5)
        self.process.stdout.close()
        self.process.stderr.close()
        return status


def wait_for(true, most_s: float = 60.0, what=lambda: "") -> None:
    """Until something is so; the test ends with what there is instead when it is not in time."""
    until = time.monotonic() + most_s
    while not true():
        assert time.monotonic() < until, f"not within {most_s} s: {what()}"
        time.sleep(0.05)


def clipped_wav(path: Path, seconds: float = 4.0, seed_gain: float = 6.0) -> bytes:
    """A capture whose middle was cut off flat at full scale: do again."""
    samples = sound_samples(seconds)
    third = int(seconds * 48000 / 3)
    samples[third : 2 * third] = np.clip(samples[third : 2 * third] * seed_gain, -1, 1)
    return write_wav(path, samples, bits=24).read_bytes()


class Grower(threading.Thread):
    """A capture program: writes a file in flushed pieces with pauses, until told to stop."""

    def __init__(self, path: Path, data: bytes, *, piece: int = 60_000, pause_s: float = 0.1) -> None:
        super().__init__(daemon=True)
        self.path, self.data, self.piece, self.pause_s = path, data, piece, pause_s
        self.start()

    def run(self) -> None:
        with self.path.open("wb") as file:
            for at in range(0, len(self.data), self.piece):
                file.write(self.data[at : at + self.piece])
                file.flush()
                time.sleep(self.pause_s)
