"""Draw what copies of scans would look like with something put right, beside what they are; the box stays as it is."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.box.arranged import arranged_of
from takeup.box.choosing import Candidate, choose
from takeup.box.folder import Box, look_into
from takeup.errors import NotPossible
from takeup.files.beside import write_bytes
from takeup.media.probe import look_at
from takeup.media.still import INCOMPLETE, OpenStill
from takeup.media.still_write import as_it_is, write_jpeg_copy
from takeup.pages.side_by_side import side_by_side
from takeup.plan.mending import mends_for, plan_asked
from takeup.plan.scan_finishing import PlannedPicture, is_pages, plan_pictures
from takeup.settings import Settings
from takeup.streams import Original, Still
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.check import medium_of
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.finish_scan_mend import MendedPicture, mend_picture, other_side
from takeup.tasks.finishing import part_name
from takeup.tasks.picture import as_png
from takeup.tasks.remembered import candidates_of

LONGEST_PX = 900  # of each of the two


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """Of which item and picture, what was put right, what it says (keys of ``words/notes``)."""

    item: str
    picture: str
    mended: tuple[Mapping[str, Any], ...]
    notes: tuple[tuple[str, Mapping[str, Any]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn(_Shown):
    """One drawing as SVG text."""

    svg: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared(_Shown):
    """One drawing and where it lies."""

    path: Path


def compare(
    folder: Path, settings: Settings, target: Path, *, mend: str, item: str = "", picture: str = "", ears: Ears = SILENT
) -> tuple[Compared, ...]:
    """Draw each picture of a box's scans before and after ``mend``, as PNG files in ``target``.

    Raises
    ------
    NotPossible
        ``finish.no-such-mend``; ``finish.nothing-to-compare`` when no checked scan is meant; the disk's refusal.
    """
    box = look_into(folder, settings)
    if target.absolute().is_relative_to(box.folder):
        raise NotPossible("finish.compare-inside", path=str(target))
    made: list[Compared] = []
    for one in drawings(folder, settings, mend=mend, item=item, picture=picture, ears=ears):
        path = target / f"{one.picture}.png"
        target.mkdir(parents=True, exist_ok=True)
        write_bytes(path, as_png(one.svg))
        made.append(Compared(item=one.item, picture=one.picture, path=path, mended=one.mended, notes=one.notes))
    return tuple(made)


def drawings(
    folder: Path, settings: Settings, *, mend: str, item: str = "", picture: str = "", ears: Ears = SILENT
) -> Iterator[Drawn]:
    """Each picture of a box's scans before and after ``mend``, drawn; nothing is written.

    Raises
    ------
    NotPossible
        ``finish.no-such-mend``; ``finish.nothing-to-compare`` when no checked scan is meant.
    """
    words, rows, box = plan_asked(mend), load_rows(), look_into(folder, settings)
    found = False
    for original in box.originals():
        if not box.record.latest("taken", original.id):
            continue  # some things that people bring are never captured
        scan = medium_of(original.carrier, rows) == "scan" and not is_pages(original)
        asked = mends_for("scan", original.carrier, words, said=True) if scan and item in ("", original.id) else ()
        for one in _of_item(box, original, asked, picture, rows, ears) if asked else ():
            found = True
            yield one
    if not found:
        raise NotPossible("finish.nothing-to-compare", path=str(folder))


def _of_item(
    box: Box, original: Original, asked: tuple[str, ...], only: str, rows: Rows, ears: Ears
) -> Iterator[Drawn]:
    choices, _ = choose(candidates_of(box, original.id), joined=False)
    captures = [capture for choice in choices if choice.checked for capture in choice.captures]
    scans = [(box.path(one.stored), _pictures(box, original, one)) for one in captures]
    for one, (path, pictures) in zip(captures, scans, strict=True):
        capture = look_at(path)
        if INCOMPLETE in capture.notes:
            continue
        name = part_name(original.id, one.part)
        for picture in pictures or (None,):
            shown = picture.name if picture and picture.id else name
            if only in ("", shown):
                ears.progress(shown, 0, 1, "pictures")
                still = OpenStill(path, capture)
                work = mend_picture(still, picture, asked, shown, original.carrier, other_side(scans, picture, asked))
                yield _drawn(still, picture, work, original, rows)


def _pictures(box: Box, original: Original, one: Candidate) -> tuple[PlannedPicture, ...]:
    arranged = arranged_of(box.record.latest("arranged", original.id), one.stored, one.sha256)
    name = part_name(original.id, one.part)
    return plan_pictures(name, one.report, item=original.id, arranged=arranged).pictures


def _drawn(
    still: OpenStill, picture: PlannedPicture | None, work: MendedPicture, original: Original, rows: Rows
) -> Drawn:
    before, after = (_small(still, picture, done, rows) for done in (None, work))
    work.told()
    title = f"{work.name}  {original.label}".strip()
    notes = tuple((key, dict(facts)) for key, facts in work.notes)
    svg = side_by_side(title, before, after, notes)
    return Drawn(item=original.id, picture=work.name, svg=svg, mended=tuple(work.said), notes=notes)


def _small(still: OpenStill, picture: PlannedPicture | None, work: MendedPicture | None, rows: Rows) -> Still:
    with tempfile.TemporaryDirectory(prefix="takeup-") as room:
        file = Path(room) / "copy.jpg"
        width, height = write_jpeg_copy(
            still, file, quality=rows.value("formats.scan.copy.quality"), longest_px=LONGEST_PX,
            corners=picture.corners if picture else None, tilt=picture.tilt if picture else 0.0,
            turn=picture.turn if picture else 0,
            point=work.point if work else as_it_is, after=work.after if work else as_it_is,
        )  # fmt: skip
        return Still(at_s=0.0, jpeg=file.read_bytes(), width=width, height=height)
