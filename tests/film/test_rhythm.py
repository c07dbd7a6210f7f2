"""Pictures and repeats. Truth by construction: ``tests/make/film.py`` writes which picture each frame shows."""

from fractions import Fraction

import numpy as np
import pytest
from make.film import Scene, glances_of, new_of, shoot, spread, write_film

from takeup.tables.loader import load_rows
from takeup.tasks.check_film import find_rhythm

SIZE = (180, 240)
MOVING = [Scene(70, "pan", "coffee"), Scene(70, "hand", "chelsea")]
PICTURES = 140


def rhythm_of(tmp_path, scenes, shown=None, name="film.mp4", **coded):
    path = write_film(tmp_path / name, shoot(scenes, 3, SIZE), shown, **coded)
    return find_rhythm(glances_of(path), load_rows())


@pytest.mark.parametrize(
    ("p", "q", "phase", "crf"),
    [(2, 3, 0, 18), (3, 5, 2, 26), (8, 15, 7, 26), (4, 5, 1, 32), (18, 25, 11, 26), (3, 4, 3, 32), (9, 10, 5, 26)],
)
def test_rhythm_moving_film_with_a_pattern_every_picture_is_found_and_none_dropped(tmp_path, p, q, phase, crf):
    shown = spread(PICTURES, p, q, phase)
    found = rhythm_of(tmp_path, MOVING, shown, rate=Fraction(30), options={"crf": str(crf), "preset": "veryfast"})
    assert found.share == Fraction(p, q)
    assert np.array_equal(found.new, new_of(shown))
    assert found.undetermined == ()
    assert found.pictures == PICTURES


def test_rhythm_mjpeg_in_avi_finds_the_pattern_exactly(tmp_path):
    shown = spread(PICTURES, 3, 4, 2)
    found = rhythm_of(tmp_path, MOVING, shown, "film.avi", codec="mjpeg", rate=Fraction(24), options={"q": "5"})
    assert found.share == Fraction(3, 4)
    assert np.array_equal(found.new, new_of(shown))


@pytest.mark.parametrize(
    "coder",
    [
        "bframes=3:b-adapt=0:keyint=12:scenecut=0",
        "bframes=1:b-adapt=0:keyint=24",
        "bframes=0:keyint=10:scenecut=0",
    ],
)
@pytest.mark.parametrize("crf", [18, 32])
def test_rhythm_one_picture_per_frame_claims_no_repeat_whatever_the_coder_does(tmp_path, coder, crf):
    scenes = [*MOVING, Scene(50, "still", "camera"), Scene(40, "walk", "coffee")]
    options = {"crf": str(crf), "preset": "veryfast", "x264-params": coder}
    found = rhythm_of(tmp_path, scenes, options=options)
    assert found.share == 1
    assert found.repeats == 0
    assert found.undetermined == ()


def test_rhythm_still_film_coded_coarsely_is_undetermined_and_left_whole(tmp_path):
    shown = spread(PICTURES, 2, 3)
    still = [Scene(PICTURES, "still", "camera", weave_px=0.1)]
    found = rhythm_of(tmp_path, still, shown, rate=Fraction(24), options={"crf": "34", "preset": "veryfast"})
    assert found.repeats == 0
    assert found.undetermined == ((0, len(shown) - 1),)


def test_rhythm_still_scene_between_moving_ones_takes_the_pattern_from_both(tmp_path):
    scenes = [Scene(90, "pan", "coffee"), Scene(50, "still", "camera"), Scene(90, "hand", "chelsea")]
    shown = spread(230, 2, 3, 1)
    found = rhythm_of(tmp_path, scenes, shown, rate=Fraction(24), options={"crf": "30", "preset": "veryfast"})
    assert found.share == Fraction(2, 3)
    assert not (~found.new & new_of(shown)).any()  # nothing that is a picture was dropped
    assert np.array_equal(found.new, new_of(shown))


def test_rhythm_one_picture_held_once_more_is_found_to_within_a_frame(tmp_path):
    shown = spread(PICTURES, 4, 5)
    at = 90
    held = [*shown[:at], shown[at - 1], *shown[at:]]  # one frame too many: the phase slips here
    found = rhythm_of(tmp_path, MOVING, held, rate=Fraction(25), options={"crf": "20", "preset": "veryfast"})
    assert found.share == Fraction(4, 5)
    assert not (~found.new & new_of(held)).any()
    assert len(found.slips) == 1
    assert abs(found.slips[0] - at) <= 5  # the pattern differs only at its repeats, one in five frames
    assert abs(found.pictures - PICTURES) <= 1


def test_rhythm_repeats_without_a_pattern_have_no_rate_but_a_list(tmp_path):
    chance = np.random.default_rng(8)
    shown = [number for number in range(PICTURES) for _ in range(1 + int(chance.random() < 0.2))]
    found = rhythm_of(tmp_path, MOVING, shown, rate=Fraction(24), options={"crf": "18", "preset": "veryfast"})
    assert found.share is None
    assert np.array_equal(found.new, new_of(shown))


@pytest.mark.parametrize("count", [1, 2, 3, 10])
def test_rhythm_a_handful_of_frames_claims_nothing(count):
    from takeup.measure.film.glances import glances

    pictures = [[picture[..., 1]] for picture in shoot([Scene(count)], 1, SIZE)]
    found = find_rhythm(glances(pictures), load_rows())
    assert (found.share, found.repeats, found.pictures) == (1, 0, count)
