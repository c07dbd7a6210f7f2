"""Finish scans: masters with every pixel, each print cut from its bed, upright copies, one PDF for pages of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from takeup.errors import Unreadable
from takeup.files.beside import beside
from takeup.files.copy import copy_file
from takeup.media.page_pdf import CLAIM, FALLBACK_PPI, Page, write_pdf
from takeup.media.probe import look_at
from takeup.media.still import INCOMPLETE, OpenStill
from takeup.media.still_write import outward_box, page_jpeg, page_pixels, write_jpeg_copy, write_tiff_master
from takeup.media.text_reading import Word, find_language_data, read_words
from takeup.plan.scan_finishing import PlannedPicture, is_pages, languages_of, margin_px, own_id, plan_pictures
from takeup.plan.tagging import plan_tags
from takeup.settings import Settings
from takeup.streams import CaptureFile, StillImage
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, Made, Place, bytes_to

SPOKEN = {"eng": "en", "chi_sim": "zh-Hans"}
Note = tuple[str, Mapping[str, Any]]


def finish_scan(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the scans of one item.

    Raises
    ------
    Unreadable
        ``scan.not-whole`` when a capture breaks off: nothing is made from half a picture.
    CopyDiffers
        When a master read back is not what the capture holds.
    """
    made: list[Made] = []
    pages = bool(chosen) and is_pages(chosen[0].original)
    for one in chosen:
        capture = look_at(one.stored[0])
        if INCOMPLETE in capture.notes:
            raise Unreadable("scan.not-whole", path=str(one.stored[0]))
        work = _Scan(one, capture, place, rows, ears)
        if place.wants("master"):
            made += work.masters(cut=not pages)
        if place.wants("copy") and not pages:
            made += work.copies()
    if pages and place.wants("copy"):
        made.append(_pdf(chosen, place, rows, settings, ears))
    return made


class _Scan:
    """One scan's masters and copies."""

    def __init__(self, one: Chosen, capture: CaptureFile, place: Place, rows: Rows, ears: Ears) -> None:
        assert capture.image is not None
        self.one, self.capture, self.place, self.rows, self.ears = one, capture, place, rows, ears
        self.path, self.image = one.stored[0], capture.image
        arranged = one.arranged[0] if one.arranged else None
        self.plan = plan_pictures(one.name, one.reports[0], item=one.original.id, arranged=arranged)
        several = len(self.plan.pictures) > 1 or self.plan.unsure or is_pages(one.original)
        self.own = "" if several else own_id(one.name, one.original.id)

    def title(self, picture: str = "", back_of: str = "") -> str:
        told = self.place.told.get(picture) or self.place.told.get(back_of) or self.one.told
        title = plan_tags(self.one.original, told, id=back_of or picture, part=self.one.part, date_said="").title
        return f"{title}, back" if back_of else title

    def _standing(self, target: Path, picture: PlannedPicture | None) -> Made | None:
        """What an earlier run cut there, if it was cut just so."""
        standing = self.place.standing(target, self.one.stored)
        mark = picture.mark if picture else ""
        return standing if standing and standing.settings.get("arranged", "") == mark else None

    def masters(self, *, cut: bool) -> list[Made]:
        made = [self._whole_master()]
        if not cut or not self.plan.pictures:
            return made
        if self.image.lossy:
            note: Note = ("scan.lossy-cuts", {"file": self.path.name})
            return [_noted(made[0], note)]
        return made + [self._cut_master(picture) for picture in self.plan.pictures]

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

    def _cut_master(self, picture: PlannedPicture) -> Made:
        target = self.place.master(f"{picture.name}.tif")
        if standing := self._standing(target, picture):
            return standing
        still = OpenStill(self.path, self.capture)
        box = outward_box(picture.corners, (still.width, still.height), margin_px(self.image, self.rows))
        with beside(target) as part:
            write_tiff_master(still, part, box)
        settings = {"format": "tiff", "compression": "deflate", "cut": [box.x, box.y, box.width, box.height]}
        settings |= {"turned": 0, "pixels": "unchanged, read back and compared"} | _about(self.image)
        settings |= _placed(picture)
        return Made(
            path=target, role="master", from_=self.one.stored, settings=settings, picture=picture.id,
            title=self.title(picture.id, picture.back_of), size=(box.width, box.height), part=self.one.part,
        )  # fmt: skip

    def copies(self) -> list[Made]:
        made = [self._copy(picture) for picture in self.plan.pictures]
        return made + [self._copy(None)] if self.plan.whole else made

    def _copy(self, picture: PlannedPicture | None) -> Made:
        name = picture.name if picture and picture.id else self.one.name
        target = self.place.copy(f"{name}.jpg")
        if standing := self._standing(target, picture):
            return standing
        quality = self.rows.value("formats.scan.copy.quality")
        with beside(target) as part:
            size = write_jpeg_copy(
                OpenStill(self.path, self.capture), part, quality=quality,
                corners=picture.corners if picture else None, tilt=picture.tilt if picture else 0.0,
                turn=picture.turn if picture else 0,
            )  # fmt: skip
        settings: dict[str, Any] = {"format": "jpeg", "quality": quality, "colour": "sRGB", "ppi": _ppi(self.image)}
        if picture:
            settings |= {"straightened": round(-picture.tilt, 3)} | _placed(picture)
            if picture.turn:
                settings["turned"] = 90 * picture.turn
        notes: list[Note] = []
        if self.one.original.carrier == "negative":
            notes.append(("scan.as-negative", {"name": name}))
        if picture is None and self.plan.unsure:
            notes.append(("scan.split-unsure", {"file": self.path.name}))
        shown = picture.id if picture else self.own
        return Made(
            path=target, role="copy", from_=self.one.stored, settings=settings, picture=shown,
            title=self.title(shown, picture.back_of if picture else ""), size=size, notes=tuple(notes),
            part=self.one.part,
        )  # fmt: skip


@dataclass
class _Reader:
    """Reads the pages of one item one by one, and remembers in which language it found words."""

    chosen: list[Chosen]
    rows: Rows
    settings: Settings
    ears: Ears
    name: str
    languages: list[tuple[str, Path]] = field(default_factory=list)
    language: str = ""
    words: int = 0
    without_ppi: bool = False
    size: tuple[int, int] | None = None

    def pages(self) -> Iterator[Page]:
        done, total = 0, 0
        captures = [(one.stored[0], look_at(one.stored[0])) for one in self.chosen]
        total = sum(capture.image.pages for _, capture in captures if capture.image)
        for path, capture in captures:
            assert capture.image is not None
            for number in range(capture.image.pages):
                yield self._page(OpenStill(path, capture, number))
                done += 1
                self.ears.progress(self.name, done, total, "pages")

    def _page(self, still: OpenStill) -> Page:
        jpeg, width, height = page_jpeg(still, quality=self.rows.value("formats.scan.copy.page_quality"))
        ppi = still.image.ppi_stated
        turned = still.image.orientation >= 5
        both = (ppi, still.image.ppi_y_stated or ppi) if ppi else None
        if both and turned:
            both = (both[1], both[0])
        self.without_ppi |= both is None
        self.size = self.size or (width, height)
        words = self._read(still, ppi)
        self.words += len(words)
        return Page(jpeg=jpeg, width=width, height=height, ppi=both, words=tuple(words))

    def _read(self, still: OpenStill, ppi: float | None) -> list[Word]:
        if not self.languages:
            return []
        grey, best, best_sure = page_pixels(still), [], -1.0
        known = [pair for pair in self.languages if pair[0] == self.language] or self.languages
        for language, folder in known:
            words = read_words(grey, language, folder, ppi)
            sure = _sure(words)
            if sure > best_sure:
                best, best_sure, best_language = words, sure, language
            if sure >= self.rows.value("formats.scan.copy.sure_of_language"):
                break
        if best and not self.language:
            self.language = best_language
        least = self.rows.value("formats.scan.copy.sure_of_word")
        return [word for word in best if word.sure >= least]


def _sure(words: list[Word]) -> float:
    """Mean confidence of some words, weighted by their letters; 0 for none."""
    letters = sum(len(word.text) for word in words)
    return sum(word.sure * len(word.text) for word in words) / letters if letters else 0.0


def _pdf(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> Made:
    """One searchable PDF of all the pages of an item."""
    original = chosen[0].original
    from_ = tuple(one.stored[0] for one in chosen)
    target = place.copy(f"{original.id}.pdf")
    if standing := place.standing(target, from_):
        return standing
    found = [(name, find_language_data(name, settings.language_data)) for name in languages_of(original)]
    reader = _Reader(chosen, rows, settings, ears, target.name, [(name, folder) for name, folder in found if folder])
    tags = plan_tags(original, chosen[0].told, part="", date_said="")
    spoken = SPOKEN[languages_of(original)[0]]
    with beside(target) as part:
        count = write_pdf(part, reader.pages(), title=tags.title or original.id, language=spoken)
    notes: list[Note] = []
    if not reader.languages:
        notes.append(("scan.no-language-data", {"name": target.name}))
    elif not reader.words:
        notes.append(("scan.no-words", {"name": target.name}))
    if reader.without_ppi:
        notes.append(("scan.no-size", {"name": target.name, "ppi": round(FALLBACK_PPI)}))
    made_with = {
        "format": "pdf", "claims": CLAIM, "pages": count, "searchable": reader.words > 0, "words": reader.words,
        "language": reader.language or None, "quality": rows.value("formats.scan.copy.page_quality"),
    }  # fmt: skip
    return Made(
        path=target,
        role="copy",
        from_=from_,
        settings=made_with,
        title=tags.title,
        size=reader.size,
        notes=tuple(notes),
    )


def _placed(picture: PlannedPicture) -> dict[str, Any]:
    """What a cut file's settings say of its place: how it was arranged, and whose back it is."""
    return {"arranged": picture.mark} | ({"back_of": picture.back_of} if picture.back_of else {})


def _about(image: StillImage) -> dict[str, Any]:
    return {"bits": image.bits_stated, "channels": image.channels, "ppi": _ppi(image), "profile": image.profile}


def _ppi(image: StillImage) -> float | None:
    return round(image.ppi_stated, 3) if image.ppi_stated else None


def _noted(made: Made, note: Note) -> Made:
    return made if note in made.notes else replace(made, notes=(*made.notes, note))
