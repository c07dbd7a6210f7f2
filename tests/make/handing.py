"""A box that can be handed over, and the desk's long work done in the tests' own process, piece by piece."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

from PIL import Image

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.errors import TakeupError
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.ears import Ears
from takeup.tasks.take import take
from takeup.work.kinds import work_of

QUICK = Settings(wait_s=0.2)


def finish_print(box: dict, station: Path) -> None:
    """The box with a print captured from a station's folder, and its master and copy made."""
    station.mkdir()
    Image.new("RGB", (60, 40), (90, 120, 60)).save(station / "p1.tif")
    os.utime(station / "p1.tif", (time.time() - 3600,) * 2)
    answer = take(box["path"], [station], rows=load_rows(), settings=QUICK)
    assert [one_.item for one_ in answer.taken] == ["p1"]
    held = Box(box["path"], Record(box["path"], "test"))
    stored = held.record.latest("taken")[-1].facts["stored"]
    for role, folder, ending in (("master", "masters", "tif"), ("copy", "copies", "jpg")):
        path = box["path"] / folder / "p1" / f"p1.{ending}"
        path.parent.mkdir(parents=True)
        Image.new("RGB", (60, 40), (90, 120, 60)).save(path)
        data = path.read_bytes()
        facts = {
            "role": role, "path": held.relative(path), "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(),
            "from": [stored], "settings": {}, "size": [60, 40],
        }  # fmt: skip
        held.record.append("made", facts, item="p1", key=facts["path"])
    box["station_file"] = station / "p1.tif"


class Heard(Ears):
    def __init__(self):
        self.last = {}

    def progress(self, what, done, total, unit):
        self.last = {"what": what, "done": done, "total": total, "unit": unit}


TRIED = {
    "writable": True, "filesystem": "exFAT", "longest_file_bytes": None, "total_bytes": 64_000_000_000,
    "free_bytes": 60_000_000_000, "holds": True, "tried_bytes": 10**8, "tried_over_bytes": 60_000_000_000,
    "write_bytes_per_second": 40_000_000, "read_bytes_per_second": 80_000_000, "read_back_how": "",
    "reads": ["windows", "macos", "linux"], "writes": ["windows"], "verdict": "good", "why": [], "do": "It will do.",
}  # fmt: skip


def do_work(desk, *, truly=False):
    """Everything in line, one after another, as the workers do it but in this process.

    A drive's trial writes hundreds of megabytes: only where it is what is looked at is it done ``truly``.
    """
    done = []
    while (found := desk.workers._next()) is not None:
        row, about = found
        try:
            if row["kind"] == "drive" and not truly:
                tried = TRIED | {"drive": row["asked"]["drive"]}
                desk.workers._ended(row, {"answer": {"en": tried, "zh-Hans": tried}}, "")
                done.append("drive")
                continue
            told = {"answer": work_of(row["kind"])(desk.home / "boxes" / about["folder"], row["asked"], QUICK, Heard())}
        except TakeupError as fault:
            told = {"fault": {"key": fault.key, "facts": {name: str(fact) for name, fact in fault.facts.items()}}}
        desk.workers._ended(row, told, "")
        done.append(row["kind"])
    return done
