"""Bands of tracking noise of known time and place over photographs, and rough pictures without one."""

from functools import lru_cache

import pytest
from make.tape_real import Band, Scene, codes, play
from make.video import Form, write
from make.video_check import check, named

from takeup.measure.video import tracking
from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.fields import fields

LIMITS = {"rough": 16, "least_lines": 10, "smooth_share": 0.35, "found_again": 0.45, "colour_left": 0.6}


@lru_cache(maxsize=3)  # pictures are large
def played(scene):
    return list(play(scene))


def bands_in(scene, form="8"):
    state, found = tracking.begin(), []
    bits = 10 if form == "10" else 8
    for planes in played(scene):
        luma, *colour = codes(planes, form)
        state, torn = tracking.step(state, fields(eight_bits(luma, bits)), tuple(colour), bits, LIMITS)
        found.append(torn)
    return found


@pytest.mark.parametrize("form", ["8", "10", "420", "411"])
@pytest.mark.parametrize("world, high, noise", [("motorcycle", 14, 45.0), ("fence", 30, 28.0), ("rocket", 40, 60.0)])
def test_a_drifting_band_is_found_where_it_is(form, world, high, noise):
    band = Band(2, 6, (60, 120), high, noise)
    found = bands_in(Scene(world=world, pictures=7, seed=51, bands=(band,)), form)
    assert [torn is not None for torn in found[:2] + found[6:]] == [False, False, False]
    seen = [(at, torn) for at, torn in enumerate(found) if torn is not None]
    assert len(seen) >= 3
    for at, torn in seen:
        middle = 60 + 20 * (at - 2) - 2  # of the field; two lines above are not looked at
        assert (torn.first + torn.end) / 2 == pytest.approx(middle, abs=8)


@pytest.mark.parametrize(
    "scene",
    [
        Scene(world="water", extras=("glints",), pictures=5, seed=52),
        Scene(world="grass", pictures=5, seed=53),
        Scene(world="gravel", camera="pan", pictures=5, seed=54),
        Scene(world="china.jpg", extras=("flakes", "confetti"), pictures=5, seed=55),
        Scene(world="flower.jpg", extras=("crawl", "title"), switch=12, pictures=5, seed=56),
        Scene(world="stripes", camera="fast", jitter_px=1.6, noise=5.0, pictures=5, seed=57),
        Scene(world="china.jpg", switch=10, skew_px=10.0, jitter_px=1.0, extras=("flash",), pictures=5, seed=58),
    ],
    ids=["water", "grass", "gravel", "snowing", "titles", "stripes", "skew"],
)
def test_rough_pictures_hold_no_band(scene):
    assert bands_in(scene) == [None] * 5


def test_a_band_is_told_with_its_times_and_asks_for_the_tracking_control(tmp_path):
    scene = Scene(world="rocket", pictures=26, seed=59, lines=480, bands=(Band(8, 18, (40, 90), 30, 45.0),))
    write(tmp_path / "a.avi", play(scene), Form("raw"))
    (finding,) = named(check(tmp_path / "a.avi"), "tracking")
    assert finding.verdict == "redo" and finding.again == "helps"
    assert finding.from_s == pytest.approx(8 / 25, abs=0.2) and finding.to_s == pytest.approx(18 / 25, abs=0.2)
