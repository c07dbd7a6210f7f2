"""Judges a capture of a video tape: measures and rows in, findings out. Reads no file.

``redo`` is kept for what a second try can mend: levels cut off by the station, sound that never arrived, a file that
breaks off. What a tape may bring with it is ``look`` at most (decisions 0015 to 0019).
"""

from __future__ import annotations

from dataclasses import dataclass

from takeup.judge.video_lines import judge_lines, measures_of_lines
from takeup.judge.video_picture import judge_levels, judge_order, judge_shape, judge_stretches
from takeup.judge.video_sound import judge_drift, judge_sound
from takeup.judge.video_time import how_it_ends, judge_damage, judge_end, judge_lost
from takeup.measure.video.clock import Drift
from takeup.measure.video.levels import Levels
from takeup.measure.video.presence import Presence
from takeup.measure.video.whole import Pictures
from takeup.streams import CaptureFile, Finding, Measured, Original, PictureStream
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """All that is known of a video capture when it has been read."""

    capture: CaptureFile
    original: Original
    pictures: Pictures
    drift: Drift | None  # None without sound
    presence: Presence | None
    sound_s: float
    broken: str | None  # why reading ended before the file's end
    faults_s: tuple[float, ...] = ()  # packets that did not decode
    read_to: int = 0  # byte after the last packet that came; 0 where it is not known


def judge_video(seen: Seen, rows: Rows) -> tuple[dict[str, Measured], list[Finding]]:
    """The contract's measures and the findings of one capture."""
    pictures, capture = seen.pictures, seen.capture
    assert capture.picture is not None
    end = how_it_ends(capture, pictures, seen.sound_s, seen.broken, seen.read_to, rows)
    findings = [
        *judge_stretches(pictures, rows),
        *judge_levels(pictures.levels, pictures.lines.sampled.noise_codes, capture.picture, rows),
        *judge_lines(pictures, capture.picture, rows),
        *([] if pictures.lines.sampled.half_height else judge_order(pictures.order, capture.picture, rows)),
        *judge_shape(capture.picture, rows),
        *judge_sound(seen.presence, seen.original, seen.sound_s, rows),
        *judge_drift(seen.drift, seen.sound_s, rows, torn=end.cut or end.unreadable, faults_s=seen.faults_s),
        *judge_lost(pictures, seen.faults_s, end, rows),
        *judge_end(capture, pictures, end, rows),
        *judge_damage(pictures, seen.faults_s, end),
    ]
    return measures_of(seen), findings


def measures_of(seen: Seen) -> dict[str, Measured]:
    """Every picture measure of the contract, with its value or why it has none."""
    pictures, capture = seen.pictures, seen.capture
    assert capture.picture is not None
    levels, order, repeated = pictures.levels, pictures.order, pictures.repeats
    nothing = "video.nothing-recorded"
    level = {
        "black_level": Measured(value=_round(levels.black, 2), unit="code")
        if levels and levels.black is not None
        else Measured(value=None, unit="code", why=nothing),
        "white_level": Measured(value=_round(levels.white, 2), unit="code")
        if levels and levels.white is not None
        else Measured(value=None, unit="code", why=nothing),
        "beyond_limits": Measured(value=_beyond(levels, capture.picture), unit="%")
        if levels and levels.black is not None
        else Measured(value=None, unit="%", why=nothing),
    }
    flag = {"flag": capture.picture.field_order}
    way = {"votes": {"top": order.top, "bottom": order.bottom, "progressive": order.progressive}}
    return (
        level
        | {
            "field_order": Measured(value=order.order, unit="", extra=flag | way)
            if order.order
            else Measured(value=None, unit="", why="video.no-motion", extra=flag),
            "frames": Measured(value=pictures.frames, unit="pictures"),
            "repeated_frames": Measured(
                value=len(repeated.single),
                unit="pictures",
                extra={
                    "held": repeated.held_pictures,
                    "replaced": len(pictures.silent.replaced),
                    "still_or_held": sum(end - first for first, end in repeated.unsure),
                },
            ),
            "lost_frames": _lost(pictures),
            "recordings": _recordings(pictures),
        }
        | _sync(seen.drift)
        | measures_of_lines(pictures, capture.picture)
    )


def _beyond(levels: Levels, stream: PictureStream) -> float:
    """Per cent of pixels beyond the limits; in full range both limits lie outside what eight bits can say.

    By BT.601's scale 5 and 246 would be (5 - 16) x 255 / 219 = -12.8 and (246 - 16) x 255 / 219 = 267.8 there.
    """
    return 0.0 if stream.full_range else round(100 * float(levels.beyond_share), 4)


def _lost(pictures: Pictures) -> Measured:
    stamped, leapt = (sum(missing for _, missing in places) for places in (pictures.lost, pictures.silent.lost))
    return Measured(value=stamped + leapt, unit="pictures", extra={"without_a_gap": leapt})


def _recordings(pictures: Pictures) -> Measured:
    """How many recordings follow each other, where each begins, and from where to where anything is recorded."""
    found = pictures.recordings
    if found.programme is None:
        return Measured(value=None, unit="recordings", why="video.nothing-recorded")
    extra = {
        "from_s": [round(at, 3) for at, _ in found.begins],
        "told_by": [why for _, why in found.begins],
        "programme": [round(at, 3) for at in found.programme],
    }
    return Measured(value=len(found.begins), unit="recordings", extra=extra)


def _sync(drift: Drift | None) -> dict[str, Measured]:
    if drift is None:
        none = Measured(value=None, unit="ms", why="video.no-sound-track")
        return {"sound_offset": none, "sound_drift": none}
    return {
        "sound_offset": Measured(value=_round(drift.offset_ms, 2), unit="ms"),
        "sound_drift": Measured(
            value=_round(drift.drift_ms, 2),
            unit="ms",
            extra={"shape": drift.shape, "steps_at_s": list(drift.steps_at_s)},
        ),
    }


def _round(value: float | None, places: int) -> float | None:
    return None if value is None else round(float(value), places)
