"""Files damaged or cut with known truth, codecs that complain of nothing, and codes that reach from 0 to 255."""

import numpy as np
import pytest
from make.video import Form, Tape, file_for, programme, write
from make.video_check import bad, check, named, value

PICTURE = 144000  # bytes of a DV picture of 625 lines: 12 sequences of 150 blocks of 80
TAPE = Tape(pictures=10, seed=91, top_first=False)


@pytest.fixture(scope="module")
def dv(tmp_path_factory):
    folder = tmp_path_factory.mktemp("dv")
    for name in ("a.avi", "a.dv"):
        write(folder / name, TAPE, Form("dv", shape=None, order=None), programme(0.4))
    return folder


def changed(source, target, at, data):
    whole = bytearray(source.read_bytes())
    whole[at : at + len(data)] = data
    target.write_bytes(whole)
    return check(target)


@pytest.mark.parametrize("name", ["a.avi", "a.dv"])
@pytest.mark.parametrize("data", [bytes(4096), np.random.default_rng(1).bytes(4096)], ids=["zero", "noise"])
def test_a_spoiled_stretch_of_a_dv_picture_is_corrupt_at_its_time(dv, tmp_path, name, data):
    """Picture 5 lasts from 0.20 s to 0.24 s; the stretch begins in the middle of it."""
    at = 5 * PICTURE + 70000
    if name == "a.avi":  # the first frame lies behind its head, others behind one sound block each
        at = (dv / name).read_bytes().index(b"movi") + 5 * (PICTURE + 8 + 7680 + 8) + 70000
    report = changed(dv / name, tmp_path / name, at, data)
    (found,) = named(report, "corrupt")
    assert found.verdict == "redo" and value(report, "frames") == 10
    assert (found.from_s, found.to_s) == (pytest.approx(0.2, abs=0.041), pytest.approx(0.24, abs=0.041))
    assert named(check(dv / name), "corrupt") == []


def test_a_dv_stream_cut_in_mid_picture_ends_early_and_half_a_picture_is_not_counted(dv, tmp_path):
    (tmp_path / "a.dv").write_bytes((dv / "a.dv").read_bytes()[: 6 * PICTURE + 90000])
    report = check(tmp_path / "a.dv")
    (found,) = named(report, "ends_early")
    assert (found.says, found.verdict, found.from_s) == ("ends_early.broken", "redo", pytest.approx(0.24))
    assert value(report, "frames") == 6 and bad(report) == set()


def test_an_overwritten_chunk_head_is_damage_and_no_picture_lost_by_the_station(dv, tmp_path):
    whole = (dv / "a.avi").read_bytes()
    at = whole.index(b"movi") + 4
    for _ in range(6):  # the sixth picture's own head
        at = whole.index(b"01dc", at + 4)
    report = changed(dv / "a.avi", tmp_path / "a.avi", at - 200, bytes(2000))
    assert named(report, "corrupt") and not named(report, "frames_lost") and not named(report, "sound_drift")


def test_what_cannot_be_read_while_the_file_goes_on_is_damage_and_no_cut_end(tmp_path):
    """H.264 in Matroska: where an element's head is spoiled, nothing behind it in its cluster can be read."""
    path = tmp_path / "a.mkv"
    write(path, Tape(pictures=24, seed=92, lines=288), Form("h264"), programme(0.96))
    middle = path.stat().st_size // 2
    report = changed(path, path, middle, bytes(len(path.read_bytes()) // 8))
    (found,) = named(report, "corrupt")
    assert found.verdict == "redo" and 0 < found.from_s < found.to_s <= 1.0
    assert [one.verdict for one in named(report, "ends_early")] != ["redo"]


def test_black_and_white_of_a_full_range_file_are_not_cut_off(tmp_path):
    """The same codes, once as they are and once in a file that says 0 is black and 255 white."""
    tape = Tape(pictures=5, gain=1.3, offset=-24, seed=43)
    for name, options in (("a.mp4", {"color_range": "pc"}), ("b.mp4", {})):
        write(tmp_path / name, tape, Form("h264", options=options))
    report = check(tmp_path / "a.mp4")
    assert named(report, "levels") == [] and value(report, "beyond_limits") == 0
    assert named(check(tmp_path / "b.mp4"), "levels")


def test_a_camera_that_stops_at_once_leaves_a_still_shot_and_no_frozen_picture(tmp_path):
    """Coarse H.264 takes most of the tape's noise; what is left still tells a still shot from a held picture.

    One thread: with several the coder makes another file each time, and of 23 such files one was called frozen.
    """
    moving = Tape(pictures=30, seed=94, noise=1.0, jitter_px=0.1, scene=_stopping(24))
    write(file_for(tmp_path, "h264"), moving, Form("h264", options={"crf": "23", "threads": "1"}))
    assert named(check(file_for(tmp_path, "h264")), "frozen") == []


def _stopping(last):
    """Boxes under a camera that stands still from field ``last`` on; a picture of the world at a field's time."""
    rng = np.random.default_rng(6)
    luma = np.kron(rng.uniform(30, 220, (20, 30)), np.ones((36, 40))).astype(np.float32)
    grey = np.full((576, 720), 128, np.float32)

    def scene(field):
        at = int(2 * min(field, last))
        return luma[at : at + 576, at : at + 720], grey, grey

    return scene
