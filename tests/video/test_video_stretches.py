"""Black, no signal and standing pictures with known first and last pictures; their look-alikes as controls."""

import pytest
from make.video import Form, Tape, file_for, write
from make.video_check import check, named

FRAME = 0.04


def spans(report, name):
    return [(one.from_s, one.to_s) for one in named(report, name)]


@pytest.mark.parametrize("codec", ["uyvy", "h264"])
@pytest.mark.parametrize(("what", "name"), [("black", "black"), ("blue", "no_signal"), ("snow", "no_signal")])
def test_an_empty_stretch_is_found_to_one_picture_and_left_out(tmp_path, codec, what, name):
    write(file_for(tmp_path, codec), Tape(pictures=34, seed=51, **{what: ((10, 24),)}), Form(codec))
    report = check(file_for(tmp_path, codec))
    ((from_s, to_s),) = spans(report, name)
    assert from_s == pytest.approx(10 * FRAME, abs=FRAME) and to_s == pytest.approx(24 * FRAME, abs=FRAME)
    assert dict(report.left_out)[name] == pytest.approx(14 * FRAME, abs=2 * FRAME)
    assert named(report, "frozen") == [] and all(one.verdict != "redo" for one in report.findings if one.name == name)


def test_lifted_black_is_black_when_the_file_has_no_deeper_one(tmp_path):
    write(tmp_path / "a.avi", Tape(pictures=34, seed=52, black=((10, 24),), gain=0.925, offset=16.4), Form("uyvy"))
    assert len(spans(check(tmp_path / "a.avi"), "black")) == 1


def test_a_night_with_lamps_is_neither_black_nor_no_signal(tmp_path):
    write(tmp_path / "a.avi", Tape(pictures=20, world="night", seed=53), Form("uyvy"))
    report = check(tmp_path / "a.avi")
    assert spans(report, "black") == spans(report, "no_signal") == []


def test_a_capture_that_is_black_throughout_is_to_be_tried_again(tmp_path):
    write(tmp_path / "a.avi", Tape(pictures=20, black=((0, 20),), seed=54, head_switch_lines=0), Form("uyvy"))
    report = check(tmp_path / "a.avi")
    (found,) = named(report, "black")
    assert (found.says, found.verdict) == ("black.whole", "redo")
    assert report.measures["black_level"].value is None and report.measures["black_level"].why


@pytest.mark.parametrize("codec", ["uyvy", "dv", "h264"])
def test_a_held_picture_is_frozen_and_a_single_repeat_is_counted(tmp_path, codec):
    tape = Tape(pictures=44, seed=55, held=((10, 30), (38, 39)), top_first=codec != "dv")
    write(file_for(tmp_path, codec), tape, Form(codec, order=None if codec == "dv" else "top"))
    report = check(file_for(tmp_path, codec))
    ((from_s, to_s),) = spans(report, "frozen")
    assert from_s == pytest.approx(10 * FRAME, abs=1.01 * FRAME) and to_s == pytest.approx(30 * FRAME, abs=FRAME)
    repeated = report.measures["repeated_frames"]
    assert repeated.value == 1 and repeated.extra["held"] == pytest.approx(20, abs=1)


@pytest.mark.parametrize("codec", ["uyvy", "h264"])
def test_a_still_shot_on_tape_is_not_frozen(tmp_path, codec):
    write(file_for(tmp_path, codec), Tape(pictures=24, still=True, noise=0.9, seed=56), Form(codec))
    report = check(file_for(tmp_path, codec))
    assert named(report, "frozen") == [] and report.measures["repeated_frames"].value == 0
