"""Files that are no clean capture: a right answer, or one plain sentence; never a stack of code."""

from fractions import Fraction

import av
import numpy as np
import pytest
from make.command import takeup
from make.tiny import sound_samples, write_moving, write_wav
from make.video import Form, Tape, file_for, programme, write
from make.video_check import check, named

COUNT = 10


def text(folder):
    (folder / "a.mov").write_text("Dear Sir, this is no film.\n" * 50)
    return folder / "a.mov"


def nothing(folder):
    (folder / "a.avi").write_bytes(b"")
    return folder / "a.avi"


def zeros(folder):
    (folder / "a.mkv").write_bytes(bytes(100_000))
    return folder / "a.mkv"


def head_alone(folder):
    (folder / "a.avi").write_bytes(b"RIFF\0\0\0\0AVI LIST" + bytes(400))
    return folder / "a.avi"


def sound_alone(folder):
    """Sound in a container of moving pictures."""
    with av.open(str(folder / "a.mkv"), "w") as file:
        track = file.add_stream("pcm_s16le", rate=48000, layout="stereo")
        block = np.round(sound_samples(1.0) * 32767).astype(np.int16).reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(block, format="s16", layout="stereo")
        frame.sample_rate = 48000
        file.mux(track.encode(frame))
    return folder / "a.mkv"


def wave_renamed(folder):
    write_wav(folder / "b.wav", sound_samples(1.0)).rename(folder / "a.mov")
    return folder / "a.mov"


def stamp_sized(folder):
    return write_moving(folder / "a.mkv", COUNT, Fraction(25), size=(32, 32))


def empty_media_data(folder):
    (folder / "a.mov").write_bytes(b"\0\0\0\x14ftypqt  \0\0\x02\0qt  \0\0\0\x08wide\0\0\0\0mdat" + bytes(4 << 20))
    return folder / "a.mov"


@pytest.mark.parametrize(
    "make",
    [text, nothing, zeros, head_alone, sound_alone, wave_renamed, stamp_sized, empty_media_data],
    ids=lambda make: make.__name__,
)
def test_what_is_no_video_is_one_sentence(tmp_path, make):
    told = takeup("check", make(tmp_path), "--carrier", "vhs")
    assert told.status == 2 and len(told.err.strip().splitlines()) == 1 and told.out == ""


SHAPES = {
    "one picture": {"count": 1, "rate": Fraction(25)},
    "two pictures": {"count": 2, "rate": Fraction(25)},
    "odd size": {"count": COUNT, "rate": Fraction(25), "size": (359, 287), "pixels": "yuv444p"},
    "R'G'B'": {"count": COUNT, "rate": Fraction(25), "codec": "ffv1", "pixels": "bgr0", "size": (360, 288)},
    "with alpha": {"count": COUNT, "rate": Fraction(25), "codec": "ffv1", "pixels": "yuva422p", "size": (360, 288)},
    "grey": {"count": COUNT, "rate": Fraction(25), "codec": "ffv1", "pixels": "gray", "size": (360, 288)},
    "phone, 4K": {"count": 2, "rate": Fraction(30), "codec": "libx264", "pixels": "yuv420p", "size": (3840, 2160)},
    "upright phone": {
        "count": COUNT,
        "rate": Fraction(30),
        "codec": "libx264",
        "pixels": "yuv420p",
        "size": (360, 640),
    },
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_size_and_kind_of_picture_is_counted(tmp_path, shape):
    more = dict(SHAPES[shape])
    count, rate = more.pop("count"), more.pop("rate")
    path = write_moving(tmp_path / ("a.mp4" if more.get("codec") == "libx264" else "a.mkv"), count, rate, **more)
    report = check(path)
    assert report.measures["frames"].value == count
    assert report.seconds == pytest.approx(count / float(rate), abs=0.002)


def test_pictures_of_varying_length_are_lost_ones_told_with_their_places(tmp_path):
    path = file_for(tmp_path, "ffv1")
    form = Form("ffv1", stamps=lambda number: number + (number >= 5) * 3)
    write(path, Tape(pictures=COUNT, seed=8), form, programme(13 / 25))
    report = check(path)
    lost = named(report, "frames_lost")
    assert report.measures["frames"].value == COUNT and report.measures["lost_frames"].value == 3
    assert [(one.from_s, one.to_s) for one in lost] == [(0.2, 0.32)]


@pytest.mark.parametrize("codec", ["ffv1", "h264", "dv"])
def test_damage_in_the_middle_never_hides_the_rest(tmp_path, codec):
    path = file_for(tmp_path, codec)
    write(path, Tape(pictures=30, seed=12), Form(codec), programme(30 / 25))
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3000] = np.random.default_rng(1).integers(0, 256, 3000, np.uint8).tobytes()
    path.write_bytes(data)
    report = check(path)
    assert report.measures["frames"].value >= 27
    for one in named(report, "corrupt"):
        assert one.from_s is None or 0.3 <= one.from_s <= one.to_s <= 1.2
    if codec == "ffv1":
        assert named(report, "corrupt")


@pytest.mark.parametrize("ending", ["mkv", "avi"])
def test_a_file_that_was_never_closed_is_read_and_said_so(tmp_path, ending):
    """Cut in mid picture, its sizes never written, no index: as a crashed program leaves it."""
    path = tmp_path / f"a.{ending}"
    codec = "ffv1" if ending == "mkv" else "uyvy"
    write(path, Tape(pictures=COUNT, seed=14), Form(codec), programme(COUNT / 25))
    data = bytearray(path.read_bytes())
    if ending == "avi":
        at = data.index(b"avih")
        data[4:8], data[at + 24 : at + 28] = bytes(4), bytes(4)
        at = data.index(b"strh")
        data[at + 40 : at + 44] = bytes(4)
    else:
        at = data.index(b"\x18\x53\x80\x67") + 4
        data[at : at + 8] = b"\x01" + b"\xff" * 7
        while (at := data.find(b"\x44\x89\x88")) >= 0:
            data[at : at + 11] = b"\xec\x89" + bytes(9)
    path.write_bytes(data[: int(len(data) * 0.75)])
    report = check(path)
    ends = named(report, "ends_early")
    assert 6 <= report.measures["frames"].value <= 8
    assert [one.verdict for one in ends] == ["redo"]
