"""Everyday video: one picture a field, in order, in shape, in step with the sound. Truth: the scene that was woven."""

from fractions import Fraction

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, scene, write_tape

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.finish import finish_box

NTSC = Fraction(30000, 1001)


def finish(tmp_path, capture, **figures):
    box = captured_box(tmp_path / "box", [Original(id="v1", carrier="vhs", keep="copy", label="Beach")])
    put_capture(box, "v1", capture, "", report_of("video", 1.0, **figures))
    (made,) = finish_box(box.folder, Settings()).made
    return made.made


def luma_of(path):
    with av.open(str(path)) as container:
        frames = []
        for frame in container.decode(video=0):
            plane = frame.planes[0]
            frames.append(np.frombuffer(plane, np.uint8).reshape(plane.height, -1)[:, : plane.width].astype(int))
        return frames


@pytest.mark.parametrize(
    ("order", "lines", "rate", "shape"),
    [("top", 576, Fraction(25), Fraction(12, 11)), ("bottom", 576, Fraction(25), Fraction(12, 11)),
     ("bottom", 486, NTSC, Fraction(10, 11))],
)  # fmt: skip
def test_copy_shows_each_field_at_its_own_moment(tmp_path, order, lines, rate, shape):
    capture = write_tape(tmp_path / "t.mov", lines=lines, rate=rate, order=order, pictures=10)
    made = finish(tmp_path, capture, field_order=order)
    pictures = luma_of(made.path)
    assert len(pictures) == 20 and made.settings["pictures"] == 20
    right = [np.abs(pictures[n] - scene(float(n / (2 * rate)), lines)).mean() for n in range(2, 18)]
    wrong = [np.abs(pictures[n] - scene(float((n ^ 1) / (2 * rate)), lines)).mean() for n in range(2, 18)]
    assert max(right) < 8 and min(wrong) > 2 * max(right)
    with av.open(str(made.path)) as container:
        stream = container.streams.video[0]
        assert stream.average_rate == 2 * rate
        assert stream.sample_aspect_ratio == stream.codec_context.sample_aspect_ratio == shape
        assert 1.29 <= 720 * shape / lines <= 1.40
        assert (stream.codec_context.profile, stream.codec_context.pix_fmt) == ("High", "yuv420p")


def test_copy_of_whole_pictures_is_not_split_into_fields(tmp_path):
    capture = write_tape(tmp_path / "t.mov", pictures=8)
    made = finish(tmp_path, capture, field_order="progressive")
    assert len(luma_of(made.path)) == 8 and made.settings["deinterlaced"] is False


def test_copy_starts_at_once_and_can_be_entered_every_two_seconds(tmp_path):
    capture = write_tape(tmp_path / "t.mov", pictures=60, lines=96)
    made = finish(tmp_path, capture, field_order="top")
    data = made.path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")
    with av.open(str(made.path)) as container:
        keys = [float(p.pts * p.time_base) for p in container.demux(video=0) if p.size and p.is_keyframe]
    assert len(keys) >= 2 and max(np.diff([*sorted(keys), 2.4])) <= 2.0


@pytest.mark.parametrize("late_s", [0.0, 0.12, 0.4])
def test_copy_sound_stays_in_step_by_the_captures_clock(tmp_path, late_s):
    """The tone begins ``late_s`` after the first picture in the capture, and so it does in the copy."""
    tape = {"codec": "rawvideo", "form": "yuv422p", "pictures": 25, "lines": 192}
    capture = write_tape(tmp_path / "t.mkv", sound_late_s=late_s, **tape)
    made = finish(tmp_path, capture, field_order="top")
    with av.open(str(made.path)) as container:
        film = (container.streams.video[0], container.streams.audio[0])
        starts = [float(stream.start_time * stream.time_base) for stream in film]
        sound = np.concatenate([frame.to_ndarray()[0] for frame in container.decode(audio=0)])
    first = np.argmax(np.abs(sound) > 0.02) / 48000
    assert starts == pytest.approx([0, 0], abs=0.022) and first == pytest.approx(late_s, abs=0.022)


def test_copy_of_a_silent_film_has_no_sound_track(tmp_path):
    made = finish(tmp_path, write_tape(tmp_path / "t.mov", sound=None, pictures=5), field_order="top")
    with av.open(str(made.path)) as container:
        assert not container.streams.audio
        assert container.metadata["title"] == "Beach"


def test_dv_copy_uses_the_formats_own_order_and_shape(tmp_path):
    """DV states 16:15 for 576 lines and sends the bottom field first."""
    capture = write_tape(tmp_path / "t.avi", codec="dvvideo", form="yuv420p", order="bottom", pictures=8)
    made = finish(tmp_path, capture)
    assert (made.settings["field_order"], made.settings["pixel_shape"]) == ("bottom", "16/15")
    pictures = luma_of(made.path)
    right = np.mean([np.abs(pictures[n] - scene(n / 50, 576)).mean() for n in range(2, 14)])
    wrong = np.mean([np.abs(pictures[n] - scene((n ^ 1) / 50, 576)).mean() for n in range(2, 14)])
    assert right < wrong / 2
