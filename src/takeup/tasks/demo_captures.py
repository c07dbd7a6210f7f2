"""Real captures for the demo's boxes: made on the spot, taken, checked, in part finished and described by the tasks.

A cassette side with a place that was recorded too loud, a bed with three prints, a little film, a little video.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from takeup.box.folder import look_into
from takeup.invent.bed import Print, bed
from takeup.invent.places import town
from takeup.invent.reel import leader_pictures, reel_pictures, repeated
from takeup.invent.tape import Shot, tape_pictures
from takeup.invent.voices import side, strings, talk, through_input
from takeup.lab.asked import ask_somebody
from takeup.lab.boxes import box_numbered
from takeup.lab.port import Lab
from takeup.media import invented_write as to
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.chapters import keep_chapter
from takeup.tasks.check import check_box
from takeup.tasks.checking import Asked
from takeup.tasks.describe import note_descriptions
from takeup.tasks.finish import finish_box
from takeup.tasks.judging import judge_capture
from takeup.tasks.looking import looks
from takeup.tasks.take import take

SOUND_HZ, BED_PPI, FILM_PX = 48000, 200, (480, 360)
BED_IN = (6.0, 8.0)  # a small scanner's glass
LOUD_S, LOUDER = (14.0, 16.5), 4.5  # somebody turned the input up, and down again


@dataclass(frozen=True, slots=True, kw_only=True)
class _Made:
    """One capture: of which carrier's first original, called what, finished or not."""

    carrier: str
    ending: str
    write: Callable[[Path], None]
    finished: bool = False


CAPTURES: dict[str, tuple[_Made, ...]] = {
    "0042": (
        _Made(carrier="cassette", ending="-side-a.wav", write=lambda path: to.write_wav(path, loud_side(), SOUND_HZ)),
        _Made(carrier="print", ending=".tif", write=lambda path: to.write_tiff(path, prints(), BED_PPI), finished=True),
        _Made(carrier="super8", ending=".mp4", write=lambda path: to.write_h264(path, film(), 30)),
    ),
    "0043": (
        _Made(carrier="vhs", ending=".avi", write=lambda path: to.write_dv(path, video())),
        _Made(carrier="cassette", ending="-side-a.wav", write=lambda path: to.write_wav(path, story(), SOUND_HZ),
              finished=True),
    ),
}  # fmt: skip


def fill_captures(lab: Lab, home: Path, settings: Settings) -> None:
    """Give two boxes of the demo their captures; a box that has some, or has no such original, is left as it is."""
    for number, wanted in CAPTURES.items():
        with lab.reading() as db:
            row = box_numbered(db, number)
        folder = home / "boxes" / row["folder"] if row else home
        if row is None or not folder.is_dir() or looks(folder, settings):
            continue
        quiet = replace(settings, who="librarian", wait_s=2.0)
        items = _capture(folder, wanted, quiet)
        check_box(folder, quiet, ask=partial(_ask, mains_hz=quiet.mains))
        for item in items.values():
            if item[1]:
                finish_box(folder, quiet, item=item[0])
        _people(lab, row, folder, quiet)


def _capture(folder: Path, wanted: tuple[_Made, ...], settings: Settings) -> dict[str, tuple[str, bool]]:
    """Play the stations and take what they wrote."""
    originals = look_into(folder, settings).originals()
    rows, items = load_rows(), {}
    with tempfile.TemporaryDirectory(prefix="takeup-demo-") as station:
        for made in wanted:
            item = next((one.id for one in originals if one.carrier == made.carrier), None)
            if item is None:
                continue
            path = Path(station, f"{item}{made.ending}")
            made.write(path)
            take(folder, [path], rows=rows, settings=settings, item=item)
            items[made.carrier] = (item, made.finished)
    return items


def _ask(original: Original, *, mains_hz: int) -> Asked:
    return Asked(original=original, mains_hz=mains_hz)


def _people(lab: Lab, row: dict, folder: Path, settings: Settings) -> None:
    """What people said so far: a question that waits, a piece described, a picture named."""
    for look in looks(folder, settings):
        if look.report is None:
            continue
        if look.medium == "sound" and look.report.verdict == "redo":
            why = "It crackles when they all laugh. Can we hear it together?"
            said = judge_capture(
                folder, settings, item=look.original.id, stored=look.stored, said="ask", why=why, who="visitor",
                version=None,
            )  # fmt: skip
            facts = {"file": look.name, "why": why, "url": f"/boxes/{row['number']}/captures/{look.number}"}
            with lab.writing() as db:
                key = f"{row['number']}/{look.stored}/{said.seq}"
                ask_somebody(db, None, "capture", key, facts=facts, box_id=row["id"], item=look.original.id)
            told = {"title": "The song about the ferry", "people": ["Wen Tan-Marlow"], "date": "1983-02~"}
            keep_chapter(
                folder, settings, item=look.original.id, stored=look.stored, from_s=2.0, to_s=12.0, told=told,
                seconds=look.report.seconds,
            )  # fmt: skip
        if look.medium == "scan":
            first = f"{look.original.id}-1"
            words = {"title": "Harbour Street from the quay", "people": ["Mei Tan"], "date": "196X"}
            note_descriptions(folder, settings, {first: words | {"place": "Port Ellery"}})


def loud_side() -> np.ndarray:
    """Forty seconds of a side: talk over a tune, somewhere far too loud for the input, then blank tape."""
    seconds = 31.0
    sound = 0.5 * talk(seconds, SOUND_HZ, 111)[:, None] + 0.25 * strings(seconds, SOUND_HZ, 112)
    first, last = (round(at * SOUND_HZ) for at in LOUD_S)
    sound[first:last] *= LOUDER
    return through_input(side(sound, SOUND_HZ, 113, blank_s=7.0), 0)


def story() -> np.ndarray:
    """A short side that is all right, in both channels alike."""
    voice = talk(9.0, SOUND_HZ, 121, pitch_hz=130)
    return through_input(side(np.repeat(0.6 * voice[:, None], 2, axis=1), SOUND_HZ, 123, blank_s=6.0), 0)


def prints() -> np.ndarray:
    """Three prints on the bed, none quite straight, one with a white border."""
    laid = [
        Print(picture=town(171, 900, 600), width_in=4.4, height_in=2.9, middle_in=(2.6, 1.9), tilt=2.6),
        Print(
            picture=town(172, 600, 600), width_in=2.5, height_in=2.5, middle_in=(1.7, 5.3), tilt=-1.8, border_in=0.14
        ),
        Print(picture=town(173, 500, 700), width_in=2.0, height_in=2.8, middle_in=(4.4, 5.6), tilt=1.2),
    ]
    return bed(laid, BED_IN, BED_PPI, 175)


def film() -> Iterator[np.ndarray]:
    """A few feet of Super 8 at 18 pictures per second in a file of 30."""

    def reel() -> Iterator[np.ndarray]:
        yield from leader_pictures(6, FILM_PX, 161)
        yield from reel_pictures([town(162, 700, 460)], 54, FILM_PX, 164)
        yield from leader_pictures(6, FILM_PX, 165)

    return repeated(reel(), 18, 30)


def video() -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Two seconds of tape whose sound was never connected."""
    return tape_pictures([Shot(view=town(151, 1250, 820), pictures=50)], 152)
