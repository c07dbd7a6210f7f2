"""The prints on a page of an album are found and the page is kept; what only looks like a page is one picture."""

from types import SimpleNamespace

import numpy as np
import pytest
from make import scan as made

from takeup.measure.scan.pictures import pictures
from takeup.tables.loader import load_rows
from takeup.tasks.scan_looks import papers_of

PPI = 75
CARD = {"black card": (28.0, 27.0, 30.0), "buff": (205.0, 186.0, 150.0)}


def page(card, prints, tilt=1.2, seed=5):
    """A page of 9 x 11.5 inch on the lid, and on it prints: centre on the page and size [inch], kind."""
    rng = np.random.default_rng(seed)
    pixels = made.lid(rng, 14 * PPI, 11 * PPI, 246, 2)
    middle = np.array([5.5, 7.0]) * PPI
    whole = made.outline(middle, (9 * PPI, 11.5 * PPI), tilt)
    grain = rng.normal(0, 1.5, (int(11.5 * PPI), 9 * PPI, 1))
    made.put(pixels, (np.array(card) + grain).astype(np.float32), whole, shadow=(1, 1, 1.0, 20.0))
    a = np.deg2rad(tilt)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    corners = []
    for at, size, own_tilt, kind in prints:
        size = np.array(size) * PPI
        corners.append(made.outline(middle + turn @ ((np.array(at) - [4.5, 5.75]) * PPI), tuple(size), tilt + own_tilt))
        made.put(pixels, made.art_for(rng, size, PPI, kind), corners[-1], shadow=(0.5, 1, 0.8, 6.0))
    bed = made.finish_bed(SimpleNamespace(pixels=pixels), rng, 1.5, dust=20)
    found = pictures(bed.pixels, 1, bed.pixels.shape[1::-1], ppi=PPI, many=True, papers=papers_of(load_rows()))
    return found, whole, corners


THREE = [
    ((2.4, 3.2), (3.5, 5), 0.6, "bordered"),
    ((6.4, 2.6), (3.5, 3.5), -1.0, "clean"),
    ((5.2, 8.4), (6, 4), 0.3, "clean"),
]


@pytest.mark.parametrize("card", CARD)
def test_prints_on_a_page_are_found_and_the_page_is_kept(card):
    found, whole, corners = page(CARD[card], THREE)
    assert len(found.prints) == 3 and not found.unsure and len(found.pages) == 1
    for own in corners:
        assert max(made.overlap(own, np.array(one.corners)) for one in found.prints) >= 0.985
    assert made.overlap(whole, np.array(found.pages[0].corners)) >= 0.985


@pytest.mark.parametrize("card", CARD)
def test_one_picture_in_an_even_frame_is_one_picture(card):
    found, _, _ = page(CARD[card], [((4.5, 5.75), (5, 7), 0.0, "clean")])
    assert not found.pages
    assert len(found.prints) + len(found.unsure) == 1


def test_a_large_photograph_is_one_picture():
    found, whole, _ = page(CARD["black card"], [((4.5, 5.75), (9, 11.5), 0.0, "clean")])
    assert not found.pages and len(found.prints) == 1
    assert made.overlap(whole, np.array(found.prints[0].corners)) >= 0.985
