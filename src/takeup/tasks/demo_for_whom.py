"""In the demo: a capture that came in while nobody sat at the station, so that staff can say whose it is. Invented."""

from __future__ import annotations

import hashlib
import io
import wave
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from takeup.files.beside import write_bytes
from takeup.files.pieces import whole_of
from takeup.lab.live import note_event
from takeup.lab.port import Lab, add, one
from takeup.lab.schema import CAPTURE, STATION

CAPTURE_ID, STATION_ID = "0f0e0d0c0b0a09080706", "cassette-1"
NAME, SECONDS, RATE_HZ = "untitled-2.wav", 12, 48_000


def fill_for_whom(lab: Lab, home: Path) -> None:
    """Put the capture where a station's takeup would have brought it; done twice it is there once."""
    with lab.reading() as db:
        known = one(db, CAPTURE, CAPTURE.c.id == CAPTURE_ID) or not one(db, STATION, STATION.c.id == STATION_ID)
    if known:
        return
    data = _sound()
    write_bytes(whole_of(home / "incoming", CAPTURE_ID, NAME), data)
    facts = {"capture": CAPTURE_ID, "name": NAME, "bytes": len(data)}
    with lab.writing() as db:
        then = (datetime.now(UTC) - timedelta(hours=5)).isoformat(timespec="milliseconds")  # before anybody sat there
        add(
            db, CAPTURE, id=CAPTURE_ID, station_id=STATION_ID, name=NAME, state="moving", seconds=SECONDS,
            bytes=len(data), received=len(data), sha256=hashlib.sha256(data).hexdigest(), begun_at=then,
            heard_at=then,
            facts={"path": f"/captures/{NAME}", "carrier": "cassette", "family": "sound", "modified_ns": 0},
        )  # fmt: skip
        note_event(db, STATION_ID, "for-whom", facts, capture_id=CAPTURE_ID)


def _sound() -> bytes:
    """Some seconds of a voice-like sound in tape hiss."""
    rng = np.random.default_rng(11)
    at = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    voice = sum(np.sin(2 * np.pi * 150 * n * at + n) / n for n in range(1, 9)) * np.clip(np.sin(8 * at), 0, None)
    both = 0.12 * np.stack([voice, 0.9 * voice], axis=1) + rng.normal(0, 8e-4, (len(at), 2))
    kept = io.BytesIO()
    with wave.open(kept, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(np.round(both * 32767).astype("<i2").tobytes())
    return kept.getvalue()
