"""What a finished file is made with: outputs and settings from rows and figures. Numbers in, plan out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from takeup.measure.sound.alike import Alike
from takeup.streams import CaptureFile, PictureStream, Report
from takeup.tables.rows import Rows

Mend = Literal["none", "left-only", "right-only", "turn-right", "both-mean", "both-left", "both-right"]
LEVELS, NOTHING = 101, 25  # of a trace: dBFS + 100; -75 dBFS, under which there is no tape hiss
MasterWay = Literal["as-it-is", "unpacked", "coded", "rewrapped", "indexed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """How loud one side is on two loudspeakers after mending, before any gain. ``lufs`` is None for a silent side."""

    lufs: float | None
    true_peak_dbtp: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """One gain for all sides, and what set it."""

    db: float
    set_by: Literal["loudness", "peak", "most", "silence"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A property of a picture and how it is known."""

    value: str
    by: Literal["measured", "stated", "habit"]


def plan_gain(sides: Sequence[Heard], rows: Rows) -> Gain:
    """One gain for the whole cassette: the loudest side to the aim, no peak over the limit, never more than the most.

    Examples
    --------
    Sides of -30 and -26 LUFS with peaks of -9 dBTP at most want 8 dB for -18 and have exactly 8 dB up to -1.
    """
    limits = rows.section("formats.sound.copy")
    loudness = [side.lufs for side in sides if side.lufs is not None]
    peaks = [side.true_peak_dbtp for side in sides if side.true_peak_dbtp is not None]
    if not loudness:
        return Gain(db=0.0, set_by="silence")
    wanted = limits["loudness_lufs"] - max(loudness)
    room = limits["peak_dbtp"] - max(peaks) if peaks else math.inf
    db = min(wanted, room, limits["gain_max_db"])
    if db == wanted:
        return Gain(db=db, set_by="loudness")
    return Gain(db=db, set_by="peak" if db == room else "most")


def plan_mend(report: Report | None, channels: int, peaks_dbfs: Sequence[float]) -> Mend:
    """What the everyday copy puts right in the channels: only what the check said.

    Parameters
    ----------
    channels : int
        Channels of the capture.
    peaks_dbfs : sequence of float
        Level of each channel: a missing channel is the weaker one. [dBFS]
    """
    names = {finding.name for finding in report.findings} if report else set()
    if channels != 2:
        return "none"
    if "channel_missing" in names and len(peaks_dbfs) == 2:
        return "left-only" if peaks_dbfs[0] >= peaks_dbfs[1] else "right-only"
    return "turn-right" if "channel_antiphase" in names else "none"


def plan_mono(alike: Alike | None, late_us: float, rows: Rows) -> Mend:
    """What of a stereo capture goes to both sides of the copy, when its channels hold one and the same sound.

    Parameters
    ----------
    alike : Alike, optional
        What comparing the channels gave.
    late_us : float
        What is left of the delay between them.
    """
    limits = rows.section("formats.sound.mono")
    if alike is None or alike.identical or alike.unlike > limits["unlike"]:
        return "none"
    if abs(late_us) <= limits["late_us"] and abs(alike.balance_db) <= limits["apart_db"]:
        return "both-mean"
    return "both-left" if alike.balance_db >= 0 else "both-right"


def plan_trim(report: Report | None, seconds: float, rows: Rows) -> tuple[float, float] | None:
    """The stretch of a side that goes into the everyday copy; None for all of it. Never cuts into programme.

    Rests on the check's own trace of what was recorded, and goes on outwards from there over all that rises above the
    steady noise outside: a quiet beginning may pass for noise. Where that noise itself comes near the programme's
    level, nothing is cut: rain is steady, too.
    """
    trace = report.trace if report else None
    if trace is None or not any(trace.recorded) or len(trace.recorded) != len(trace.level):
        return None
    limits, step, levels = rows.section("formats.sound.copy"), trace.step_s, trace.level
    recorded = [at for at, flag in enumerate(trace.recorded) if flag]
    loud = sorted(levels[at] for at in recorded)[int(0.9 * (len(recorded) - 1))]
    head, tail = levels[: recorded[0]][::-1], levels[recorded[-1] + 1 :]  # outwards
    highest = _steady(head + tail, round(limits["steady_s"] / step)) + limits["over_hiss_db"]
    begin = recorded[0] - max((at + 1 for at, level in enumerate(head) if level > highest), default=0)
    end = recorded[-1] + 1 + max((at + 1 for at, level in enumerate(tail) if level > highest), default=0)
    first = max(0.0, begin * step - limits["head_s"])
    last = min(seconds, end * step + limits["tail_s"])
    outside = list(levels[: int(first / step)]) + list(levels[math.ceil(last / step) :])
    if outside and max(outside) > loud - limits["quiet_under_db"]:
        return None
    if first + (seconds - last) < limits["shortest_trim_s"]:
        return None
    return first, last


def _steady(outside: bytes, least: int) -> int:
    """The lowest level held for so many steps outside the programme: the hiss. Too low a guess only cuts less."""
    lowest = NOTHING
    for level in range(NOTHING, LEVELS):
        if sum(outside.count(near) for near in (level - 1, level, level + 1)) >= least:
            lowest = level
            break
    return max(range(lowest, min(lowest + 3, LEVELS)), key=outside.count)


def plan_sound_master(capture: CaptureFile, rows: Rows) -> MasterWay:
    """How the kept form of a sound capture comes about: PCM unpacked into WAV, or the lossy file as it is."""
    sound = capture.sound
    if sound is None:
        return "as-it-is"
    packed = sound.codec in rows.value("formats.sound.master.lossless_codecs")
    if packed or (sound.codec.startswith("pcm") and not sound.lossy):
        return "unpacked"
    return "as-it-is"


def plan_video_master(picture: PictureStream, container: str, rows: Rows, *, index_made: bool = False) -> MasterWay:
    """How the kept form of a video capture comes about: coded without loss, re-wrapped, or kept as it is.

    A file whose program never wrote its index (``index_made``) opens nowhere else: its own packets are put into a MOV
    with one ("indexed").
    """
    if picture.codec in rows.value("formats.video.master.raw_codecs"):
        return "coded"
    if picture.codec in rows.value("formats.video.master.lossless_codecs"):
        return "as-it-is" if container == "mkv" else "rewrapped"
    return "indexed" if index_made else "as-it-is"


def plan_field_order(report: Report | None, picture: PictureStream, rows: Rows) -> Known:
    """Which field comes first: as measured, else as the file states, else as the format's habit has it."""
    measured = report.measures.get("field_order") if report else None
    if measured is not None and measured.value in ("top", "bottom", "progressive"):
        return Known(value=measured.value, by="measured")
    if picture.field_order in ("top", "bottom", "progressive"):
        return Known(value=picture.field_order, by="stated")
    if picture.codec.startswith("dv"):
        return Known(value=rows.value("formats.video.habit.dv"), by="habit")
    key = f"formats.video.habit.lines_{picture.height}"
    return Known(value=rows.value(key) if key in rows else "progressive", by="habit")


def plan_shape(picture: PictureStream, rows: Rows) -> tuple[Fraction, str]:
    """Width of a pixel over its height, and whether the file states it or habit does.

    A full-width file that states square pixels, or nothing, is a tape: 4:3.
    """
    full = rows.value("formats.video.habit.full_width_px")
    if picture.shape and not (picture.width == full and picture.shape == 1):
        return picture.shape, "stated"
    if picture.width == full:
        lines = "625" if picture.height > 500 else "525"
        return Fraction(rows.value(f"formats.video.habit.shape_{lines}")), "habit"
    return Fraction(1), "habit" if picture.shape is None else "stated"


def plan_colour(lines: int, rows: Rows) -> tuple[int, int, int]:
    """Primaries, transfer and matrix of a picture by its lines, as ITU-T H.273 numbers them; 2 is "not stated"."""
    system = "625" if lines in (576, 288) else "525" if lines in (480, 486, 240) else ""
    if not system:
        return 2, 2, 2
    return tuple(rows.value(f"formats.video.colour.system_{system}"))  # type: ignore[return-value]


def plan_shown_size(width: int, height: int, shape: Fraction, most_px: int) -> tuple[int, int]:
    """Size of a still with square pixels, even numbers, no side over ``most_px``."""
    shown = float(width * shape)
    scale = min(1.0, most_px / max(shown, height))
    return tuple(max(2, 2 * round(side * scale / 2)) for side in (shown, height))  # type: ignore[return-value]
