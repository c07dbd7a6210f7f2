"""Places of a scan kept while it passes by: the same pixels as cutting them from the whole array, however it is cut."""

import numpy as np
import pytest

from takeup.errors import UnusableSamples
from takeup.measure.scan import windows
from takeup.measure.scan.windows import Place


@pytest.mark.parametrize("cuts", [[], [1, 2, 3], [7, 50, 51, 90], list(range(1, 100))])
def test_windows_are_the_pixels_of_their_places_whatever_the_strips(cuts):
    scan = np.random.default_rng(4).integers(0, 65536, (100, 60, 3)).astype(np.uint16)
    places = [Place(y=3, x=5, width=20, height=60, purpose="edge"),
              Place(y=90, x=0, width=60, height=10, purpose="edge"),
              Place(y=0, x=59, width=1, height=1, purpose="ruler")]  # fmt: skip
    state = windows.begin(places)
    for strip in np.split(scan, cuts):
        state = windows.step(state, strip)
    found = windows.finish(state)
    assert {purpose: len(kept) for purpose, kept in found.items()} == {"edge": 2, "ruler": 1}
    for kept in found.values():
        for window in kept:
            at = window.place
            np.testing.assert_array_equal(window.pixels, scan[at.y : at.y + at.height, at.x : at.x + at.width])


def test_a_place_is_cut_to_the_scan_and_one_outside_is_none():
    assert windows.within(Place(y=-5, x=90, width=20, height=20), (100, 50)) == Place(y=0, x=90, width=10, height=15)
    assert windows.within(Place(y=50, x=0, width=5, height=5), (100, 50)) is None


def test_no_more_is_held_than_a_check_may_use():
    with pytest.raises(UnusableSamples):
        windows.begin([Place(y=0, x=0, width=6000, height=6000)])
