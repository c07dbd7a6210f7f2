"""Finish scans: masters with every pixel, each print cut from its bed, upright copies, one PDF for pages of text."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.errors import Unreadable
from takeup.files.beside import beside
from takeup.files.copy import copy_file
from takeup.media.probe import look_at
from takeup.media.still import INCOMPLETE, OpenStill
from takeup.media.still_write import CutOut, outward_box, shown_box, write_jpeg_copy, write_tiff_master
from takeup.plan.scan_finishing import (
    PlannedPicture,
    copy_margin_px,
    is_album,
    is_pages,
    margin_px,
    own_id,
    plan_pictures,
    sides_of,
    widened,
)
from takeup.plan.tagging import Told, plan_tags, told_of_back
from takeup.settings import Settings
from takeup.streams import CaptureFile, StillImage
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finish_join import joined_copies
from takeup.tasks.finish_pages import pages_pdf
from takeup.tasks.finish_scan_cuts import around, make_each
from takeup.tasks.finish_scan_mend import is_mended_so, mend_picture, other_side
from takeup.tasks.finishing import Chosen, Made, Place, bytes_to

Note = tuple[str, Mapping[str, Any]]
Step = Callable[[PlannedPicture, OpenStill | None], Made | None]  # without a scan: only what stands from before


def finish_scan(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the scans of one item.

    Raises
    ------
    Unreadable
        ``scan.not-whole`` when a capture breaks off or is damaged: nothing is made from half a picture.
    CopyDiffers
        When a master read back is not what the capture holds.
    """
    captures = [look_at(one.stored[0]) for one in chosen]
    for one, capture in zip(chosen, captures, strict=True):  # before anything of the item is made
        if INCOMPLETE in capture.notes or _is_damaged(one):
            raise Unreadable("scan.not-whole", path=str(one.stored[0]))
    made: list[Made] = []
    pages = bool(chosen) and is_pages(chosen[0].original)
    for one, capture in zip(chosen, captures, strict=True):
        work = _Scan(one, capture, place, rows, ears, chosen)
        made += work.made(cut=not pages or work.framed, copied=not pages)
    if not place.wants("copy"):
        return made
    joined, refused = joined_copies(chosen, place, rows, ears)
    if pages:
        pdf = pages_pdf(chosen, place, rows, settings, ears, joined)
        for note in refused.values():
            pdf = _noted(pdf, note)
        return [*made, pdf, *joined]
    return [_noted(one, refused[one.path.stem]) if one.path.stem in refused else one for one in made] + joined


class _Scan:
    """One scan's masters and copies."""

    def __init__(
        self, one: Chosen, capture: CaptureFile, place: Place, rows: Rows, ears: Ears, chosen: list[Chosen]
    ) -> None:
        assert capture.image is not None
        self.one, self.capture, self.place, self.rows, self.ears = one, capture, place, rows, ears
        self.chosen = chosen  # all of the item, among them this one
        self.path, self.image = one.stored[0], capture.image
        arranged = one.arranged[0] if one.arranged else None
        self.plan = plan_pictures(one.name, one.reports[0], item=one.original.id, arranged=arranged)
        if is_album(one.original) and len(self.plan.pictures) > 1:
            self.plan = replace(self.plan, whole=True)
        several = len(self.plan.pictures) > 1 or self.plan.unsure or is_pages(one.original)
        self.own = "" if several else own_id(one.name, one.original.id)

    @property
    def framed(self) -> bool:
        """Whether this is a fiche whose frames are cut apart."""
        report = self.one.reports[0]
        found = report.measures.get("pictures") if report else None
        return found is not None and found.extra.get("ground") == "frames"

    def title(self, picture: str = "", back_of: str = "") -> str:
        original = self.one.original
        own, whole = self.place.told.get(picture), self.one.told
        told = own or whole
        if back_of:
            front = self.place.told.get(back_of) or whole or Told()
            told = told_of_back(own, front, original.label or back_of)
        return plan_tags(original, told, id=back_of or picture, part=self.one.part, date_said="").title

    def _standing(self, target: Path, picture: PlannedPicture | None) -> Made | None:
        """What an earlier run cut there, if it was cut just so."""
        standing = self.place.standing(target, self.one.stored)
        mark = picture.mark if picture else ""
        return standing if standing and standing.settings.get("arranged", "") == mark else None

    def made(self, *, cut: bool, copied: bool) -> list[Made]:
        """The whole scan's master; each picture's master, where they are ``cut``; each one's copy, where ``copied``."""
        wanted, copied = self.place.wants("master"), copied and self.place.wants("copy")
        cut = cut and wanted and bool(self.plan.pictures)
        lossy = cut and self.image.lossy
        steps = [step for step, asked in ((self._cut_master, cut and not lossy), (self._copy, copied)) if asked]
        with ThreadPoolExecutor(1, thread_name_prefix="whole") as beside:
            master = beside.submit(self._whole_master) if wanted else None
            cuts = self._each(steps)
            masters = [master.result()] if master else []
        if lossy:
            masters = [_noted(masters[0], ("scan.lossy-cuts", {"file": self.path.name}))]
        whole = [self._copy(None, OpenStill(self.path, self.capture))] if copied and self.plan.whole else []
        made = [*masters, *(one for step in zip(*cuts, strict=True) for one in step), *whole]
        return [one for one in made if one is not None]

    def _whole_master(self) -> Made:
        kept = self.capture.container in ("tiff", "bigtiff") or self.image.lossy or self._many_lossy()
        ending = self._ending() if kept else ".tif"
        target = self.place.master(f"{self.one.name}{ending}")
        if standing := self.place.standing(target, self.one.stored):
            return standing
        notes: list[Note] = []
        with beside(target) as part:
            if kept:
                copy_file(self.path, part, hear=bytes_to(self.ears, target.name, self.capture.bytes))
            else:
                self._tiff(part)
        settings: dict[str, Any] = {"format": self.capture.container if kept else "tiff"} | _about(self.image)
        if kept:
            settings["kept"] = "as it is"
            if self.image.lossy:
                notes.append(("finish.kept-lossy", {"file": self.path.name, "codec": self.image.compression}))
        else:
            settings |= {"compression": "deflate", "pixels": "unchanged, read back and compared"}
        return Made(
            path=target, role="master", from_=self.one.stored, settings=settings, picture=self.own,
            title=self.title(self.own),
            size=(self.image.width, self.image.height), notes=tuple(notes), part=self.one.part,
        )  # fmt: skip

    def _many_lossy(self) -> bool:
        """A PDF of several pages is kept as it is: one file is one document."""
        return self.capture.container == "pdf" and self.image.pages > 1

    def _ending(self) -> str:
        return {"tiff": ".tif", "bigtiff": ".tif", "jpeg": ".jpg", "png": ".png", "pdf": ".pdf"}[self.capture.container]

    def _tiff(self, part: Path) -> None:
        write_tiff_master(OpenStill(self.path, self.capture), part)

    def _cut_master(self, picture: PlannedPicture, still: OpenStill | None) -> Made | None:
        target = self.place.master(f"{picture.name}.tif")
        if standing := self._standing(target, picture):
            return standing
        if still is None:
            return None
        box = self._master_box(picture, still)
        with beside(target) as part:
            write_tiff_master(still, part, box)
        settings = {"format": "tiff", "compression": "deflate", "cut": [box.x, box.y, box.width, box.height]}
        settings |= {"turned": 0, "pixels": "unchanged, read back and compared"} | _about(self.image)
        settings |= _placed(picture)
        return Made(
            path=target, role="master", from_=self.one.stored, settings=settings, picture=picture.id,
            title=self.title(picture.id, picture.back_of), size=(box.width, box.height), part=self.one.part,
        )  # fmt: skip

    def _each(self, steps: Sequence[Step]) -> list[list[Made | None]]:
        """What each step makes of every picture, while the scan passes by once; what stands from before stays."""
        pictures = self.plan.pictures
        made = [[step(picture, None) for step in steps] for picture in pictures]
        wanting = [number for number, those in enumerate(made) if not all(those)]
        if wanting:
            still, boxes = OpenStill(self.path, self.capture), []
            for picture in (pictures[number] for number in wanting):
                shown, _, _ = shown_box(self._knife(picture, exact=False), picture.tilt, (still.width, still.height))
                boxes.append(around([self._master_box(picture, still).box, shown.box]))

            def make(at: int, held: OpenStill) -> list[Made | None]:
                number = wanting[at]
                return [one or step(pictures[number], held) for one, step in zip(made[number], steps, strict=True)]

            for number, those in zip(wanting, make_each(still, boxes, make), strict=True):
                made[number] = those
        return made

    def _master_box(self, picture: PlannedPicture, still: OpenStill) -> CutOut:
        return outward_box(picture.corners, (still.width, still.height), margin_px(self.image, self.rows))

    def _knife(self, picture: PlannedPicture, *, exact: bool) -> tuple[tuple[float, float], ...]:
        """Where an everyday copy is cut: a little outside a print that the check found; where a person drew the sides,
        and where the other side is laid on it line by line, just there."""
        if exact or not picture.found:
            return picture.corners
        size = self.image.width, self.image.height
        return widened(picture.corners, copy_margin_px(self.image, self.rows), size)

    def _copy(self, picture: PlannedPicture | None, still: OpenStill | None) -> Made | None:
        name = picture.name if picture and picture.id else self.one.name
        target = self.place.copy(f"{name}.jpg")
        asked = self.place.mend_for(target.name)
        standing = self._standing(target, picture)
        side = other_side(((one.stored[0], _planned(one)) for one in self.chosen), picture, asked)
        own = {"other_side": side[1].mark} if side else {}
        if standing and is_mended_so(standing.settings, asked, own):
            return standing
        if still is None:
            return None
        mended = mend_picture(still, picture, asked, name, self.one.original.carrier, side)
        quality = self.rows.value("formats.scan.copy.quality")
        with beside(target) as part:
            size = write_jpeg_copy(
                still, part, quality=quality,
                corners=self._knife(picture, exact=bool(side)) if picture else None,
                tilt=picture.tilt if picture else 0.0,
                turn=picture.turn if picture else 0, point=mended.point, after=mended.after,
            )  # fmt: skip
        settings: dict[str, Any] = {"format": "jpeg", "quality": quality, "colour": "sRGB", "ppi": _ppi(self.image)}
        if picture:
            settings |= {"straightened": round(-picture.tilt, 3)} | _placed(picture)
            if picture.turn:
                settings["turned"] = 90 * picture.turn
        mended.told()
        settings |= mended.settings() | own
        notes: list[Note] = [*mended.notes]
        if self.one.original.carrier == "negative" and not mended.said:
            notes.append(("scan.as-negative", {"name": name}))
        if picture is None and self.plan.unsure:
            notes.append(("scan.split-unsure", {"file": self.path.name}))
        shown = picture.id if picture else self.own
        return Made(
            path=target, role="copy", from_=self.one.stored, settings=settings, picture=shown,
            title=self.title(shown, picture.back_of if picture else ""), size=size, notes=tuple(notes),
            part=self.one.part,
        )  # fmt: skip


def _is_damaged(one: Chosen) -> bool:
    """Whether its check could not read it to its end."""
    return any(finding.name == "corrupt" for report in one.reports if report for finding in report.findings)


def _planned(one: Chosen) -> tuple[PlannedPicture, ...]:
    arranged = one.arranged[0] if one.arranged else None
    return plan_pictures(one.name, one.reports[0], item=one.original.id, arranged=arranged).pictures


def _placed(picture: PlannedPicture) -> dict[str, Any]:
    """What a cut file's settings say of its place: how it was arranged, its print's own size, and whose back it is."""
    sides = [round(float(side), 2) for side in sides_of(picture.corners)]
    return {"arranged": picture.mark, "print_px": sides} | ({"back_of": picture.back_of} if picture.back_of else {})


def _about(image: StillImage) -> dict[str, Any]:
    return {"bits": image.bits_stated, "channels": image.channels, "ppi": _ppi(image), "profile": image.profile}


def _ppi(image: StillImage) -> float | None:
    return round(image.ppi_stated, 3) if image.ppi_stated else None


def _noted(made: Made, note: Note) -> Made:
    return made if note in made.notes else replace(made, notes=(*made.notes, note))
