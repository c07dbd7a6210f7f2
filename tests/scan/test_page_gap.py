"""A page of one column is read in two parts, cut between two lines; what a cut would put in another order is not."""

from __future__ import annotations

import numpy as np
import pytest
from make import pages

from takeup.measure.scan.page_gap import reading_cut
from takeup.media import text_reading
from takeup.media.text_reading import find_language_data, read_words


@pytest.mark.parametrize("kind", ["page", "chinese"])
def test_the_cut_goes_between_two_lines_of_about_half_the_words(kind):
    page = pages.as_scanned(pages.sheet(kind, 11, ppi=120))
    cut = reading_cut(page.pixels)
    assert cut is not None
    assert 0.3 < np.mean([word.y < cut for word in page.words]) < 0.7
    assert min(abs(word.y - cut) for word in page.words) > 0.04 * page.ppi  # half a line of 10-point print: 0.07 inch


@pytest.mark.parametrize("kind", ["columns", "table", "title", "blank"])
def test_columns_tables_and_little_text_are_not_cut(kind):
    assert reading_cut(pages.as_scanned(pages.sheet(kind, 12, ppi=120)).pixels) is None


def test_words_of_both_parts_stand_where_they_are_on_the_page(monkeypatch):
    folder = find_language_data("eng")
    if folder is None:
        pytest.skip("no language data")
    whole = pages.as_scanned(pages.sheet("page", 13, ppi=150))
    page = whole.pixels[: whole.pixels.shape[0] * 45 // 100]
    monkeypatch.setattr(text_reading, "LARGE_PX", 0)
    cut = reading_cut(page)
    words = read_words(np.ascontiguousarray(page), "eng", folder, 150.0)
    assert cut is not None
    assert [word.line for word in words] == sorted(word.line for word in words)
    assert len(words) > 100
    assert {word.y > cut for word in words} == {False, True}
    apart = [
        min(np.hypot(one.x + one.width / 2 - word.x, one.y + one.height / 2 - word.y) for word in whole.words)
        for one in words
    ]
    assert np.mean(np.array(apart) < 150 / 25.4) > 0.95  # a millimetre
