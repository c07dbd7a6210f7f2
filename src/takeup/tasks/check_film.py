"""Check a film scan: open it once, glance at every frame, tell pictures from repeats, judge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from takeup.errors import Unreadable
from takeup.judge.film import Film, judge_film
from takeup.judge.sound_units import without_value
from takeup.measure.film.exposure import exposure
from takeup.measure.film.flicker import flicker
from takeup.measure.film.glances import Glances, begin_glances, finish_glances, step_glances
from takeup.measure.film.occupied import occupied
from takeup.measure.film.rhythm import Rhythm, rhythm
from takeup.media.moving import Picture, Reading, SoundBlock
from takeup.plan.film_time import Decided, decide_rate
from takeup.streams import CaptureFile, Finding, Measured, Report, Trace
from takeup.tables.rows import Rows
from takeup.tasks.check_sound import measurable
from takeup.tasks.checking import Asked, Heard
from takeup.tasks.film_parts import at_a_limit, goes_on, is_part
from takeup.tasks.moving_walk import by_time, picture_of, walk_through
from takeup.tasks.sound_pass import SoundPart, SoundPass
from takeup.tasks.video_thread import Stills

STEP_S = 0.1
HELD = 16  # frames that wait for their glance together


def check_film(path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> Report:
    """Measure and judge one film scan. Writes nothing; holds a few frames and some figures of each.

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
        ``capture.broken`` when not one picture can be decoded; ``film.size-changes`` when the pictures change size;
        what :func:`measurable` says of its sound.
    """
    walk = _Walk(path, capture, asked, rows)
    reading = walk_through(path, capture, asked, walk)
    return walk.report(reading, walk.seen())


class _Walk:
    """One walk over a film scan: the glances so far, the sound where there is any, a few small pictures."""

    def __init__(self, path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> None:
        stream = picture_of(path, capture)
        self.path, self.capture, self.asked, self.rows = path, capture, asked, rows
        self.silent = 10 ** (rows.value("film.sound.silent_dbfs") / 20)
        self.state = begin_glances()
        self.held: list[tuple[np.ndarray, ...]] = []
        self.bits = stream.bits
        self.stamps: list[float] = []
        self.stills = Stills(asked.stills, stream, rows)
        sound = measurable(path, capture, rows) if capture.sound else None
        self.sound = SoundPass(sound, asked, rows, of_picture=True) if sound else None
        self.full_range = stream.pixel_format.startswith(("yuvj", "gray"))
        self.shape: tuple[int, ...] | None = None
        self.peak = 0.0

    def picture(self, picture: Picture) -> None:
        self.shape = self.shape or picture.planes[0].shape
        if picture.planes[0].shape != self.shape:
            raise Unreadable("film.size-changes", path=str(self.path), frame=picture.index)
        self.held.append(picture.planes)
        self.bits = picture.bits
        self.stamps.append(picture.at_s)
        self.stills.step(picture)
        if len(self.held) >= HELD:
            self._glance()

    def block(self, block: SoundBlock) -> None:
        if self.sound is None:
            return
        if block.samples.size:
            self.peak = max(self.peak, float(np.abs(block.samples).max()))
        self.sound.hear(block.samples)

    def seen(self) -> Glances:
        self._glance()
        return finish_glances(self.state)

    def _glance(self) -> None:
        self.state = step_glances(self.state, self.held, self.bits)
        self.held = []

    def heard(self, faults_s: Sequence[float]) -> Heard:
        levels = self.sound.levels() if self.sound and self.peak > self.silent else {}
        total = self.capture.picture.seconds_stated if self.capture.picture else None
        return Heard(seconds=self.stamps[-1], total_s=total, levels=levels)

    def report(self, reading: Reading, seen: Glances) -> Report:
        """Judge all that was seen and heard."""
        decided = decide_rate(self.asked.original, self.rows)
        film = self._film(self.path, reading, seen, decided)
        measures, findings = judge_film(film, self.rows)
        part = self.sound.finish() if self.sound and self.peak > self.silent else None
        heard, said = _of_sound(part, self.capture)
        return Report(
            medium="film",
            seconds=round(float(film.frames / film.file_rate), 6),
            measures=measures | heard,
            findings=tuple(sorted([*findings, *said], key=by_time)),
            left_out=_left_out(film),
            trace=_trace(film, seen, part),
            stills=self.stills.finish(),
        )

    def _film(self, path: Path, reading: Reading, seen: Glances, decided: Decided) -> Film:
        found = find_rhythm(seen, self.rows)
        frames_at = np.flatnonzero(found.new)
        once = seen.only(frames_at)
        rate, plain, light = float(decided.rate), self.rows.section("film.plain"), self.rows.section("film.exposure")
        on_film = occupied(
            once,
            plain_span=plain["span"],
            least_run=plain["least_run"],
            least_blank=round(plain["least_blank_s"] * rate),
        )
        lit = exposure(
            once,
            on_film.pictures,
            **{name: light[name] for name in LIGHT},
            least_run=max(2, round(light["least_s"] * rate)),
            full_range=self.full_range,
        )
        return Film(
            capture=self.capture,
            original=self.asked.original,
            file_rate=self._file_rate(),
            decided=decided,
            rhythm=found,
            occupied=on_film,
            exposure=lit,
            flicker=flicker(once.mean, lit.scenes, on_film.pictures, rate, floor=float(lit.bottom)),
            frames_at=frames_at,
            goes_on=goes_on(path),
            is_part=is_part(path),
            cut_at_limit=at_a_limit(self.capture.bytes, self.rows),
            broken=reading.broken,
        )

    def _file_rate(self) -> Fraction:
        """As the file states it, else from its time stamps."""
        if self.capture.picture is not None and self.capture.picture.rate:
            return Fraction(self.capture.picture.rate)
        steps = np.diff(self.stamps)
        middle = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1 / 24
        return Fraction(1 / middle).limit_denominator(1001)


LIGHT = ("over_share", "under_share", "dark_light", "pump_share", "pump_gain", "cut_correlation")


def find_rhythm(seen: Glances, rows: Rows) -> Rhythm:
    """Pictures and repeats of a file, by the limits of ``tables/film.toml``."""
    limits: dict[str, Any] = rows.section("film.repeats")
    ratios = [Fraction(text) for text in limits.pop("ratios")]
    return rhythm(seen.step, ratios, **limits)


def _of_sound(part: SoundPart | None, capture: CaptureFile) -> tuple[Mapping[str, Measured], list[Finding]]:
    """The sound's measures and findings; for a silent film each measure says that there is none."""
    if part is None:
        why = "film.no-sound" if capture.sound is None else "film.silent-track"
        return without_value(why), []
    return part.measures, [finding for finding in part.findings if finding.name != "ends_early"]


def _left_out(film: Film) -> tuple[tuple[str, float], ...]:
    leader = film.occupied.head + film.occupied.tail
    blank = sum(last - first + 1 for first, last in film.occupied.blank)
    share = len(film.frames_at) / max(1, film.frames)
    parts = (("leader", leader), ("blank", blank))
    return tuple((name, round(float(count / share / film.file_rate), 3)) for name, count in parts if count)


def _trace(film: Film, seen: Glances, part: SoundPart | None) -> Trace:
    """The scan in miniature: brightness every tenth of a second, and where something is on the film."""
    steps = max(1, round(float(film.frames / film.file_rate) / STEP_S))
    at = np.minimum(((np.arange(steps) + 0.5) * STEP_S * float(film.file_rate)).astype(int), film.frames - 1)
    shown = film.occupied.pictures[np.maximum(np.cumsum(film.rhythm.new) - 1, 0)]
    luma = np.clip(np.rint(seen.mean), 0, 255).astype(np.uint8)
    return Trace(
        step_s=STEP_S,
        level=part.trace.level if part else b"",
        recorded=shown[at].astype(np.uint8).tobytes(),
        luma=luma[at].tobytes(),
    )
