"""``takeup demo``: an invented family's box, with real and faulty media, through the whole job, step by step.

Every step is the task of the command of the same name; only the stations are played: their captures are made here, on
the spot, from seeded arrays. Given twice, it goes on where it stopped and makes nothing again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from pylopdf_fonts_zh_cn import serif_path

from takeup.box.folder import look_into
from takeup.box.record import FILE_NAME
from takeup.errors import NotPossible
from takeup.files.beside import beside, is_part, write_bytes
from takeup.invent import family
from takeup.invent.bed import page
from takeup.judge.screening import SEVERITY
from takeup.media import invented_write as to
from takeup.plan.job import Job
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.agree import agree
from takeup.tasks.box_new import box_new
from takeup.tasks.check import BoxChecked, check_box
from takeup.tasks.checking import Asked
from takeup.tasks.clear import clear
from takeup.tasks.deliver import Delivered, deliver
from takeup.tasks.describe import describe_box
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.finish import finish_box
from takeup.tasks.pack import pack
from takeup.tasks.plan import plan
from takeup.tasks.screen import screen
from takeup.tasks.take import take
from takeup.tasks.verify import verify

BOX, STATIONS, DRIVE = "tan-marlow-box", "stations", "visitor-drive"
FORM = "demo-1"
WORKERS = 2
PAGE_PX = (2550, 3300)  # Letter at 300 ppi


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What happened, for the lines at the end."""

    folder: Path
    box: Path
    pieces: int
    outcomes: dict[str, int]
    job: Job
    checked: BoxChecked
    made: int  # finished files that stand, by this run or an earlier one
    described: int
    delivered: Delivered
    intact: bool
    removed: int  # station files, by this run or an earlier one
    kept: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One capture that a station makes: where its file appears, and how it is written."""

    file: str
    write: Callable[[Path], None]
    again: bool = False  # made only after the first check asked for it


TITLE, LAB = "The Tan and Marlow family", "Port Ellery Library"


def demo(folder: Path, settings: Settings, ears: Ears = SILENT) -> Shown:
    """Run the whole job in a folder.

    Raises
    ------
    NotPossible
        ``demo.foreign``: the folder holds other things.
    """
    folder = folder.absolute()
    _refuse_foreign(folder)
    settings = replace(settings, lab=LAB)
    box, stations, drive = folder / BOX, folder / STATIONS, folder / DRIVE
    rows = load_rows()
    write_bytes(folder / "items.csv", family.ITEMS.encode())
    write_bytes(folder / "descriptions.csv", family.DESCRIPTIONS.encode())
    drive.mkdir(parents=True, exist_ok=True)
    started = box_new(box, folder / "items.csv", settings, title=TITLE)
    screenings = screen(box, settings)
    planned = plan(box, settings)
    agree(box, FORM, settings.lang, adult_for_minor=False, settings=settings)
    for again in (False, True):
        _capture([one for one in captures() if one.again == again], stations, box, settings, ears)
        if present := sorted(path for path in stations.iterdir() if any(path.iterdir())):
            take(box, present, rows=rows, settings=settings, ears=ears)
        checked = check_box(box, settings, ask=lambda original: _ask(original, settings), ears=ears)
    finish_box(box, settings, ears=ears)
    described = describe_box(box, settings, csv=folder / "descriptions.csv", ears=ears)
    pack(box, settings, ears=ears)
    delivered = deliver(box, drive, rows=rows, settings=settings, lang=settings.lang, ears=ears)
    verified = verify(delivered.parcel, ears)
    kept = clear(box, settings=settings, ears=ears).kept
    record = look_into(box, settings).record
    return Shown(
        folder=folder,
        box=box,
        pieces=started.pieces,
        outcomes={name: sum(one.outcome == name for one in screenings) for name in SEVERITY},
        job=planned.job,
        checked=checked,
        made=sum(not fact.facts.get("gone") for fact in record.latest("made")),
        described=len(described.described),
        delivered=delivered,
        intact=verified.intact and verified.complete,
        removed=len(record.latest("cleared")),
        kept=len(kept),
    )


def captures() -> list[Station]:
    """Every capture of the family's box, and the second try of the one that was recorded too loud."""

    def paper(texts: list[tuple[str, int, tuple[int, int], int]], size: tuple[int, int], ppi: int, seed: int) -> Any:
        return lambda path: to.write_tiff(path, page(to.draw_ink(texts, size, Path(serif_path())), seed), ppi)

    letter = [(family.LETTER_EN, 58, (260, 300), 34)], [(family.LETTER_ZH, 76, (240, 320), 44)]
    return [
        Station(file="scan/p1-bed.tif", write=lambda path: to.write_tiff(path, family.album(), family.PRINTS_PPI)),
        Station(file="film/f1.mp4", write=lambda path: to.write_h264(path, family.beach(), 30)),
        Station(file="video/v1.mov", write=lambda path: to.write_v210(path, *family.fair())),
        Station(file="video/v2.avi", write=lambda path: to.write_dv(path, family.swimming())),
        Station(file="scan/s1.tif", write=lambda path: to.write_tiff(path, family.hill(), family.SLIDE_PPI)),
        Station(file="scan/d1-1.tif", write=paper(letter[0], PAGE_PX, family.PAGE_PPI, 91)),
        Station(file="scan/d1-2.tif", write=paper(letter[1], PAGE_PX, family.PAGE_PPI, 92)),
        Station(file="scan/n1.tif", write=paper([(family.NEWS, 30, (90, 80), 16)], (1100, 1500), family.NEWS_PPI, 93)),
        _sound("t1-side-a", lambda: family.first_side(family.TOO_LOUD_DB)),
        _sound("t1-side-b", family.second_side),
        _sound("t2", family.one_microphone),
        _sound("t1-side-a-again", lambda: family.first_side(0), again=True),
    ]


def _sound(name: str, make: Callable[[], Any], *, again: bool = False) -> Station:
    def write(path: Path) -> None:
        to.write_wav(path, make(), family.SOUND_HZ)

    return Station(file=f"audio/{name}.wav", write=write, again=again)


def _capture(wanted: Iterable[Station], stations: Path, box: Path, settings: Settings, ears: Ears) -> None:
    """Play the stations: write what is neither there nor already taken into the box."""
    taken = {Path(fact.facts["source"]) for fact in look_into(box, settings).record.latest("taken")}
    files = [one.file for one in wanted if stations / one.file not in taken]
    todo = [file for file in files if not (stations / file).exists()]

    if not todo:
        return
    # In processes of their own: what making takes of memory is given back when they end.
    with ProcessPoolExecutor(min(WORKERS, len(todo)), mp_context=get_context("spawn")) as pool:
        for done, _ in enumerate(pool.map(write_capture, todo, [stations] * len(todo)), 1):
            ears.progress(STATIONS, done, len(todo), "files")


def write_capture(file: str, stations: Path) -> None:
    """Play one station: its capture appears whole under its name."""
    one = next(one for one in captures() if one.file == file)
    with beside(stations / file) as part:
        one.write(part)


def _ask(original: Original, settings: Settings) -> Asked:
    return Asked(original=original, mains_hz=settings.mains)


def _refuse_foreign(folder: Path) -> None:
    if folder.is_file():
        raise NotPossible("box.is-a-file", path=str(folder))
    if not folder.is_dir():
        return
    ours = {"items.csv", "descriptions.csv", BOX, STATIONS, DRIVE}
    found = sorted(path.name for path in folder.iterdir() if path.name not in ours and not is_part(path))
    begun = (folder / "items.csv").is_file() or (folder / BOX / FILE_NAME).is_file()
    if found or (any(folder.iterdir()) and not begun):
        raise NotPossible("demo.foreign", path=str(folder), found=", ".join(found[:3]))
