"""Sound beside the picture, lost pictures, cut and damaged files: every truth laid down in the writing."""

import numpy as np
import pytest
from make.video import Form, Tape, programme, write
from make.video_check import check, named, value

from takeup.judge.video_sound import judge_drift
from takeup.measure.video.clock import Drift
from takeup.tables.loader import load_rows

SHORT = Tape(pictures=30, seed=71, noise=0.5, jitter_px=0.0, head_switch_lines=0)


def tape_of(pictures):
    return Tape(pictures=pictures, seed=71, jitter_px=0.0, head_switch_lines=0, lines=160)


def test_a_file_without_sound_says_so_and_has_every_sound_measure_null(tmp_path):
    write(tmp_path / "a.avi", SHORT, Form("uyvy"))
    report = check(tmp_path / "a.avi")
    (found,) = named(report, "sound_missing")
    assert (found.says, found.verdict) == ("sound_missing.no-track", "redo")
    assert report.measures["loudness"].value is None and report.measures["loudness"].why
    assert report.measures["sound_drift"].value is None
    assert named(check(tmp_path / "a.avi", item={"sound": "none"}), "sound_missing") == []


HISS = np.random.default_rng(3).normal(0, 0.001, (57600 * 2, 2))


@pytest.mark.parametrize(
    ("sound", "says", "verdict"),
    [
        (HISS * 0, "sound_missing.digital-zero", "redo"),
        (np.round(HISS * 0.03 * 32768) / 32768, "sound_missing.no-hiss", "redo"),
        (HISS, "sound_missing.hiss-only", "look"),
        (programme(2.4) * [1, 0], "sound_missing.one-side", "look"),
    ],
    ids=["zero", "converter-floor", "hiss", "one-side"],
)
def test_sound_that_is_not_there(tmp_path, sound, says, verdict):
    write(tmp_path / "a.avi", tape_of(60), Form("uyvy"), sound)
    (found,) = named(check(tmp_path / "a.avi"), "sound_missing")
    assert (found.says, found.verdict) == (says, verdict)


def test_programme_over_hiss_keeps_step(tmp_path):
    write(tmp_path / "a.mkv", tape_of(60), Form("ffv1"), programme(2.4))
    report = check(tmp_path / "a.mkv")
    assert named(report, "sound_missing") == named(report, "sound_drift") == []
    assert value(report, "sound_drift") == pytest.approx(0, abs=1)
    assert report.measures["sound_drift"].extra["shape"] == "none"


def test_aac_padding_is_not_drift(tmp_path):
    """Truth by construction; AAC frames hold 1024 samples, up to 22 ms may be padding."""
    write(tmp_path / "a.mp4", tape_of(60), Form("h264", sound_codec="aac"), programme(2.4))
    report = check(tmp_path / "a.mp4")
    assert abs(value(report, "sound_drift")) < 22 and report.measures["sound_drift"].extra["shape"] == "none"


def test_a_clock_one_in_a_hundred_fast_is_a_slope_to_be_tried_again(tmp_path):
    """Hand arithmetic: 4.8 s of pictures, 4.92 s of sound: 120 ms."""
    write(tmp_path / "a.avi", tape_of(120), Form("uyvy"), programme(4.92))
    report = check(tmp_path / "a.avi")
    (found,) = named(report, "sound_drift")
    assert value(report, "sound_drift") == pytest.approx(120, abs=1)
    assert report.measures["sound_drift"].extra["shape"] == "slope" and found.verdict == "redo"


def test_a_late_start_is_constant_and_never_redo(tmp_path):
    """Hand arithmetic: sound begins 0.2 s late and ends with the picture."""
    write(tmp_path / "a.mkv", tape_of(60), Form("ffv1", sound_late_s=0.2), programme(2.2))
    report = check(tmp_path / "a.mkv")
    assert value(report, "sound_offset") == pytest.approx(200, abs=2)
    assert report.measures["sound_drift"].extra["shape"] == "constant"
    assert [one.verdict for one in named(report, "sound_drift")] == ["look"]


@pytest.mark.parametrize(("codec", "name"), [("v210", "a.mov"), ("ffv1", "a.mkv")])
def test_lost_pictures_with_their_stamps_kept_are_counted_and_are_a_step(tmp_path, codec, name):
    """Hand arithmetic: three pictures of 40 ms missing after the thirtieth: 120 ms."""
    form = Form(codec, stamps=lambda number: number if number < 30 else number + 3)
    write(tmp_path / name, tape_of(60), form, programme(63 / 25))
    report = check(tmp_path / name)
    (found,) = named(report, "frames_lost")
    assert value(report, "lost_frames") == 3 and value(report, "frames") == 60
    assert found.from_s == pytest.approx(1.2, abs=0.04) and found.to_s == pytest.approx(1.32, abs=0.04)
    assert report.measures["sound_drift"].extra["shape"] == "step"
    assert value(report, "sound_drift") == pytest.approx(120, abs=1)


@pytest.mark.parametrize(("codec", "name", "options"), [
    ("dv", "a.avi", {}), ("ffv1", "a.mkv", {}), ("uyvy", "a.avi", {}), ("h264", "a.mp4", {"movflags": "faststart"}),
])  # fmt: skip
def test_a_file_cut_at_sixty_per_cent_ends_early(tmp_path, codec, name, options):
    tape = Tape(pictures=40, seed=72, noise=0.5, top_first=codec != "dv")
    write(
        tmp_path / name,
        tape,
        Form(codec, shape=None, container_options=options),
    )
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: len(data) * 6 // 10])
    report = check(tmp_path / name)
    (found,) = named(report, "ends_early")
    assert (found.verdict, found.again) == ("redo", "helps")
    assert 10 <= value(report, "frames") <= 36 and named(report, "corrupt") == []


def test_a_tape_stopped_in_mid_picture_is_a_look_and_one_with_an_empty_end_is_not(tmp_path):
    write(tmp_path / "a.avi", SHORT, Form("uyvy"))
    assert [one.verdict for one in named(check(tmp_path / "a.avi"), "ends_early")] == ["look"]
    write(tmp_path / "b.avi", Tape(pictures=30, seed=71, blue=((20, 30),)), Form("uyvy"))
    assert named(check(tmp_path / "b.avi"), "ends_early") == []


def test_damage_in_the_middle_is_corrupt_and_what_lies_around_it_is_kept(tmp_path):
    write(tmp_path / "a.mkv", Tape(pictures=12, seed=73, lines=288), Form("ffv1"))
    assert named(check(tmp_path / "a.mkv"), "corrupt") == []
    data = bytearray((tmp_path / "a.mkv").read_bytes())
    data[len(data) // 2] ^= 0x5A  # one byte inside a slice: only its checksum knows
    (tmp_path / "a.mkv").write_bytes(data)
    report = check(tmp_path / "a.mkv")
    (found,) = named(report, "corrupt")
    assert value(report, "frames") == 12 and found.verdict == "redo"
    assert 0.1 < found.from_s < 0.4


SHAPES = [(576, (12, 11), None), (576, (16, 15), None), (576, (59, 54), None), (576, None, "wrong_shape.unstated"),
          (576, (1, 1), "wrong_shape.flag"), (480, (1, 1), "wrong_shape.flag"), (480, (10, 11), None),
          (480, (8, 9), None), (576, (64, 45), "wrong_shape.wide")]  # fmt: skip


@pytest.mark.parametrize(("lines", "shape", "says"), SHAPES)
def test_shape_of_the_picture(tmp_path, lines, shape, says):
    """Hand arithmetic: displayed width over height = 720 x shape / lines, 1.29 to 1.40 is a tape's."""
    from fractions import Fraction

    tape = Tape(pictures=2, lines=lines, seed=74)
    write(tmp_path / "a.mov", tape, Form("v210", shape=Fraction(*shape) if shape else None))
    found = named(check(tmp_path / "a.mov"), "wrong_shape")
    assert [one.says for one in found] == ([says] if says else []) and all(
        one.verdict == ("good" if one.says.endswith("unstated") else "look") for one in found
    )


def test_sound_at_a_wrong_rate_is_told_so_when_its_codec_rounds_its_length_up():
    """44.1 kHz written as 48 in 2.4 s: 2.4 x 44.1 / 48 = 2.205 s, in AAC frames of 1024 samples 2.21867 s."""
    slip = Drift(drift_ms=1000 * (104 * 1024 / 48000 - 2.4), offset_ms=0.0, shape="slope")
    (found,) = judge_drift(slip, 104 * 1024 / 48000, load_rows())
    assert (found.says, found.verdict) == ("sound_drift.slope", "redo")
