"""A MOV without its index, still growing or never closed: found picture by picture, and the same as with its index."""

import dataclasses
import threading
import time
from fractions import Fraction

import numpy as np
import pytest
from make.unindexed import packets, pcm, write_unindexed
from make.video import NTSC, Form, Tape, programme, render, write
from make.video_check import check, named

from takeup.media.moving import Picture, look_at_moving, read_moving
from takeup.media.moving_live import look_at_open_mov, may_be_told, open_without_index
from takeup.media.moving_unindexed import Pieces, learn_layout
from takeup.streams import Original
from takeup.tasks.checking import Asked
from takeup.tasks.follow import follow

PAL = Fraction(25)
COUNT = 8


@pytest.fixture(scope="module")
def tapes():
    return {
        name: list(render(Tape(pictures=COUNT, lines=lines, seed=31, **more)))
        for name, lines, more in (
            ("576", 576, {}),
            ("486", 486, {}),
            ("480", 480, {}),
            ("snow", 576, {"snow": ((0, COUNT),)}),
            ("black", 576, {"black": ((0, COUNT),)}),
            ("blue", 486, {"blue": ((0, COUNT),)}),
        )
    }


def noise(seconds, channels):
    return np.random.default_rng(3).uniform(-0.9, 0.9, (int(seconds * 48000), channels))


CASES = [
    # form, tape, channels, bytes a sample, high byte first, pictures together, sound first, sound
    ("v210", "576", 2, 2, False, 1, False, programme),
    ("v210", "486", 2, 3, True, 1, False, programme),
    ("v210", "snow", 2, 2, True, 2, False, noise),
    ("v210", "black", 2, 2, False, 1, True, programme),
    ("uyvy", "576", 4, 2, False, 1, True, programme),
    ("uyvy", "blue", 2, 2, False, 1, False, noise),
    ("uyvy", "480", 1, 3, False, 1, False, noise),
    ("yuyv", "576", 2, 2, False, 1, False, programme),
    ("dv", "576", 2, 2, True, 3, False, programme),
    ("dv525", "480", 2, 3, False, 1, True, programme),
]


@pytest.mark.parametrize("form,tape,channels,width,big,together,first,sound", CASES)
def test_every_picture_and_piece_of_sound_is_found(
    tmp_path, tapes, form, tape, channels, width, big, together, first, sound
):
    """Truth by construction: the places that were written."""
    rate = PAL if len(tapes[tape][0][0]) == 576 else NTSC
    samples = pcm(sound(COUNT / float(rate), channels=channels), width, big=big)
    path = tmp_path / "a.mov"
    written = write_unindexed(
        path, packets(tapes[tape], form, rate), samples, rate, together=together, sound_first=first
    )
    layout = learn_layout(path)
    assert layout is not None and (layout.height, layout.rate) == (len(tapes[tape][0][0]), rate)
    shape = layout.sound
    assert (shape.rate_hz, shape.channels, shape.sample_bytes, shape.big_endian) == (48000, channels, width, big)
    with path.open("rb") as file:
        pieces = list(Pieces(file, layout, lambda _: written.end))
    assert tuple(one.at for one in pieces if one.kind == "picture") == written.pictures
    assert tuple((one.at, one.length) for one in pieces if one.kind == "sound") == written.sound


@pytest.mark.parametrize("codec", ["h264", "random"])
def test_what_does_not_tell_is_not_guessed(tmp_path, codec):
    path = tmp_path / "a.mov"
    body = np.random.default_rng(1).integers(0, 256, 4 << 20, np.uint8).tobytes()
    if codec == "h264":
        write(tmp_path / "b.mov", Tape(pictures=6, seed=9, noise=9.0), Form("h264"))
        data = (tmp_path / "b.mov").read_bytes()
        body = (data[data.index(b"mdat") + 4 : data.rindex(b"moov") - 4] * 40)[: 4 << 20]
    path.write_bytes(b"\0\0\0\x14ftypqt  \0\0\x02\0qt  \0\0\0\x08wide\0\0\0\0mdat" + body)
    assert open_without_index(path)
    assert look_at_open_mov(path) is None and not may_be_told(path)


@pytest.mark.parametrize("codec", ["v210", "dv"])
def test_a_crashed_capture_is_read_as_far_as_it_goes(tmp_path, tapes, codec):
    """Written by libav, cut in mid picture: every whole picture comes back bit by bit, and all sound before it."""
    sound = programme(COUNT / 25)
    write(tmp_path / "whole.mov", iter(tapes["576"]), Form(codec, shape=None), sound)
    data = (tmp_path / "whole.mov").read_bytes()
    at = data.index(b"mdat")
    cut = tmp_path / "cut.mov"
    cut.write_bytes(data[: at - 4] + bytes(4) + data[at : data.rindex(b"moov") - 60_000])
    capture = look_at_moving(cut)
    assert capture.unclosed and "index-made" in capture.notes
    kept, whole = (
        [one for one in read_moving(path, look_at_moving(path)) if isinstance(one, Picture)]
        for path in (cut, tmp_path / "whole.mov")
    )
    assert len(kept) == COUNT - 1
    for one, other in zip(kept, whole):
        assert one.at_s == other.at_s and all(np.array_equal(a, b) for a, b in zip(one.planes, other.planes))
    report = check(cut)
    assert report.measures["frames"].value == COUNT - 1 and named(report, "ends_early")[0].verdict == "redo"


@pytest.mark.parametrize("codec", ["v210", "uyvy", "dv"])
def test_a_growing_mov_is_measured_while_it_grows(tmp_path, tapes, codec):
    """The findings and figures in the end are those of the finished file; pictures are told before it is closed."""
    whole, growing = tmp_path / "whole.mov", tmp_path / "growing.mov"
    write(whole, iter(tapes["576"]), Form(codec, shape=None), programme(COUNT / 25))
    data = whole.read_bytes()
    at, end = data.index(b"mdat") - 4, data.rindex(b"moov") - 4
    told, seen = [], threading.Event()

    def emit(event, facts, finding):
        told.append((event, facts, finding))
        if event == "progress" and facts["seconds"]:
            seen.set()

    def grow():
        with growing.open("wb") as file:
            file.write(data[:at] + bytes(4) + data[at + 4 : end])
            file.flush()
            assert seen.wait(30)  # a picture was measured although no index is there
            file.write(data[end:])
            file.seek(at)
            file.write(data[at : at + 4])

    writer = threading.Thread(target=grow)
    writer.start()
    while not growing.exists() or growing.stat().st_size < end:
        time.sleep(0.01)
    asked = Asked(original=Original(id="t1", carrier="vhs"))
    report = follow(growing, asked, 2.0, emit)  # the writer may be kept waiting by other work for longer than a moment
    writer.join()
    assert seen.is_set()
    finished = check(whole)
    assert report.measures == finished.measures and report.findings == finished.findings
    assert dataclasses.replace(report.trace) == finished.trace
