"""Small captures in a box, with the reports of a check put in by hand: truth by construction of the findings."""

from __future__ import annotations

import hashlib
from pathlib import Path

import cv2
import numpy as np
from make import tiny
from PIL import Image

from takeup.box.folder import Box, look_into
from takeup.settings import Settings
from takeup.streams import Finding, Measured, Report, Trace
from takeup.tasks.arrange import arrangement_of
from takeup.tasks.reporting import facts_from

CLIPPED = Finding(
    name="clipping", verdict="redo", again="helps", from_s=3.0, to_s=3.4, value=31, unit="samples",
    facts={"share": 0.1}, says="clipping",
)  # fmt: skip
PRINTS = (
    ((40.0, 30.0), (240.0, 30.0), (240.0, 180.0), (40.0, 180.0)),
    ((60.0, 230.0), (210.0, 230.0), (210.0, 380.0), (60.0, 380.0)),
)
BED_PX = (300, 420)


def take_in(box: Box, item: str, name: str, path: Path, report: Report | None, part: str = "") -> str:
    """Remember a capture that lies in the box's folder and what its check gave; its stored path."""
    stored = f"captures/{item}/{name}"
    target = box.path(stored)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(path.read_bytes())
    digest = hashlib.sha256(target.read_bytes()).hexdigest()
    taken = {"file": name, "source": str(path), "stored": stored, "bytes": target.stat().st_size, "sha256": digest,
             "modified_ns": 0, "part": part}  # fmt: skip
    box.record.append("taken", taken, item=item, key=stored)
    if report is not None:
        facts = {"sha256": digest, "by": "0", "report": facts_from(report), "repeats": ""}
        box.record.append("checked", facts, item=item, key=stored)
    return stored


def side(box: Box, folder: Path, *findings: Finding, item: str = "k1", name: str = "k1-side-a.wav") -> str:
    """Six seconds of sound."""
    path = tiny.write_wav(folder / name, tiny.sound_samples(6.0))
    trace = Trace(step_s=0.1, level=bytes([70] * 60), recorded=bytes([1] * 60))
    measures = {"loudness": Measured(value=-23.0, unit="LUFS")}
    report = Report(medium="sound", seconds=6.0, measures=measures, findings=findings, trace=trace)
    return take_in(box, item, name, path, report, "a")


def bed(box: Box, folder: Path, *, item: str = "p1", words: tuple[tuple[str, int], ...] = ()) -> str:
    """A white glass with a red and a blue print, upright, 100 px to the inch; each has a black mark at its top left.

    ``words``: what is written across each print, and the quarter turns clockwise that set it upright.
    """
    pixels = np.full((BED_PX[1], BED_PX[0], 3), 245, np.uint8)
    for (first, _, last, _), colour in zip(PRINTS, ((180, 30, 30), (30, 30, 180))):
        (left, top), (right, foot) = ((int(x), int(y)) for x, y in (first, last))
        pixels[top:foot, left:right] = colour
        pixels[top : top + 20, left : left + 20] = 0
    for corners, (word, turn) in zip(PRINTS, words):
        (left, top), (right, foot) = ((int(x), int(y)) for x, y in (corners[0], corners[2]))
        part = np.ascontiguousarray(np.rot90(pixels[top:foot, left:right], -turn))
        cv2.putText(part, word, (12, 95), cv2.FONT_HERSHEY_COMPLEX, 0.85, (250, 250, 240), 2, cv2.LINE_AA)
        pixels[top:foot, left:right] = np.rot90(part, turn)
    path = folder / f"{item}.tif"
    Image.fromarray(pixels).save(path, dpi=(100, 100))
    found = [{"corners": [list(corner) for corner in corners], "tilt": 0.0} for corners in PRINTS]
    pictures = Measured(value=found, unit="1", extra={"ground": "lid"})
    report = Report(medium="scan", seconds=None, measures={"pictures": pictures}, findings=())
    return take_in(box, item, path.name, path, report)


def stands(box):
    """How the pictures of the bed scan ``box["stored"]`` are arranged now."""
    return arrangement_of(look_into(box["path"], Settings()), "p1", box["stored"])
