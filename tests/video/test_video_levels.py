"""Levels against codes laid down by construction; dark, bright and super-white programmes as controls."""

import numpy as np
import pytest
from make.video import Form, Tape, file_for, render, write
from make.video_check import bad, check, named, value

from takeup.measure.video import levels


@pytest.mark.parametrize(("gain", "offset"), [(1.0, 0.0), (0.9, 8.0)])
def test_black_and_white_level_of_a_lossless_capture_are_the_percentiles_of_its_picture(tmp_path, gain, offset):
    """Second computation: numpy's percentiles of the codes that were written, sides and head switching cut away."""
    tape = Tape(pictures=12, gain=gain, offset=offset, seed=41)
    pictures = list(render(tape))
    write(tmp_path / "a.mov", iter(pictures), Form("v210"))
    inside = np.concatenate([luma[8:540, 16:-16].ravel() for luma, _, _ in pictures])
    report = check(tmp_path / "a.mov")
    assert value(report, "black_level") == pytest.approx(np.percentile(inside, 0.5), abs=0.5)
    assert value(report, "white_level") == pytest.approx(np.percentile(inside, 99.5), abs=0.5)
    outside = 100 * np.mean((inside < 5) | (inside > 246))
    assert value(report, "beyond_limits") == pytest.approx(outside, abs=0.05)


def test_levels_after_dv_and_h264_stay_within_two_codes(tmp_path):
    tape = Tape(pictures=12, seed=42, noise=0.9)
    pictures = list(render(tape))
    inside = np.concatenate([luma[8:540, 16:-16].ravel() for luma, _, _ in pictures])
    for codec, name in (("dv", "a.avi"), ("h264", "a.mp4")):
        write(tmp_path / name, iter(pictures), Form(codec, shape=None))
        report = check(tmp_path / name)
        assert value(report, "black_level") == pytest.approx(np.percentile(inside, 0.5), abs=2)
        assert value(report, "white_level") == pytest.approx(np.percentile(inside, 99.5), abs=2)


@pytest.mark.parametrize("codec", ["uyvy", "h264"])
def test_setup_taken_away_twice_is_cut_off_black_and_asks_for_another_try(tmp_path, codec):
    """Hand arithmetic: 16 - 0.075 x 219 / 0.925 = -1.8, at gain 1 / 0.925."""
    write(file_for(tmp_path, codec), Tape(pictures=10, gain=1 / 0.925, offset=-17.8, seed=43), Form(codec))
    (found,) = named(check(file_for(tmp_path, codec)), "levels")
    assert (found.says, found.verdict, found.again) == ("levels.black-clipped", "redo", "helps")


def test_too_much_gain_is_cut_off_white(tmp_path):
    write(tmp_path / "a.avi", Tape(pictures=10, gain=1.2, seed=43), Form("uyvy"))
    (found,) = named(check(tmp_path / "a.avi"), "levels")
    assert (found.says, found.verdict) == ("levels.white-clipped", "redo")


@pytest.mark.parametrize("codec", ["uyvy", "h264"])
def test_setup_left_in_is_lifted_black_and_only_a_look(tmp_path, codec):
    """Hand arithmetic: 16 + 0.075 x 219 = 32.4 with white still at 235."""
    write(file_for(tmp_path, codec), Tape(pictures=10, gain=0.925, offset=16.4, seed=44), Form(codec))
    (found,) = named(check(file_for(tmp_path, codec)), "levels")
    assert (found.says, found.verdict) == ("levels.black-lifted", "look")


@pytest.mark.parametrize(
    "tape",
    [
        Tape(pictures=8, world="night", seed=45),
        Tape(pictures=8, world="bright", seed=45),
        Tape(pictures=8, gain=1.065, seed=45, noise=1.0),  # white 249: camcorder super-white
        Tape(pictures=8, seed=45, noise=5.0),
        Tape(pictures=8, world="chelsea", seed=45),  # a photograph without deep black
        Tape(pictures=8, letterbox=72, seed=45),
    ],
    ids=["night", "bright", "super-white", "noisy", "no-black", "letterbox"],
)
def test_no_levels_finding_on_programmes_that_only_look_unusual(tmp_path, tape):
    write(tmp_path / "a.avi", tape, Form("uyvy"))
    assert named(check(tmp_path / "a.avi"), "levels") == []


def test_letterbox_bars_and_blanking_are_not_counted():
    """Truth by construction: bars at 16, picture from 60 to 200."""
    rng = np.random.default_rng(1)
    state = levels.begin(576, 720, 8)
    for _ in range(4):
        luma = rng.integers(60, 201, (576, 720)).astype(np.uint8)
        luma[:72] = luma[-72:] = 16
        luma[:, :9] = luma[:, -9:] = 16
        state = levels.step(state, luma)
    found = levels.finish(state, noise=1.0, bar=44, rails=(1, 254), limits=(5, 246))
    assert found.black == pytest.approx(60.2, abs=0.5)
    assert found.area[1] >= 72 and found.area[0] >= 9


def test_ten_bit_codes_are_told_as_eight_bit_decimals():
    """Hand arithmetic: code 650 of ten bits is 162.5 of eight."""
    state = levels.step(levels.begin(576, 720, 10), np.full((576, 720), 650, np.uint16))
    found = levels.finish(state, noise=1.0, bar=44, rails=(1, 254), limits=(5, 246))
    assert found.black == pytest.approx(162.5, abs=0.13)


def test_a_clean_tape_is_good_in_every_way(tmp_path):
    from make.video import programme

    write(tmp_path / "a.mov", Tape(pictures=50, seed=46, black=((40, 50),)), Form("v210"), programme(2))
    report = check(tmp_path / "a.mov")
    assert bad(report) == set() and report.verdict == "good"
