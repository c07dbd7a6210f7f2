"""The turn of a page's lines: told to 0.05 degrees (check values, part 3) or not at all."""

import numpy as np
import pytest
from make import pages

from takeup.judge.scan_findings import sure_tilt
from takeup.measure.scan.text_tilt import text_tilt
from takeup.tables.loader import load_rows

TOLD = [("page", 0.0), ("page", 0.04), ("page", -4.6), ("columns", 2.3), ("columns", -0.6), ("chinese", -1.7),
        ("photo", 3.1), ("few", 0.9)]  # fmt: skip


def turned(kind, tilt, *, seed=3, margin_in=0.0):
    return pages.as_scanned(pages.sheet(kind, seed, ppi=150), tilt=tilt, margin_in=margin_in, seed=seed).pixels


@pytest.mark.parametrize(("kind", "tilt"), TOLD)
def test_lines_tell_their_turn(kind, tilt):
    found = sure_tilt(text_tilt(turned(kind, tilt)), load_rows())
    assert found is not None and not found.upright
    assert found.tilt == pytest.approx(tilt, abs=0.05)


def test_a_dark_lid_round_a_crooked_page_does_not_speak_for_its_lines():
    found = text_tilt(turned("columns", 1.4, margin_in=0.5))
    assert found is not None and found.tilt == pytest.approx(1.4, abs=0.05)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_a_page_that_lies_on_its_side_or_head_has_the_same_turn(quarters):
    pixels = np.ascontiguousarray(np.rot90(turned("page", -1.1), quarters))
    found = text_tilt(pixels)
    assert found is not None and found.tilt == pytest.approx(-1.1, abs=0.05) and found.upright == bool(quarters % 2)


def test_light_text_on_dark_film_is_read_too():
    found = text_tilt(255 - turned("page", 0.7))
    assert found is not None and found.tilt == pytest.approx(0.7, abs=0.05)


@pytest.mark.parametrize("kind", ["hand", "title", "blank"])
def test_what_has_no_common_direction_is_not_told(kind):
    """Lines of the crooked hand differ by 0.8 degrees (one standard deviation) among each other."""
    assert sure_tilt(text_tilt(turned(kind, 1.0)), load_rows()) is None
