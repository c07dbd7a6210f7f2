"""A sitting of the invented lab in the middle of a cassette: what a station's screen looks like with findings on it."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from takeup.lab.asked import ask_somebody
from takeup.lab.live import keep_event
from takeup.lab.port import Lab, add, one
from takeup.lab.schema import BOX, CAPTURE
from takeup.lab.sittings import begin_sitting, choose_original, sitting_now
from takeup.settings import Settings
from takeup.streams import Finding
from takeup.tasks.at_station import originals_here
from takeup.tasks.reporting import sentences_of
from takeup.words.sentences import LANGUAGES

STATION, BOX_NUMBER = "cassette-1", "0042"
CAPTURE_ID, STREAM = "5fe0c1d2a3b4c5d6", "cassette-1/demo"
SECONDS, STEP_S = 774.0, 4.0
LEVELS = {"left_dbfs": -21.5, "left_peak_dbfs": -9.2, "right_dbfs": -23.0, "right_peak_dbfs": -10.4}
FOUND = (
    Finding(
        name="dropout", says="dropout.one", verdict="look", again="may help", from_s=380.2, to_s=380.3, value=0.1,
        unit="s", facts={"ms": 90.0, "db": 24.0, "side": "@side.left", "depth": 24.0, "seconds": 0.09},
    ),
    Finding(
        name="clipping", says="clipping.at-input", verdict="redo", again="helps", from_s=250.1, to_s=250.6, value=412,
        unit="samples", rows=("sound.clipping.min_run",),
    ),
)  # fmt: skip


def fill_station(lab: Lab, home: Path, settings: Settings) -> None:
    """Let the first visitor sit at the cassette station; nothing when the box or its cassettes are not there."""
    with lab.writing() as db:
        box = one(db, BOX, BOX.c.number == BOX_NUMBER)
        if box is None or not box["code_until"] or not (home / "boxes" / box["folder"]).is_dir():
            return
        tapes = originals_here(home / "boxes" / box["folder"], "cassette", settings)
        if not tapes or one(db, CAPTURE, CAPTURE.c.id == CAPTURE_ID):
            return
        sitting = begin_sitting(db, STATION, box)
        choose_original(db, sitting, None, tapes[0].id, "a")
        sits = sitting_now(db, STATION)
        begun = (datetime.now(UTC) - timedelta(seconds=SECONDS)).isoformat(timespec="milliseconds")
        add(
            db, CAPTURE, id=CAPTURE_ID, station_id=STATION, sitting_id=sits and sits["id"], box_id=box["id"],
            item=tapes[0].id, part="a", name=f"{tapes[0].id}-side-a.wav", state="growing", seconds=SECONDS,
            bytes=int(SECONDS * 576_000), sha256="", verdict="", stored="", why="", begun_at=begun, heard_at=begun,
            facts={"carrier": "cassette", "family": "sound", "levels": LEVELS}
            | {"outline": {"step_s": STEP_S, "heights": _outline()}},
        )  # fmt: skip
        for number, finding in enumerate(FOUND, 1):
            _tell(db, box, tapes[0].id, number, finding)


def _tell(db: Any, box: dict[str, Any], item: str, number: int, finding: Finding) -> None:
    """Keep a finding as a station's own would be kept."""
    told = {lang: dict(zip(("why", "do"), sentences_of(finding, lang))) for lang in LANGUAGES}
    key = f"{CAPTURE_ID}/{finding.name}/{finding.from_s}"
    about = {
        "name": finding.name, "verdict": finding.verdict, "again": finding.again, "from_s": finding.from_s,
        "to_s": finding.to_s, "area": None, "value": finding.value, "unit": finding.unit, "says": finding.says,
        "facts": dict(finding.facts), "rows": list(finding.rows),
    }  # fmt: skip
    facts = {"capture": CAPTURE_ID, "box": box["number"], "item": item, "key": key, "finding": about, "words": told}
    facts["asked"] = (
        ask_somebody(
            db, STATION, "finding", key, verdict="redo", facts=facts, capture_id=CAPTURE_ID, box_id=box["id"], item=item
        )
        if finding.verdict == "redo"
        else None
    )
    keep_event(db, STATION, STREAM, number, "finding", facts, capture_id=CAPTURE_ID)


def _outline() -> list[float]:
    """Somebody talks, pauses, sings: heights of a silhouette, seeded."""
    dice = np.random.default_rng(1983)
    count = int(SECONDS / STEP_S)
    swell = [0.45 + 0.3 * math.sin(at / 9) * math.sin(at / 31) for at in range(count)]
    return [round(float(min(max(one * (0.35 + 0.65 * dice.random()), 0.02), 1.0)), 3) for one in swell]
