"""The reader of moving pictures: what a file says of itself, samples as they lie, growing and broken files."""

import threading
import time
from fractions import Fraction

import numpy as np
import pytest
from make.video import NTSC, Form, Tape, coded, file_for, programme, render, write

from takeup.errors import Unreadable
from takeup.media.moving import Picture, can_follow, look_at_moving, read_moving

TAPE = Tape(pictures=6, seed=95, lines=160)
SOUND = programme(6 / 25)


@pytest.mark.parametrize("codec", ["v210", "ffv1", "uyvy", "raw"])
def test_lossless_codes_come_back_as_they_were_written(tmp_path, codec):
    """Truth by construction: the very arrays that were handed to the encoder."""
    path = tmp_path / "a.mkv" if codec == "raw" else file_for(tmp_path, codec)
    form = "yuv422p10le" if codec == "v210" else "yuv422p"
    pictures = list(render(TAPE))
    write(path, iter(pictures), Form(codec), SOUND)
    capture = look_at_moving(path)
    read = list(read_moving(path, capture))
    seen = [thing for thing in read if isinstance(thing, Picture)]
    assert len(seen) == 6 and capture.picture.bits == (10 if codec == "v210" else 8)
    for picture, planes in zip(seen, pictures):
        for got, want in zip(picture.planes, coded(planes, form)):
            assert np.array_equal(got, want)
    heard = np.concatenate([thing.samples for thing in read if not isinstance(thing, Picture)])
    assert np.allclose(heard, np.rint(SOUND * 32768) / 32768, atol=1e-6)


def test_what_the_file_does_not_say_stays_unsaid(tmp_path):
    write(tmp_path / "a.mkv", TAPE, Form("ffv1", shape=None, order=None))
    stream = look_at_moving(tmp_path / "a.mkv").picture
    assert stream.shape is None and stream.field_order is None and stream.rate == 25


def test_dv_says_its_shape_and_bottom_first(tmp_path):
    """check-values/video.md 1.2 and 1.3: DV 525 8:9, lower field first."""
    write(
        tmp_path / "a.avi",
        Tape(pictures=2, lines=480, top_first=False),
        Form("dv525", shape=None, order=None, rate=NTSC),
    )
    capture = look_at_moving(tmp_path / "a.avi")
    stream = capture.picture
    assert (capture.container, stream.shape, stream.field_order, stream.rate) == ("avi", Fraction(8, 9), "bottom", NTSC)


@pytest.mark.parametrize("codec", ["ffv1", "uyvy"])
def test_a_growing_file_is_followed_to_its_last_picture(tmp_path, codec):
    whole = file_for(tmp_path, codec)
    write(whole, TAPE, Form(codec), SOUND)
    data, growing = whole.read_bytes(), tmp_path / "growing"
    growing.write_bytes(data[: len(data) // 3])

    def grow():
        with growing.open("ab") as file:
            for part in np.array_split(np.frombuffer(data[len(data) // 3 :], np.uint8), 5):
                file.write(part.tobytes())
                file.flush()
                time.sleep(0.02)

    writer = threading.Thread(target=grow)
    capture = look_at_moving(growing)
    assert can_follow(capture)
    writer.start()
    things = list(read_moving(growing, capture, idle_s=0.5))
    writer.join()
    assert sum(isinstance(thing, Picture) for thing in things) == 6


@pytest.mark.parametrize("head", [b"\x1aE\xdf\xa3" + bytes(200), b"RIFF" + bytes(4) + b"AVI " + bytes(900)])
def test_a_head_without_a_body_is_told_plainly(tmp_path, head):
    (tmp_path / "a").write_bytes(head)
    with pytest.raises(Unreadable) as told:
        look_at_moving(tmp_path / "a")
    assert told.value.key == "capture.broken"


def test_a_mov_cut_before_its_index_is_told_plainly(tmp_path):
    write(tmp_path / "a.mov", TAPE, Form("v210"))
    data = (tmp_path / "a.mov").read_bytes()
    (tmp_path / "a.mov").write_bytes(data[: len(data) // 2])
    with pytest.raises(Unreadable):
        look_at_moving(tmp_path / "a.mov")
