"""Suggest what is written on a picture's back, from its everyday copy. A person reads it over: it is never a fact."""

from __future__ import annotations

from pathlib import Path

from takeup.media.page_pictures import upright_grey
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.text_reading import Word, find_language_data, read_words
from takeup.plan.paging import lines_of
from takeup.plan.scan_finishing import languages_of
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows


def suggested_reading(copy: Path, original: Original, settings: Settings) -> str:
    """The words that can be read on an upright copy, line by line; "" where none is read surely enough.

    Printed and stamped words are read, handwriting seldom.

    Raises
    ------
    Unreadable
        When the copy cannot be decoded.
    """
    rows = load_rows()
    still = OpenStill(copy, look_at(copy))
    grey, best = upright_grey(still), list[Word]()
    for language in languages_of(original):
        folder = find_language_data(language, settings.language_data)
        if folder is not None:
            found = read_words(grey, language, folder, still.image.ppi_stated)
            sure = [word for word in found if word.sure >= rows.value("formats.scan.copy.sure_of_reading")]
            best = max(best, sure, key=lambda words: sum(word.sure * len(word.text) for word in words))
    return lines_of((word.text, word.line) for word in best)
