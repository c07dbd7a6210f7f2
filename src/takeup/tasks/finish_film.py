"""Finish a film item: the scanner's own packets in their true time as master, each picture once as everyday copy."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from takeup.errors import Unreadable
from takeup.files.beside import beside
from takeup.media.film_copy import FilmCopyPlan, write_film_copy
from takeup.media.probe import look_at
from takeup.media.retime import PartPackets, look_at_parts, prove_retimed, retime
from takeup.media.sound_copy import Chain, write_aac
from takeup.plan.film_time import Decided, decide_rate, frame_times, picture_times
from takeup.plan.finishing import plan_shown_size
from takeup.settings import Settings
from takeup.streams import Report
from takeup.tables.rows import Rows
from takeup.tasks.check_film import check_film
from takeup.tasks.checking import Asked
from takeup.tasks.ears import Ears
from takeup.tasks.finish_sound import aac_tags, side_tags
from takeup.tasks.finishing import Chosen, Made, Place

PLACES = 32  # of a part's clock that are kept: repeats lie all along, so lines between them are near enough
Notes = list[tuple[str, Mapping[str, Any]]]


def finish_film(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the recordings of one item, each of one file or of several parts.

    Raises
    ------
    NotPossible
        ``film.parts-differ``, ``film.not-for-mp4``.
    """
    made: list[Made] = []
    for at, part in enumerate(chosen, 1):
        targets = {"master": place.master(f"{part.name}.mp4"), "copy": place.copy(f"{part.name}.mp4")}
        wanted = {role: path for role, path in targets.items() if place.wants(role)}  # type: ignore[arg-type]
        standing = {role: place.standing(path, part.stored) for role, path in wanted.items()}
        made += [one for one in standing.values() if one is not None]
        missing = [role for role in wanted if standing[role] is None]
        if missing:
            work = _Work(part, at, len(chosen), rows, settings, ears)
            made += [work.master(wanted[role]) if role == "master" else work.copy(wanted[role]) for role in missing]
    return made


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """Which frames of all parts are pictures, and when each frame begins (one more: the end)."""

    new: list[bool]
    times: list[Fraction]
    undetermined: list[tuple[int, int]]
    share: Fraction | None

    @property
    def even(self) -> bool:
        """Whether all frames last equally long."""
        return len({after - before for before, after in zip(self.times[:-1], self.times[1:])}) == 1


class _Work:
    """One recording: its parts looked at, its clock worked out once for master and copy."""

    def __init__(self, part: Chosen, at: int, of: int, rows: Rows, settings: Settings, ears: Ears) -> None:
        self.part, self.rows, self.settings, self.ears = part, rows, settings, ears
        self.captures = [look_at(path) for path in part.stored]
        self.parts = look_at_parts(part.stored)
        self.decided = decide_rate(part.original, rows)
        self.timed = _timed(self.parts, [self._report(at) for at in range(len(part.stored))], self.decided)
        self.tags = side_tags(part, at, of)
        self.words = {name: text for name, text in aac_tags(self.tags, _artist(rows)).items() if text}

    def master(self, target: Path) -> Made:
        """The packets as they came, under a new clock; read back and compared before the file gets its name."""
        with beside(target) as file:
            result = retime(
                self.parts,
                file,
                self.timed.times,
                codecs=self.rows.value("film.master.codecs"),
                keep_sound=self._sound_fits(),
                metadata=self.words,
                hear=lambda frames: self.ears.progress(target.name, frames, len(self.timed.new), "frames"),
            )
            prove_retimed(file, self.parts, self.timed.times, result)
        even = self.timed.even
        made_with = {
            "format": "MP4",
            "codec": self.parts[0].codec,
            "kept": "the scanner's own packets, read back and compared",
            **self._clock(),
            "frames": result.frames,
            "frame_rate": str(1 / (self.timed.times[1] - self.timed.times[0])) if even else "each picture its own time",
            "ticks_per_second": result.clock,
            "packets_sha256": result.digest,
            "joined": [path.name for path in self.part.stored] if len(self.part.stored) > 1 else [],
            "sound": "its own packets" if result.sound else "none",
        }
        return self._made(target, "master", made_with, float(result.seconds), self._notes(result.broken))

    def copy(self, target: Path) -> Made:
        """Each picture once, in square pixels."""
        limits, timed = self.rows.section("film.copy"), self.timed
        shown, end = picture_times(timed.new, timed.undetermined, timed.share, self.decided.rate)
        plan = FilmCopyPlan(
            size=self._size(),
            rate=self.decided.rate,
            crf=limits["crf"],
            preset=limits["preset"],
            profile=limits["profile"],
            key_s=limits["key_s"],
        )
        work_dir = self.settings.work_dir or None
        with tempfile.TemporaryDirectory(prefix="takeup-", dir=work_dir) as room, beside(target) as file:
            result = write_film_copy(
                self.part.stored,
                file,
                shown,
                end,
                plan,
                sound=self._sound(Path(room)),
                metadata=self.words,
                hear=lambda pictures: self.ears.progress(target.name, pictures, len(shown), "frames"),
            )
        made_with = {
            "format": "MP4",
            "codec": "H.264",
            "profile": plan.profile,
            "crf": plan.crf,
            "preset": plan.preset,
            "pixel_format": "yuv420p",
            "width": plan.size[0],
            "height": plan.size[1],
            **self._clock(),
            "pictures": result.pictures,
            "each_picture": "once",
            "sound": "AAC" if self._sound_fits() else "none",
        }
        return self._made(target, "copy", made_with, float(result.seconds), self._notes(self.parts[-1].broken))

    def _clock(self) -> dict[str, Any]:
        return {
            "rate": str(self.decided.rate),
            "decided_by": self.decided.by,
            "pictures": sum(self.timed.new),
            "repeats": len(self.timed.new) - sum(self.timed.new),
            "true_seconds": round(float(self.timed.times[-1]), 6),
            "clock": self._places(),
        }

    def _places(self) -> list[list[list[float]]]:
        """Some places of each part on its own clock and on the film's: descriptions of the one stand in the other."""
        found, before = [], 0
        for at, part in enumerate(self.parts):
            rate, count = self._report(at).measures["file_rate"].value, len(part.shown)
            frames = sorted({round(count * step / PLACES) for step in range(PLACES + 1)})
            found.append(
                [[round(frame / rate, 3), round(float(self.timed.times[before + frame]), 3)] for frame in frames]
            )
            before += count
        return found

    def _report(self, at: int) -> Report:
        """The part's report; looked at anew where none is at hand."""
        known = self.part.reports[at] if at < len(self.part.reports) else None
        if known is not None and known.medium == "film":
            return known
        asked = Asked(original=self.part.original)
        return check_film(self.part.stored[at], self.captures[at], asked, self.rows)

    def _sound_fits(self) -> bool:
        """Whether the file has sound and plays at its own speed under the new clock, so that both stay together."""
        capture = self.captures[0]
        rate = capture.picture.rate if capture.picture else None
        heard = capture.sound is not None and _is_heard(self._report(0))
        return len(self.parts) == 1 and heard and self.timed.even and rate == 1 / self.timed.times[1]

    def _sound(self, room: Path) -> Path | None:
        if not self._sound_fits():
            return None
        limits, capture = self.rows.section("formats.sound.copy"), self.captures[0]
        channels = capture.sound.channels if capture.sound else 1
        bits_s = limits["stereo_bits_s" if channels > 1 else "mono_bits_s"]
        target = room / "sound.m4a"
        write_aac(self.part.stored[0], target, Chain(rate_hz=limits["rate_hz"]), bits_s=bits_s, tags={})
        return target

    def _size(self) -> tuple[int, int]:
        picture = self.captures[0].picture
        if picture is None:
            raise Unreadable("capture.broken", path=str(self.part.stored[0]), error="no picture")
        longest = self.rows.value("film.copy.long_side_px")
        return plan_shown_size(picture.width, picture.height, picture.shape or Fraction(1), longest)

    def _notes(self, broken: str) -> Notes:
        names, notes = [path.name for path in self.part.stored], Notes()
        if broken:
            notes.append(("finish.broken-off", {"file": names[-1]}))
        if len(names) > 1:
            notes.append(("finish.film-joined", {"count": len(names), "files": names}))
        if not all(self.timed.new):
            notes.append(("finish.film-repeats", {"count": len(self.timed.new) - sum(self.timed.new)}))
        if self.decided.by == "gauge":
            notes.append(("finish.film-rate", {"rate": str(self.decided.rate), "carrier": self.part.original.carrier}))
        if self.captures[0].sound is not None and _is_heard(self._report(0)) and not self._sound_fits():
            notes.append(("finish.film-sound-left", {"rate": str(self.decided.rate), "file": names[0]}))
        return notes

    def _made(self, path: Path, role: Any, made_with: Mapping[str, Any], seconds: float, notes: Notes) -> Made:
        return Made(
            path=path,
            role=role,
            from_=self.part.stored,
            settings=made_with,
            title=self.tags.title,
            size=self._size(),
            seconds=seconds,
            notes=tuple(notes),
            part=self.part.part,
            tagged=False,
        )


def _artist(rows: Rows) -> str:
    return rows.value("formats.sound.copy.artist")


def _is_heard(report: Report) -> bool:
    """Whether a film's sound track holds anything: silent tracks have no loudness and say so."""
    measured = report.measures.get("true_peak") or report.measures.get("loudness")
    return measured is not None and measured.value is not None


def _timed(parts: Sequence[PartPackets], reports: Sequence[Report], decided: Decided) -> Timed:
    """Put the parts' pictures and repeats one after another, and give every frame its time."""
    new: list[bool] = []
    undetermined: list[tuple[int, int]] = []
    shares: set[Fraction | None] = set()
    for part, report in zip(parts, reports, strict=True):
        count, measured = len(part.shown), report.measures["picture_rate"]
        here = [False] * count
        seen = 0
        for first, last in measured.extra.get("kept", []):
            seen = last + 1
            here[first : min(last + 1, count)] = [True] * max(0, min(last + 1, count) - first)
        told = round(report.seconds * report.measures["file_rate"].value) if report.seconds else seen
        here[told:] = [True] * (count - min(told, count))  # packets that did not decode are kept as they are
        undetermined += [
            (first + len(new), min(last, count - 1) + len(new))
            for first, last in measured.extra.get("undetermined", [])
            if first < count
        ]
        shares.add(Fraction(measured.extra["share"]) if "share" in measured.extra else None)
        new += here
    share = shares.pop() if len(shares) == 1 else None
    kept = [(at, at) for at, one in enumerate(new) if one]
    times = frame_times(len(new), kept, undetermined, share, decided.rate)
    return Timed(new=new, times=times, undetermined=undetermined, share=share)
