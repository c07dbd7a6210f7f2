"""Check a capture of a video tape: open it once, step every measure on the same picture and sound block, judge."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from takeup.errors import Unreadable
from takeup.judge.sound_notice import Notice
from takeup.judge.sound_units import without_value
from takeup.judge.video import Seen, judge_video
from takeup.judge.video_live import RunningBands
from takeup.judge.video_notice import judge_picture_notice, judge_tape_notice, most_urgent
from takeup.judge.video_picture import judge_stretch
from takeup.judge.video_running import RunningVideo, SoFar
from takeup.measure.video import presence
from takeup.measure.video.clock import Drift, drift
from takeup.measure.video.levels import Levels
from takeup.measure.video.stretches import Running
from takeup.measure.video.whole import Pictures, Walk
from takeup.media.moving import Picture, Reading, SoundBlock, look_at_moving
from takeup.media.moving_live import NOTE, settle
from takeup.media.moving_look import PREDICTING
from takeup.streams import CaptureFile, Finding, Report
from takeup.tables.rows import Rows
from takeup.tasks.check_sound import measurable
from takeup.tasks.checking import Asked, Heard
from takeup.tasks.moving_walk import by_time, picture_of, walk_through
from takeup.tasks.sound_loops import ready_pictures
from takeup.tasks.sound_pass import SoundPart, SoundPass
from takeup.tasks.video_thread import Stills, thread_of

STAMP_EVERY_S = 0.2
LEAST = 96  # pixels and lines: what is smaller has no inside once edges are left out
MOST_LINES = 640  # larger pictures are measured by every second, third ... pixel and line of theirs
SECTIONS = (
    "kind", "order", "repeat", "silent", "levels", "sampled", "dropout", "tracking", "half_height", "recordings",
)  # fmt: skip


def check_video(path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> Report:
    """Measure and judge one video capture. Writes nothing; never holds more than a few pictures.

    Parameters
    ----------
    path, capture : Path, CaptureFile
        the file, and what ``media.moving.look_at_moving`` said of it
    asked : Asked
        what is known of the item; with ``idle_s`` the file is followed while it grows
    rows : Rows
        every table's rows

    Raises
    ------
    Unreadable
        ``capture.broken`` when not one picture can be decoded; what :func:`measurable` says of its sound.
    """
    walk = _Check(path, capture, asked, rows)
    reading = walk_through(path, capture, asked, walk)
    if asked.idle_s is not None and not walk.settled(path, reading):
        return check_video(path, look_at_moving(path), replace(asked, idle_s=None), rows)
    return walk.finish(reading)


class _Check:
    """One walk over a capture: every measure's state."""

    def __init__(self, path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> None:
        stream = picture_of(path, capture)
        sound = measurable(path, capture, rows) if capture.sound else None
        if stream.width < LEAST or stream.height < LEAST:
            raise Unreadable("video.too-small", path=str(path), width=stream.width, height=stream.height)
        self.thin = -(-stream.height // MOST_LINES)  # no tape has so many: a phone's or a screen's
        self.capture, self.asked, self.rows = capture, asked, rows
        self.rate = stream.rate or Fraction(25)
        limits = {name: rows.section(f"video.{name}") for name in SECTIONS}
        if stream.lossy:
            limits["levels"] = limits["levels"] | {"rails": limits["levels"]["lossy_rails"]}
            limits["sampled"] = limits["sampled"] | {"lossy": True, "keeps_noise": stream.codec == "dvvideo"}
        ready_pictures()
        self.pictures = Walk(limits, stream.bits, stream.codec in PREDICTING)
        self.running = Running(float(1 / self.rate), gap=limits["kind"]["gap_pictures"])
        self.bands = RunningBands(float(1 / self.rate), rows)
        self.tape = RunningVideo(self.pictures, float(1 / self.rate), rows)
        self.equal_codes = limits["repeat"]["equal_codes"]
        self.equal = 0  # pictures in a row that are equal to the one before
        self.levels: tuple[int, Levels | None] = (0, None)  # as they were after so many pictures
        self.stills = Stills(asked.stills, stream, rows)
        self.sound = SoundPass(sound, asked, rows, of_picture=True) if sound else None
        self.presence = presence.begin(sound.rate_hz, sound.channels) if sound else None
        self.sound_at: list[tuple[float, int]] = []
        self.samples = 0
        self.seconds = 0.0
        self.certain: list[Finding] = []

    def picture(self, picture: Picture) -> None:
        planes = picture.planes
        if self.thin > 1:
            planes = tuple(np.ascontiguousarray(plane[:: self.thin, :: self.thin]) for plane in planes)
        kind = self.pictures.step(planes, picture.at_s, key=picture.key, damaged=picture.damaged)
        self.seconds = picture.at_s
        for stretch in self.running.step(kind, picture.at_s):
            finding = judge_stretch(stretch, None, self.rows)
            if finding is not None:
                self.certain.append(finding)
        bands, number = self.pictures.of_lines.bands, len(self.pictures.at_s) - 1
        self.bands.step(bands[-1][1] if bands and bands[-1][0] == number else None, picture.at_s)
        self.tape.step()
        same = self.pictures.difference[-1] <= self.equal_codes and self.pictures.is_equal(number)
        self.equal = self.equal + 1 if same else 0
        self.stills.step(picture)

    def block(self, block: SoundBlock) -> None:
        if self.sound is None or self.presence is None or block.samples.shape[1] != len(self.presence.peaks):
            return
        if not self.sound_at or block.at_s - self.sound_at[-1][0] >= STAMP_EVERY_S:
            self.sound_at.append((block.at_s, self.samples))
        self.samples += len(block.samples)
        self.presence = presence.step(self.presence, block.samples)
        self.sound.hear(block.samples)

    def heard(self, faults_s: Sequence[float]) -> Heard:
        levels = self.sound.levels() if self.sound else {}
        told = (*self.certain, *self.bands.told, *self.tape.told(faults_s))
        so_far = self.tape.so_far()
        return Heard(
            seconds=self.seconds,
            total_s=self.capture.picture.seconds_stated if self.capture.picture else None,
            levels=levels,
            findings=(*told, *(self.sound.certain() if self.sound else ())),
            figures=so_far.figures(),
            notice=self._notice(so_far),
        )

    def _notice(self, so_far: SoFar) -> Notice | None:
        stream, run = self.capture.picture, self.running.open
        lasts = run.over() if run is not None and run.end == self.running.number else None
        still_s, of_picture = self.equal * float(1 / self.rate), None
        if stream is not None:
            of_picture = judge_picture_notice(
                lasts, stream, self.rows, still_s=still_s, levels=self._levels(), halved=so_far.halved
            )
        of_sound = self.sound.notice() if self.sound else None
        return most_urgent(of_picture, of_sound, judge_tape_notice(so_far, self.rows))

    def _levels(self) -> Levels | None:
        """Levels so far, looked at anew now and then; None before there is enough."""
        counted, every = self.pictures.counted, self.rows.value("video.notice.levels_s") * float(self.rate)
        pictures = counted.pictures if counted is not None else 0
        if pictures >= every and pictures >= self.levels[0] + every:
            self.levels = pictures, self.pictures.levels_so_far()
        return self.levels[1]

    def settled(self, path: Path, reading: Reading) -> bool:
        """Whether the finished file says what was read while it grew; its own word is taken from here on."""
        capture = look_at_moving(path)
        before, after = self.capture.picture, capture.picture
        if (
            after is None
            or before is None
            or (after.codec, after.bits, after.rate) != (before.codec, before.bits, self.rate)
        ):
            return False
        if NOTE in self.capture.notes:
            found = settle(path, capture, reading.places, self.samples)
            if found is None:
                return False
            self.pictures.at_s = array("d", found.stamps)
            self.sound_at = [(found.sound_s + at, count) for at, count in self.sound_at]
        self.capture = capture
        return True

    def finish(self, reading: Reading) -> Report:
        """Judge all that was measured."""
        pictures = self.pictures.finish(self.rate)
        sound_s = self.samples / self.capture.sound.rate_hz if self.capture.sound else 0.0
        part = self.sound.finish() if self.sound else None
        seen = Seen(
            capture=self.capture,
            original=self.asked.original,
            pictures=pictures,
            drift=self._drift(pictures),
            presence=presence.finish(self.presence) if self.presence and self.samples else None,
            sound_s=sound_s,
            broken=reading.broken,
            faults_s=tuple(reading.faults),
            read_to=reading.read_to,
        )
        measures, findings = judge_video(seen, self.rows)
        return Report(
            medium="video",
            seconds=round(pictures.seconds, 6),
            measures=measures | without_value("video.no-sound") | (dict(part.measures) if part else {}),
            findings=tuple(sorted(findings + _sound_findings(part, findings), key=by_time)),
            left_out=_left_out(pictures),
            trace=thread_of(pictures, part.trace if part else None),
            stills=self.stills.finish(),
        )

    def _drift(self, pictures: Pictures) -> Drift | None:
        if self.capture.sound is None or not self.samples:
            return None
        return drift(
            pictures.at_s,
            pictures.picture_s,
            self.sound_at,
            self.samples,
            self.capture.sound.rate_hz,
            self.rows.section("video.sync"),
            leaps=[(float(pictures.at_s[number]), missing) for number, missing in pictures.silent.lost],
        )


def _sound_findings(part: SoundPart | None, of_picture: list[Finding]) -> list[Finding]:
    """The sound's own findings; what ``sound_missing`` already says of the whole track is not said twice."""
    if part is None:
        return []
    names = {finding.says for finding in of_picture if finding.name == "sound_missing"}
    said = {"silence", "too_quiet", "ends_early"} if names else {"ends_early"}
    if "sound_missing.one-side" in names:
        said = {"channel_missing", "ends_early"}
    return [finding for finding in part.findings if finding.name not in said]


def _left_out(pictures: Pictures) -> tuple[tuple[str, float], ...]:
    """Seconds of black and no signal that no measure but their own counts."""
    names = {"black": "black", "flat": "no_signal", "snow": "no_signal"}
    seconds: dict[str, float] = {}
    for kind in pictures.kinds:
        if kind in names:
            seconds[names[kind]] = seconds.get(names[kind], 0.0) + pictures.picture_s
    return tuple((name, round(value, 3)) for name, value in seconds.items())
