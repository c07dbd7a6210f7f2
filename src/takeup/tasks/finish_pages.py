"""Makes one searchable PDF of all the pages of an item: upright and straight by their text, in the form asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from takeup.files.beside import beside
from takeup.judge.scan_findings import sure_tilt
from takeup.measure.scan.page_look import PageLook, cut_by_turning, densest_band, page_look
from takeup.measure.scan.text_tilt import text_tilt
from takeup.media.page_pdf import CLAIM, FALLBACK_PPI, Page, write_pdf
from takeup.media.page_pictures import page_picture, small_grey, turned_grey, upright_grey
from takeup.media.pdf_rules import broken_rules
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.text_reading import Word, find_language_data, read_words
from takeup.plan.paging import PageForm, form_of_page, plan_page_form, turn_by_hand, turn_by_text, turns_told
from takeup.plan.scan_finishing import languages_of
from takeup.plan.tagging import plan_tags
from takeup.settings import Settings
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, Made, Place, by_hand_of
from takeup.tasks.scan_leaf import leaves_of

SPOKEN = {"eng": "en", "chi_sim": "zh-Hans"}
LETTERS = 20  # fewer are no evidence of which way up a page is
BAND_PX = 2000  # the band that is read for that is no wider
Note = tuple[str, Mapping[str, Any]]


@dataclass
class _Reader:
    """Reads the pages of one item one by one, and remembers what is to be said of them."""

    chosen: list[Chosen]
    rows: Rows
    form: PageForm
    ears: Ears
    name: str
    languages: list[tuple[str, Path]] = field(default_factory=list)
    joined: Sequence[Made] = ()
    language: str = ""
    words: int = 0
    without_ppi: bool = False
    size: tuple[int, int] | None = None
    turned: dict[int, int] = field(default_factory=dict)
    straightened: dict[int, float] = field(default_factory=dict)
    mixed: list[int] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    left_out: list[int] = field(default_factory=list)

    def value(self, name: str) -> Any:
        return self.rows.value(f"formats.scan.copy.{name}")

    def pages(self) -> Iterator[Page]:
        instead = {path: made.path for made in self.joined for path in made.from_[:1]}
        gone = {path for made in self.joined for path in made.from_[1:]}
        standing = [one for one in self.chosen if one.stored[0] not in gone]
        captures = [(one, look_at(instead.get(one.stored[0], one.stored[0]))) for one in standing]
        total, done = sum(capture.image.pages for _, capture in captures if capture.image), 0
        for one, capture in captures:
            assert capture.image is not None
            by_hand = turn_by_hand(one.arranged[0] if one.arranged else None)
            for number in range(capture.image.pages):
                whole = instead.get(one.stored[0])
                for still in [OpenStill(whole, capture)] if whole else leaves_of(one, capture, number):
                    done += 1
                    page = self._page(still, done, by_hand if number == 0 else None)
                    self.ears.progress(self.name, done, max(done, total), "pages")
                    if page is not None:
                        yield page

    def _page(self, still: OpenStill, number: int, by_hand: int | None) -> Page | None:
        grey = upright_grey(still)
        small = small_grey(grey, still.image.ppi_stated)
        look = page_look(small)
        if self._is_blank(look):
            self.blank.append(number)
            if not self.form.blanks:
                self.left_out.append(number)
                return None
        text = sure_tilt(text_tilt(small), self.rows)
        tilt = text.tilt if text is not None and abs(text.tilt) >= self._straight_from(still) else 0.0
        turn, words = by_hand or 0, None
        if by_hand is None and text is not None and self.languages:
            turn, words = self._upright(grey, small, still, known_up=text.upright, keep=tilt == 0.0)
        form = form_of_page(self.form.form, look.tone, self.value("tone_share"))
        if form != self.form.form:
            self.mixed.append(number)
        picture, pixels = page_picture(
            still, form=form, quality=self.value("page_quality"), quarters=turn, tilt=tilt,
            grow=bool(tilt) and cut_by_turning(small, tilt),
        )  # fmt: skip
        self.turned[number] = turn
        if tilt:
            self.straightened[number] = round(-tilt, 3)
        if words is None or turn or tilt:
            words = self._read(pixels, still.image.ppi_stated) if self.languages and number not in self.blank else []
        self.words += len(words)
        return self._placed(still, picture.data, (picture.width, picture.height), turn, words)

    def _placed(
        self, still: OpenStill, data: bytes, size: tuple[int, int], turn: int, words: list[Word]
    ) -> Page:  # fmt: skip
        across = still.image.ppi_stated
        both = (across, still.image.ppi_y_stated or across) if across else None
        if both and (still.image.orientation >= 5) != bool(turn % 2):
            both = (both[1], both[0])
        self.without_ppi |= both is None
        self.size = self.size or size
        return Page(picture=data, width=size[0], height=size[1], ppi=both, words=tuple(words))

    def _is_blank(self, look: PageLook) -> bool:
        return look.ink < self.value("blank_ink") and look.tone < self.value("tone_share")

    def _straight_from(self, still: OpenStill) -> float:
        """A page that was saved with loss loses once more by being coded again: it is turned for more than a hair."""
        return float(self.value("straighten_lossy_from" if still.image.codec == "jpeg" else "straighten_from"))

    def _upright(
        self, grey: np.ndarray, small: np.ndarray, still: OpenStill, *, known_up: bool, keep: bool
    ) -> tuple[int, list[Word] | None]:
        """Which quarter turn makes it upright; and its words, where they were read as the page will stand."""
        words = None
        if not known_up and keep:
            words = self._read(grey, still.image.ppi_stated)
            if _surety(words) >= self.value("sure_of_upright"):
                return 0, words
        top, foot = densest_band(small)
        rows = grey.shape[0]
        band = grey[int(top * rows) : int(foot * rows)]
        step = max(1, round(band.shape[1] / BAND_PX))
        band = small_grey(band, None) if step == 1 else small_grey(band, 150.0 * step)
        turns = (0, 1, 2, 3) if known_up else (0, 2)
        sure = {turn: self._best(turned_grey(band, turn)) for turn in turns}
        return turn_by_text(sure, self.value("sure_of_turn"), self.value("turn_ahead")), words

    def _best(self, band: np.ndarray) -> float:
        return max(_surety(read_words(band, language, folder, as_it_lies=True)) for language, folder in self.languages)

    def _read(self, pixels: np.ndarray, ppi: float | None) -> list[Word]:
        best: list[Word] = []
        best_sure, best_language = -1.0, ""
        known = [pair for pair in self.languages if pair[0] == self.language] or self.languages
        for language, folder in known:
            words = read_words(pixels, language, folder, ppi)
            sure = _sure(words)
            if sure > best_sure:
                best, best_sure, best_language = words, sure, language
            if sure >= self.value("sure_of_language"):
                break
        if best and not self.language and best_sure >= self.value("sure_of_language"):
            self.language = best_language
        return [word for word in best if word.sure >= self.value("sure_of_word")]

    def notes(self) -> list[Note]:
        """What is worth saying."""
        notes: list[Note] = []
        if not self.languages:
            notes.append(("scan.no-language-data", {"name": self.name}))
        elif not self.words:
            notes.append(("scan.no-words", {"name": self.name}))
        if self.without_ppi:
            notes.append(("scan.no-size", {"name": self.name, "ppi": round(FALLBACK_PPI)}))
        for key, pages in (("scan.mixed-pages", self.mixed), ("scan.blank-left-out", self.left_out)):
            if pages:
                notes.append((key, {"name": self.name, "pages": pages}))
        if turned := [page for page, turn in self.turned.items() if turn]:
            notes.append(("scan.pages-turned", {"name": self.name, "pages": turned}))
        return notes


def _sure(words: list[Word]) -> float:
    """Mean confidence of some words, weighted by their letters; 0 for none."""
    letters = sum(len(word.text) for word in words)
    return sum(word.sure * len(word.text) for word in words) / letters if letters else 0.0


def _surety(words: list[Word]) -> float:
    """The same; 0 for too few letters to be evidence."""
    return _sure(words) if sum(len(word.text) for word in words) >= LETTERS else 0.0


def pages_pdf(
    chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears, joined: Sequence[Made] = ()
) -> Made:
    """One searchable PDF of all the pages of an item.

    Parameters
    ----------
    joined : sequence of Made
        What was joined of several passes over one page: each stands as one page in the place of its passes.

    Raises
    ------
    Unreadable
        When a page cannot be decoded; then no PDF is left.
    """
    original = chosen[0].original
    from_ = tuple(one.stored[0] for one in chosen)
    target, form, by_hand = place.copy(f"{original.id}.pdf"), plan_page_form(place.page_form), by_hand_of(chosen)
    standing = place.standing(target, from_)
    as_one = [[path.name for path in made.from_] for made in joined]
    before = standing.settings if standing else {}
    same = before.get("by_hand", {}), before.get("page_form"), before.get("joined", [])
    if standing and same == (by_hand, form.word, as_one):
        return standing
    found = [(name, find_language_data(name, settings.language_data)) for name in languages_of(original)]
    languages = [(name, folder) for name, folder in found if folder]
    reader = _Reader(chosen, rows, form, ears, target.name, languages, joined)
    tags = plan_tags(original, chosen[0].told, part="", date_said="")
    spoken = SPOKEN[languages_of(original)[0]]
    with beside(target) as part:
        count = write_pdf(part, reader.pages(), title=tags.title or original.id, language=spoken)
        if not count:  # blank pages alone: better all of them than no PDF
            reader = replace(reader, form=replace(form, blanks=True), blank=[], left_out=[])
            count = write_pdf(part, reader.pages(), title=tags.title or original.id, language=spoken)
        broken = broken_rules(part)
    made_with = {
        "format": "pdf", "claims": CLAIM, "rules_broken": list(broken), "pages": count,
        "searchable": reader.words > 0, "words": reader.words, "language": reader.language or None,
        "page_form": form.word, "page_form_asked": place.page_form_asked, "quality": reader.value("page_quality"),
        "turned": turns_told(reader.turned), "straightened": {str(n): by for n, by in reader.straightened.items()},
        "blank": reader.blank, "left_out": reader.left_out, "by_hand": by_hand,
        "joined": as_one,
    }  # fmt: skip
    return Made(
        path=target, role="copy", from_=from_, settings=made_with, title=tags.title, size=reader.size,
        notes=tuple(reader.notes()),
    )  # fmt: skip
