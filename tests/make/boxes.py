"""Boxes for tests, made from the record's own facts: items, stations with captures, parcels."""

import hashlib
import os
import struct
import time
from pathlib import Path

import numpy as np

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.settings import Settings

SETTINGS = Settings(wait_s=0.2)


def wav_bytes(seed: int, seconds: float = 0.2, rate_hz: int = 48000) -> bytes:
    """A whole WAV of seeded noise, header written by hand (RIFF, fmt, data)."""
    samples = np.random.default_rng(seed).integers(-3000, 3000, int(seconds * rate_hz), dtype="<i2").tobytes()
    fmt = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, rate_hz, 2 * rate_hz, 2, 16)
    data = struct.pack("<4sI", b"data", len(samples)) + samples
    return struct.pack("<4sI4s", b"RIFF", 4 + len(fmt) + len(data), b"WAVE") + fmt + data


def make_box(folder: Path, ids=("t1", "t2"), carrier: str = "cassette") -> Box:
    """A box with an item list and an agreement."""
    folder.mkdir(parents=True)
    record = Record(folder, "test")
    record.start()
    record.append("box-started", {"version": "test", "items_sha256": "0" * 64})
    for item in ids:
        record.append("item-listed", {"id": item, "carrier": carrier, "label": f"tape {item}"}, item=item)
    record.append("agreed", {"form": "1", "lang": "en", "date": "2027-03-02", "adult_for_minor": False})
    return Box(folder, record)


def make_station(folder: Path, **captures: bytes) -> Path:
    """A station's folder; names are given with ``__`` for the dot. The files are an hour old."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in captures.items():
        path = folder / name.replace("__", ".")
        path.write_bytes(data)
        os.utime(path, (time.time() - 3600,) * 2)
    return folder


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def files_under(folder: Path) -> dict[str, bytes]:
    """Every file under a folder: path -> content."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def pack(box: Box, *, leave_out=()) -> Path:
    """Build and remember a parcel that holds one copy of every capture (but those of ``leave_out``)."""
    from takeup.files.package import Payload, make_package

    taken = [fact for fact in box.record.latest("taken") if fact.facts["stored"] not in leave_out]
    payload = [Payload(box.path(fact.facts["stored"]), fact.facts["stored"]) for fact in taken]
    page = box.folder / "open-me.html"
    page.write_text("<!doctype html><title>Port Ellery</title>", "utf-8")
    payload.append(Payload(page, "open-me.html"))
    made = make_package(box.folder / "parcel" / f"{box.name}-parcel", payload, [("Source-Organization", "test")])
    of = {f"data/{fact.facts['stored']}": fact for fact in taken}
    contents = [
        {"path": entry.path, "sha256": entry.digests["sha256"], "bytes": entry.bytes}
        | {"item": of[entry.path].item if entry.path in of else "", "role": "copy" if entry.path in of else "page"}
        | {"from": [of[entry.path].facts["stored"]] if entry.path in of else []}
        for entry in made.entries
    ]
    facts = {
        "parcel": box.relative(made.folder), "files": made.files, "bytes": made.bytes, "algorithms": ["sha256"],
        "manifest_sha256": made.manifest_sha256, "contents": contents,
    }  # fmt: skip
    box.record.append("packed", facts)
    return made.folder
