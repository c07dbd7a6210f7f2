"""The master of one side: PCM unpacked into WAV, proven sample for sample; a lossy capture as it is."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

from takeup import __version__
from takeup.files.beside import beside
from takeup.files.copy import copy_file
from takeup.judge.sound_known import BORN_HERE
from takeup.media.probe import look_at
from takeup.media.sound_write import write_sound_master
from takeup.media.wave_tags import ANALOGUE, Bext, bext_description
from takeup.media.xmp import xmp_packet
from takeup.plan.finishing import plan_sound_master
from takeup.plan.tag_names import info_fields
from takeup.plan.tagging import Tags, plan_tags
from takeup.settings import Settings
from takeup.streams import CaptureFile, Report, SoundStream
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, Made, Place, bytes_to, seconds_to
from takeup.words.dates import said_of

ENDINGS = {
    name: f".{name}" for name in ("mp3", "m4a", "mp4", "mov", "avi", "mkv", "dv", "flac")
}  # whatever its name said
PART = re.compile(r"[^A-Za-z0-9._ ]+")  # what a coding history cannot hold


def side_tags(side: Chosen, at: int, of: int) -> Tags:
    """What a finished side says of itself."""
    date = side.told.date if side.told else ""
    return plan_tags(side.original, side.told, part=side.part, place_in=(at, of), date_said=said_of(date, "en"))


def make_master(side: Chosen, tags: Tags, place: Place, rows: Rows, settings: Settings, ears: Ears) -> Made:
    capture, path = look_at(side.stored[0]), side.stored[0]
    if plan_sound_master(capture, rows) == "as-it-is":
        return keep_as_it_is(side, place, capture, tags.title, ears)
    target = place.master(f"{side.name}.wav")
    if standing := place.standing(target, side.stored):
        return standing
    bext = bext_of(side, capture, tags, settings)
    info = {name: text for name, text in info_fields(tags).items() if text}
    total = side.reports[0].seconds if side.reports[0] else None
    with beside(target) as part:
        proof = write_sound_master(
            path,
            part,
            bits=capture.sound.bits if capture.sound else None,
            bext=bext,
            info=info,
            xmp=xmp_packet(tags) if side.told else b"",
            riff_limit_bytes=rows.value("formats.sound.master.riff_limit_bytes"),
            hear=seconds_to(ears, target.name, total),
        )
    notes: list[tuple[str, Mapping[str, Any]]] = []
    if not proof.was_closed:
        notes.append(("finish.header-closed", {"file": path.name}))
    if proof.broken:
        notes.append(("finish.broken-off", {"file": path.name}))
    made_with = {
        "format": "WAV",
        "codec": "PCM",
        "rate_hz": proof.rate_hz,
        "bits": proof.bits,
        "channels": proof.channels,
        "samples": "unchanged, read back and compared",
        "samples_sha256": proof.samples_sha256,
        "bext": {name: value for name, value in asdict(bext).items() if value not in ("", b"", None, 0)},
    }
    return Made(
        path=target, role="master", from_=side.stored, settings=made_with, title=tags.title, seconds=total,
        notes=tuple(notes), part=side.part, tagged=True,
    )  # fmt: skip


def keep_as_it_is(side: Chosen, place: Place, capture: CaptureFile, title: str, ears: Ears) -> Made:
    """A capture that is already lossy (or lossless in its kept form) is its own master: the same bytes."""
    source = side.stored[0]
    target = place.master(f"{side.name}{ENDINGS.get(capture.container, source.suffix.lower())}")
    if standing := place.standing(target, side.stored):
        return standing
    with beside(target) as part:
        copy_file(source, part, hear=bytes_to(ears, target.name, capture.bytes))
    stream = capture.picture or capture.sound
    lossy = stream is not None and stream.lossy
    settings: dict[str, Any] = {
        "kept": "as it is",
        "format": capture.container,
        "codec": stream.codec.removesuffix("float") if stream else "",
    }
    notes = (("finish.kept-lossy", {"file": source.name, "codec": settings["codec"]}),) if lossy else ()
    return Made(
        path=target, role="master", from_=side.stored, settings=settings, title=title, notes=notes, part=side.part,
        seconds=side.reports[0].seconds if side.reports[0] else None,
    )  # fmt: skip


def bext_of(side: Chosen, capture: CaptureFile, tags: Tags, settings: Settings) -> Bext:
    """The broadcast extension of a side's master."""
    report, sound = side.reports[0], capture.sound
    begun = _begun(side.dates[0] if side.dates else "", report)
    return Bext(
        description=bext_description(side.name, tags.title, tags.description),
        originator=settings.lab,
        originator_reference=f"{side.name[:23]}-{side.sha256[0][:8]}" if side.sha256 else side.name,
        origination_date=f"{begun:%Y-%m-%d}" if begun else "",
        origination_time=f"{begun:%H-%M-%S}" if begun else "",
        time_reference=_seconds_of_day(begun) * sound.rate_hz if begun and sound else 0,
        loudness=_figure(report, "loudness"),
        loudness_range=_figure(report, "loudness_range"),
        max_true_peak=_figure(report, "true_peak"),
        max_momentary=_figure(report, "loudness", "momentary_max"),
        max_short_term=_figure(report, "loudness", "short_term_max"),
        coding_history=coding_history(side, sound) if sound else "",
    )


def coding_history(side: Chosen, sound: SoundStream) -> str:
    """How the sound came to be, a line a step, each closed by CR LF: the form of EBU R 98 (from memory).

    What was recorded here by microphones was never on a tape and has one line. The words after T= hold no comma. Which
    machine played the tape is not known here: a station that knows writes its own first line; ours is then left out.
    """
    mode = {1: "mono", 2: "stereo"}.get(sound.channels, "")
    mode = f",M={mode}" if mode else ""
    tape = ";".join(word for word in (side.original.carrier, PART.sub(" ", side.part)) if word)
    played = f"{ANALOGUE}{mode},T={tape}\r\n" if side.original.carrier != BORN_HERE else ""
    stored = f"A=PCM,F={sound.rate_hz},W={sound.bits or 24}{mode},T=takeup {__version__}"
    return f"{played}{stored}\r\n"


def _begun(date: str, report: Report | None) -> datetime | None:
    """When the capture began, by the clock of the lab: its file was last written when it ended."""
    if not date:
        return None
    ended = datetime.fromisoformat(date)
    length = timedelta(seconds=report.seconds or 0.0) if report else timedelta()
    return (ended - length).astimezone()


def _seconds_of_day(moment: datetime) -> int:
    return 3600 * moment.hour + 60 * moment.minute + moment.second


def _figure(report: Report | None, name: str, more: str = "") -> float | None:
    measured = report.measures.get(name) if report else None
    value = measured.extra.get(more) if measured and more else measured.value if measured else None
    return float(value) if isinstance(value, (int, float)) else None
