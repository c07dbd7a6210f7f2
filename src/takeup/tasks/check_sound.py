"""Check a capture of sound: read it once, step every measure, judge."""

from __future__ import annotations

import time
from pathlib import Path

from takeup.errors import Unreadable
from takeup.media.sound import read_ahead, read_sound
from takeup.streams import CaptureFile, Report
from takeup.tables.rows import Rows
from takeup.tasks.checking import Asked, Heard
from takeup.tasks.sound_loops import quick_loops
from takeup.tasks.sound_pass import SoundPass

HEAR_EVERY_S = 0.1


def check_sound(path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> Report:
    """Measure and judge one capture of sound. Writes nothing; memory does not grow with the samples.

    Parameters
    ----------
    path, capture : Path, CaptureFile
        The file, and what looking at it told.
    asked : Asked
        What is known of the item; with ``idle_s`` the file is followed while it grows.
    rows : Rows
        Every table's rows.

    Raises
    ------
    Unreadable
        ``sound.no-samples`` when there is a header and nothing behind it; what the reader raises.
    """
    if capture.sound is None:
        raise Unreadable("capture.broken", path=str(path), error="no sound track")
    walk = SoundPass(capture.sound, asked, rows)
    told = 0.0
    for block in read_ahead(read_sound(path, capture, idle_s=asked.idle_s, quick_24=quick_loops().unpack_24)):
        walk.hear(block)
        now = time.monotonic()
        if asked.hear is not None and now - told >= HEAR_EVERY_S:
            told = now
            total = capture.sound.seconds_stated
            asked.hear(Heard(seconds=walk.seconds, total_s=total, levels=walk.levels(), findings=walk.certain()))
    part = walk.finish()
    if part.facts is None:
        raise Unreadable("sound.no-samples", path=str(path))
    return Report(
        medium="sound",
        seconds=part.seconds,
        measures=part.measures,
        findings=part.findings,
        left_out=part.left_out,
        trace=part.trace,
    )
