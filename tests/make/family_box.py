"""A finished box of the Tan-Marlow family, made without the steps before it: files on the disk and facts about them.

Truth by construction: the record says of every file what is on the disk, and the reports hold the findings put in here.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from make.family import CLIPPED, FLICKER, WORN, jpeg, moving_file, paper, scene, sound_file, sound_report

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.streams import Measured, Report, Trace
from takeup.tasks.reporting import facts_from

ITEMS = [
    {"id": "t1", "carrier": "cassette", "label": "Aunt Wen, New Year 1983"},
    {"id": "v1", "carrier": "vhs", "label": "外婆 lantern walk"},
    {"id": "p1", "carrier": "print", "label": 'Prints: 50% <b>sea</b> & "wind"', "count": 2},
    {"id": "d1", "carrier": "document", "label": "../../Grandmother's letter"},
    {"id": "k1", "carrier": "cassette", "label": "master only", "keep": "master"},
    {"id": "m1", "carrier": "vhs", "label": "mouldy", "condition": ["mould"]},
    {"id": "t9", "carrier": "cassette", "label": "not yet here"},
    {"id": "r1", "carrier": "cassette", "label": "cut short"},
]


def family_box(folder: Path) -> Box:
    """Make the box in ``folder``."""
    folder.mkdir(parents=True)
    box = Box(folder, Record(folder, "tester"))
    box.record.start()
    box.record.append("box-started", {"version": "0", "items_sha256": ""})
    for item in ITEMS:
        box.record.append("item-listed", item, item=item["id"])
    box.record.append("screened", {"outcome": "refuse", "why": [], "do": []}, item="m1")
    _finish(box)
    box.record.append("described", {"title": "The regatta", "date": "1962?", "people": ["Mei"]}, item="p1-2")
    return box


def add_made(box: Box, item: str, role: str, path: str, from_: list[str], picture: str = "") -> None:
    """Remember a file that lies in the box."""
    data = box.path(path).read_bytes()
    facts = {"role": role, "path": path, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(), "from": from_,
             "settings": {}, "picture": picture, "size": None}  # fmt: skip
    box.record.append("made", facts, item=item, key=path)


def add_checked(box: Box, item: str, stored: str, report: Report, part: str = "") -> None:
    """Remember a capture and its report."""
    taken = {"stored": stored, "file": stored, "sha256": "0", "bytes": 1, "part": part}
    box.record.append("taken", taken, item=item, key=stored)
    box.record.append("checked", {"sha256": "0", "by": "x", "report": facts_from(report)}, item=item, key=stored)


def _finish(box: Box) -> None:
    for side, findings in (("side-a", [WORN]), ("side-b", [])):
        sound_file(box.path(f"copies/t1/t1-{side}.m4a"))
        _bytes(box, f"masters/t1/t1-{side}.wav")
        stored = f"captures/t1/{side}.wav"
        add_checked(box, "t1", stored, sound_report(1800, findings), side)
        add_made(box, "t1", "master", f"masters/t1/t1-{side}.wav", [stored])
        add_made(box, "t1", "copy", f"copies/t1/t1-{side}.m4a", [stored])
    moving_file(box.path("copies/v1/v1.mp4"))
    _bytes(box, "masters/v1/v1.mkv")
    flickery = Report(medium="video", seconds=100.0, measures={"frames": Measured(value=2500, unit="pictures")},
                      findings=(FLICKER,), trace=Trace(recorded=bytes([1]) * 1000))  # fmt: skip
    add_checked(box, "v1", "captures/v1/v1.mov", flickery)
    add_made(box, "v1", "master", "masters/v1/v1.mkv", ["captures/v1/v1.mov"])
    add_made(box, "v1", "copy", "copies/v1/v1.mp4", ["captures/v1/v1.mov"])
    scan = Report(medium="scan", seconds=None, measures={"ppi": Measured(value=600, unit="ppi")}, findings=())
    add_checked(box, "p1", "captures/p1/bed.tif", scan)
    for at in (1, 2):
        jpeg(box.path(f"copies/p1/p1-{at}.jpg"), scene(at, 640, 480))
        add_made(box, "p1", "copy", f"copies/p1/p1-{at}.jpg", ["captures/p1/bed.tif"], f"p1-{at}")
    paper(box.path("copies/d1/d1.pdf"))
    add_checked(box, "d1", "captures/d1/1.tif", scan)
    add_made(box, "d1", "copy", "copies/d1/d1.pdf", ["captures/d1/1.tif"])
    box.path("copies/d1/d1.txt").write_text("Dear Mei, the harbour is full of lanterns.", "utf-8")
    add_made(box, "d1", "text", "copies/d1/d1.txt", ["captures/d1/1.tif"])
    _bytes(box, "masters/k1/k1.wav")
    add_checked(box, "k1", "captures/k1/k1.wav", sound_report(60))
    add_made(box, "k1", "master", "masters/k1/k1.wav", ["captures/k1/k1.wav"])
    add_checked(box, "r1", "captures/r1/r1.wav", sound_report(60, [CLIPPED]))


def _bytes(box: Box, path: str) -> None:
    box.path(path).parent.mkdir(parents=True, exist_ok=True)
    box.path(path).write_bytes(path.encode() * 999)
