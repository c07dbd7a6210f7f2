"""Reels by the law of wound tape, the thread of a capture that comes in, the drawings of the steps."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from takeup.pages.drawings import DRAWINGS, drawing
from takeup.pages.live_thread import WIDTH, live_thread
from takeup.pages.reels import REACH, reel_for, reels
from takeup.tables.loader import load_rows


def radii(svg: str) -> dict[str, float]:
    found = re.findall(r'<circle class="(rim|pack left|pack right|hub)"[^>]* r="([\d.]+)"', svg)
    return {name: float(r) for name, r in found}


def test_a_full_cassette_turns_once_in_the_time_that_the_check_values_tell():
    """2 pi r / v of a full C60 is 3.27 s, of an empty hub 1.45 s (check values of sound, part 3)."""
    reel = reel_for("cassette", 1800.0, load_rows())
    assert 2 * math.pi * reel.radius_mm(1800) / reel.speed_mm_s == pytest.approx(3.27, abs=0.01)
    assert 2 * math.pi * reel.radius_mm(0) / reel.speed_mm_s == pytest.approx(1.45, abs=0.01)


@pytest.mark.parametrize("taken", [0.0, 1.0, 450.0, 900.0, 1799.0, 1800.0, 2400.0])
def test_areas_of_the_two_packs_are_as_the_tape_on_them(taken):
    drawn = radii(reels(reel_for("cassette", 1800.0, load_rows()), taken, 1800.0))
    left, right = (math.pi * (drawn[f"pack {side}"] ** 2 - drawn["hub"] ** 2) for side in ("left", "right"))
    whole = math.pi * (REACH**2 - drawn["hub"] ** 2)
    assert left / whole == pytest.approx(max(0.0, 1 - taken / 1800), abs=1e-3)
    assert right / whole == pytest.approx(min(1.0, taken / 1800), abs=1e-3)


def test_a_longer_side_lies_on_thinner_tape_and_a_short_one_leaves_its_reel_half_empty():
    rows = load_rows()
    assert [reel_for("cassette", minutes * 60, rows).thickness_um for minutes in (30, 45, 60, 90)] == [18, 12, 9, 9]
    drawn = radii(reels(reel_for("cassette", 600.0, rows), 0.0, 600.0))  # ten minutes in a shell for thirty
    share = (drawn["pack left"] ** 2 - drawn["hub"] ** 2) / (REACH**2 - drawn["hub"] ** 2)
    assert share == pytest.approx(1 / 3, abs=1e-3)


def test_scans_have_no_reels_and_every_tape_and_film_has():
    rows = load_rows()
    for carrier in rows.names("carriers"):
        medium = rows.value(f"carriers.{carrier}.medium")
        wound = medium in ("sound", "video", "film") and carrier != "interview"  # which is recorded here, on no tape
        assert (reel_for(carrier, 600.0, rows) is not None) == wound, carrier


def test_the_live_thread_is_solid_so_far_dotted_after_and_broken_at_what_is_to_be_done_again():
    svg = live_thread(seconds=900.0, whole_s=1800.0, knots=[("look", 200.0), ("redo", 450.0)], heights=[0.5, None, 1.0])
    assert re.search(r'class="to-come" d="M480\.0 55\.0H960"', svg)  # half of it came
    came = [(float(a), float(b)) for a, b in re.findall(r"M([\d.]+) 55\.0H([\d.]+)", svg.split('class="came"')[1])]
    assert len(came) == 2 and came[0][1] < WIDTH / 4 < came[1][0] and came[1][1] == pytest.approx(WIDTH / 2)
    assert svg.count('class="knot look"') == svg.count('class="knot redo"') == 1
    assert svg.count("v") >= 2 and "style=" not in svg


def test_a_thread_longer_than_expected_stretches_and_an_empty_one_is_drawn():
    assert 'H960"' in live_thread(seconds=4000.0, whole_s=1800.0, knots=[("redo", 3999.0)])
    for seconds in (0.0, 0.01):
        ElementTree.fromstring(live_thread(seconds=seconds, whole_s=0.0, knots=[]).replace("var(--card)", "white"))


@pytest.mark.parametrize("name", sorted(DRAWINGS))
def test_every_drawing_is_whole_and_brings_nothing_that_the_policy_blocks(name):
    svg = drawing(name)
    ElementTree.fromstring(svg)
    assert "style=" not in svg and "<script" not in svg and "href" not in svg
