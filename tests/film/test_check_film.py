"""Checking film scans, each fault beside its clean control. Truth by construction: ``tests/make/film.py``."""

import shutil
from fractions import Fraction

import numpy as np
import pytest
from make.film import Scene, shoot, spread, write_film

from takeup.errors import Unreadable
from takeup.media.probe import look_at
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_film import check_film
from takeup.tasks.checking import Asked
from takeup.tasks.reporting import sentences_of

SIZE = (180, 240)
HEAD, TAIL = [Scene(36, "white")], [Scene(10, "white"), Scene(20, "clear")]
BODY = [Scene(60, "pan", "coffee"), Scene(60, "hand", "camera"), Scene(60, "walk", "chelsea")]
FAST = {"crf": "20", "preset": "ultrafast"}


def check(path, **known):
    original = Original(id="f1", **{"carrier": "super8", **known})
    return check_film(path, look_at(path), Asked(original=original), load_rows())


def film(path, scenes, shown=None, **coded):
    return write_film(path, shoot(scenes, 6, SIZE), shown, **{"options": FAST, **coded})


def names(report):
    for finding in report.findings:
        for lang in ("en", "zh-Hans"):
            assert all(sentences_of(finding, lang))
    return {finding.name: finding.verdict for finding in report.findings}


@pytest.fixture(scope="module")
def clean(tmp_path_factory):
    return film(tmp_path_factory.mktemp("film") / "reel.mp4", HEAD + BODY + TAIL)


def test_check_film_clean_reel_is_good_and_its_figures_are_true(clean):
    """246 pictures, 180 with something on them: 180 / 72 = 2.5 ft; 66 plain: 66 / 72 ft; 246 / 18 s."""
    report = check(clean)
    measures = report.measures
    assert names(report) == {} and report.verdict == "good" and report.medium == "film"
    assert (measures["file_rate"].value, measures["picture_rate"].value, measures["pictures"].value) == (20, 20, 246)
    assert measures["picture_rate"].extra["kept"] == [[0, 245]]
    assert measures["picture_rate"].extra["undetermined"] == []
    assert measures["feet"].value == pytest.approx(2.5)
    assert measures["feet"].extra["leader_feet"] == pytest.approx(66 / 72, abs=0.001)
    assert measures["true_seconds"].value == pytest.approx(246 / 18, abs=1e-6)
    assert measures["true_seconds"].extra == {"rate": "18", "decided_by": "gauge"}
    assert report.seconds == pytest.approx(246 / 20)


def test_check_film_every_measure_of_the_contract_is_there_or_says_why(clean):
    wanted = """file_rate picture_rate pictures true_seconds feet weave flicker dust fade sharpness loudness
        loudness_range true_peak noise_floor dc_offset channel_balance channel_delay channel_correlation mains_hum
        speed_error wow_flutter bandwidth"""
    measures = check(clean).measures
    for name in wanted.split():
        assert measures[name].value is not None or measures[name].why, name


def test_check_film_item_speed_decides(clean):
    report = check(clean, carrier="8mm", speed="16 2/3")
    assert report.measures["true_seconds"].extra == {"rate": "50/3", "decided_by": "item"}
    assert report.measures["true_seconds"].value == pytest.approx(246 * 3 / 50, abs=1e-6)
    assert report.measures["feet"].value == pytest.approx(180 / 80)


def test_check_film_repeats_are_told_and_taken_out(tmp_path):
    path = film(tmp_path / "reel.mp4", HEAD + BODY + TAIL, spread(246, 3, 5, 1), rate=Fraction(30000, 1001))
    report = check(path)
    assert names(report) == {"repeated_pictures": "look"}
    assert report.measures["file_rate"].value == pytest.approx(29.97003, abs=1e-5)
    assert report.measures["picture_rate"].value == pytest.approx(18000 / 1001, abs=1e-5)
    assert report.measures["pictures"].value == pytest.approx(246, abs=1)
    assert report.measures["feet"].value == pytest.approx(2.5, abs=0.03)


def test_check_film_cut_in_mid_scene_is_to_be_looked_at_but_not_when_the_reel_is_known_to_be_full(tmp_path):
    path = film(tmp_path / "reel.mp4", HEAD + BODY)
    assert names(check(path)) == {"ends_early": "look"}
    assert names(check(path, feet=50)) == {"ends_early": "redo"}
    assert names(check(path, feet=2)) == {}


def test_check_film_runs_out_before_its_feet_is_looked_at(clean):
    assert names(check(clean, feet=50)) == {"ends_early": "look"}
    assert names(check(clean, feet=3)) == {}


def test_check_film_next_number_beside_it_is_no_redo(tmp_path):
    path = film(tmp_path / "reel-1.mp4", HEAD + BODY)
    shutil.copy(path, tmp_path / "reel-2.mp4")
    assert names(check(path)) == {"ends_early": "look"}


def test_check_film_blank_inside_is_looked_at_and_leader_is_not(tmp_path):
    path = film(tmp_path / "reel.mp4", HEAD + BODY + [Scene(50, "black")] + BODY + TAIL)
    report = check(path)
    assert names(report) == {"blank": "look"}
    (blank,) = report.findings
    assert blank.from_s == pytest.approx(216 / 20, abs=0.11) and blank.to_s == pytest.approx(266 / 20, abs=0.11)
    assert report.measures["feet"].value == pytest.approx(5.0, abs=0.03)


def test_check_film_nothing_on_it_at_all_is_redo(tmp_path):
    assert names(check(film(tmp_path / "reel.mp4", [Scene(80, "white")]))) == {"blank": "redo"}


PUMP = [1.0] * 30 + list(np.linspace(1, 2.2, 8)) + [2.2] * 30 + list(np.linspace(2.2, 1, 8)) + [1.0]

DIM = [Scene(60, "hand", "camera", gain=[0.14])]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ([Scene(110, "still", "coffee", gain=PUMP), *BODY], {"over_exposed": "redo"}),
        ([Scene(60, "hand", "coffee", gain=[3.0]), *BODY, *BODY], {"over_exposed": "look"}),
        ([Scene(90, "walk", "coffee", gain=[2.6]), Scene(60, "hand", "chelsea", gain=[2.6])], {"over_exposed": "redo"}),
        ([*BODY, Scene(60, "hand", "coffee", gain=[0.1]), *BODY], {"under_exposed": "look"}),
        (
            [Scene(90, "walk", "coffee", gain=[0.14]), Scene(60, "hand", "camera", gain=[0.14])],
            {"under_exposed": "redo"},
        ),
        ([Scene(90, "pan", "rocket"), *BODY], {}),
    ],
    ids=["breathing", "one-bright-scene", "all-too-bright", "night-scene", "all-too-dark", "window-in-the-shot"],
)
def test_check_film_exposure(tmp_path, body, expected):
    assert names(check(film(tmp_path / "reel.mp4", HEAD + body + TAIL))) == expected


def test_check_film_flicker_of_known_depth(tmp_path):
    """Gain 0.75 (1 + 0.1 sin(2 pi 4.5 t)) at 18 pictures a second: RMS 0.1 / sqrt 2 = 7.07 %, on luma above black."""
    gain = 0.75 + 0.075 * np.sin(2 * np.pi * 4.5 / 18 * np.arange(72) + 0.3)
    scenes = HEAD + [Scene(72, "still", "camera", gain=list(gain))] + TAIL  # coarse H.264 would take a tenth of it away
    path = film(tmp_path / "reel.avi", scenes, codec="mjpeg", options={"q": "2"})
    report = check(path)
    assert report.measures["flicker"].value == pytest.approx(7.07, abs=0.5)
    assert names(report) == {"flicker": "look"}


def test_check_film_a_file_that_breaks_off_is_redo(clean, tmp_path):
    path = film(tmp_path / "whole.avi", HEAD + BODY + TAIL, codec="mjpeg", options={"q": "5"})
    cut = tmp_path / "cut.avi"
    cut.write_bytes(path.read_bytes()[: path.stat().st_size * 2 // 3])
    assert names(check(cut))["ends_early"] == "redo"


def test_check_film_sound_without_picture_is_refused(tmp_path):
    capture = look_at(film(tmp_path / "reel.mp4", HEAD))
    from dataclasses import replace

    with pytest.raises(Unreadable):
        asked = Asked(original=Original(id="f1", carrier="8mm"))
        check_film(tmp_path / "reel.mp4", replace(capture, picture=None), asked, load_rows())


def test_check_film_pictures_that_change_size_are_refused_plainly(clean, monkeypatch):
    from dataclasses import replace

    from takeup.tasks import moving_walk as room

    def reading(*args, **kwargs):
        for number, thing in enumerate(read_moving(*args, **kwargs)):
            small = number == 30
            yield replace(thing, planes=tuple(plane[::2, ::2] for plane in thing.planes)) if small else thing

    from takeup.media.moving import read_moving

    monkeypatch.setattr(room, "read_moving", reading)
    with pytest.raises(Unreadable) as refused:
        check(clean)
    assert (refused.value.key, refused.value.facts["frame"]) == ("film.size-changes", 30)
