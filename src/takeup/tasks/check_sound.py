"""Check a capture of sound: read it once, step every measure, judge."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from takeup.errors import Unreadable
from takeup.media.sound import look_at_sound, read_ahead, read_sound
from takeup.streams import CaptureFile, Report, SoundStream
from takeup.tables.rows import Rows
from takeup.tasks.checking import Asked, Heard
from takeup.tasks.sound_loops import quick_loops
from takeup.tasks.sound_pass import SoundPass

HEAR_EVERY_S = 0.08  # of wall time at most: the meters move every 100 ms, and none is to come late for that


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
        ``sound.no-samples`` when there is a header and nothing behind it; what :func:`measurable` and the reader raise.
    """
    stream = measurable(path, capture, rows)
    walk = SoundPass(stream, asked, rows)
    told = 0.0
    for block in read_ahead(read_sound(path, capture, idle_s=asked.idle_s, quick_24=quick_loops().unpack_24)):
        walk.hear(block)
        now = time.monotonic()
        if asked.hear is not None and now - told >= HEAR_EVERY_S:
            told = now
            asked.hear(_heard(walk, stream.seconds_stated))
    if asked.hear is not None and walk.seconds:
        asked.hear(_heard(walk, stream.seconds_stated))
    if asked.idle_s is not None:  # its header may have been closed meanwhile
        capture = look_at_sound(path)
        closed = measurable(path, capture, rows)
        if closed.seconds_stated is not None and walk.seconds > closed.seconds_stated + 1 / closed.rate_hz:
            return check_sound(path, capture, replace(asked, idle_s=None, hear=None), rows)  # more was heard than sound
        walk.stream = closed
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


def measurable(path: Path, capture: CaptureFile, rows: Rows) -> SoundStream:
    """The sound of a capture, when it can be measured.

    Raises
    ------
    Unreadable
        ``sound.no-rate``, ``sound.odd-rate``, ``sound.many-channels``.
    """
    stream, limits = capture.sound, rows.section("sound.reading")
    if stream is None:
        raise Unreadable("capture.broken", path=str(path), error="no sound track")
    if stream.rate_hz < 1 or stream.channels < 1:
        raise Unreadable("sound.no-rate", path=str(path), rate=stream.rate_hz, channels=stream.channels)
    if not limits["lowest_rate"] <= stream.rate_hz <= limits["highest_rate"]:
        lowest, highest = limits["lowest_rate"], limits["highest_rate"]
        raise Unreadable("sound.odd-rate", path=str(path), rate=stream.rate_hz, lowest=lowest, highest=highest)
    if stream.channels > limits["most_channels"]:
        raise Unreadable("sound.many-channels", path=str(path), channels=stream.channels, most=limits["most_channels"])
    return stream


def _heard(walk: SoundPass, total_s: float | None) -> Heard:
    return Heard(
        seconds=walk.seconds,
        total_s=total_s,
        levels=walk.levels(),
        findings=walk.certain(),
        moments=walk.new_moments(),
        notice=walk.notice(),
    )
