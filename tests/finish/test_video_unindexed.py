"""A capture whose program crashed before it wrote an index becomes a master and a copy as far as it goes."""

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of
from make.video import Form, Tape, programme, render, write

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.finish import finish_box
from takeup.tasks.looking import stills_at


def crashed(path):
    """The file without its index, and its media data of no known size, as on the disk of a program that crashed."""
    data = path.read_bytes()
    at = data.index(b"mdat")
    cut = path.with_name("crashed.mov")
    cut.write_bytes(data[: at - 4] + bytes(4) + data[at : data.rindex(b"moov") - 4])
    with pytest.raises(av.FFmpegError):
        av.open(str(cut))
    return cut


def pictures_of(path):
    with av.open(str(path)) as container:
        return [frame.to_ndarray().tobytes() for frame in container.decode(video=0)]


@pytest.fixture(scope="module")
def tape():
    return list(render(Tape(pictures=12, seed=23)))


@pytest.mark.parametrize(("codec", "ending", "kept"), [("v210", ".mkv", "FFV1"), ("dv", ".mov", "its own packets")])
def test_a_crashed_capture_is_finished_as_far_as_it_goes(tmp_path, tape, codec, ending, kept):
    whole = tmp_path / "t.mov"
    write(whole, iter(tape), Form(codec), programme(12 / 25))
    cut = crashed(whole)
    box = captured_box(tmp_path / "box", [Original(id="v1", carrier="vhs", label="Beach")])
    stored = put_capture(box, "v1", cut, "", report_of("video", 12 / 25, field_order="top"))
    before = box.path(stored).read_bytes()
    done = finish_box(box.folder, Settings())
    assert not done.skipped, [(one.why, one.fault and one.fault.facts) for one in done.skipped]
    copy, master = sorted((one.made for one in done.made), key=lambda one: one.role)
    assert master.path.suffix == ending and kept in str(dict(master.settings))
    assert pictures_of(master.path) == pictures_of(whole)
    with av.open(str(copy.path)) as container:
        sound = np.concatenate([frame.to_ndarray()[0] for frame in container.decode(audio=0)])
        assert len(sound) / 48000 == pytest.approx(12 / 25, abs=0.05)
    assert copy.settings["pictures"] == 24
    assert stills_at(box.path(stored), [0.2]) and box.path(stored).read_bytes() == before
