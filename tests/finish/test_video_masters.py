"""Video masters: every picture and sample of the capture. Planes are unpacked here by NumPy, not by our reader."""

from fractions import Fraction
from hashlib import sha256

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, write_tape

from takeup.errors import CopyDiffers
from takeup.media.moving_prove import prove, prove_packets, read_held
from takeup.media.moving_write import PictureTruth, rewrap, write_ffv1
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.finish import finish_box

NTSC = Fraction(30000, 1001)


def pictures_of(path):
    """Every picture's planes as they lie: luma, blue, red."""
    found = []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            deep = "10" in frame.format.name
            planes = []
            for plane in frame.planes:
                rows = np.frombuffer(plane, "<u2" if deep else np.uint8).reshape(plane.height, -1)
                planes.append(rows[:, : plane.width * (2 if frame.format.name == "uyvy422" else 1)].copy())
            if frame.format.name == "uyvy422":  # blue, luma, red, luma
                planes = [planes[0][:, 1::2], planes[0][:, 0::4], planes[0][:, 2::4]]
            found.append(planes)
    return found


def samples_of(path):
    with av.open(str(path)) as container:
        return np.concatenate([frame.to_ndarray().reshape(-1, 2) for frame in container.decode(audio=0)])


def finish(tmp_path, capture, report=None, keep="master", **original):
    box = captured_box(tmp_path / "box", [Original(id="v1", carrier="vhs", keep=keep, **original)])
    put_capture(box, "v1", capture, "", report or report_of("video", 1.0))
    return finish_box(box.folder, Settings())


@pytest.mark.parametrize(
    ("name", "tape"),
    [
        ("v210.mov", {"sound": "pcm_s24be"}),
        ("v210.avi", {}),
        ("uyvy.mov", {"codec": "rawvideo", "form": "uyvy422", "lines": 486, "rate": NTSC}),
        ("planar.avi", {"codec": "rawvideo", "form": "yuv420p", "lines": 480, "rate": NTSC}),
    ],
)
def test_master_of_an_uncompressed_capture_holds_every_code(tmp_path, name, tape):
    capture = write_tape(tmp_path / name, pictures=6, **tape)
    (made,) = finish(tmp_path, capture).made
    one, other = pictures_of(capture), pictures_of(made.made.path)
    assert len(one) == len(other) == made.made.settings["pictures"] == 6
    assert all(np.array_equal(a, b) for first, second in zip(one, other) for a, b in zip(first, second))
    assert np.array_equal(samples_of(capture), samples_of(made.made.path))


def test_master_says_order_shape_and_colour_truly(tmp_path):
    capture = write_tape(tmp_path / "t.mov", pictures=3)
    (made,) = finish(tmp_path, capture, report_of("video", 1.0, field_order="bottom")).made
    with av.open(str(made.made.path)) as container:
        stream = container.streams.video[0]
        coder = stream.codec_context
        assert (coder.name, coder.field_order, stream.sample_aspect_ratio) == ("ffv1", 3, Fraction(12, 11))
        assert (coder.color_primaries, coder.color_trc, coder.colorspace, coder.color_range) == (5, 6, 5, 1)
        assert container.streams.audio[0].codec_context.name == "pcm_s16le"
        times = [float(packet.pts * packet.time_base) for packet in container.demux(stream) if packet.pts is not None]
    assert times == pytest.approx([0, 0.04, 0.08], abs=0.001)
    assert made.made.settings["field_order_by"] == "measured" and made.made.settings["pixel_shape_by"] == "habit"


def test_master_every_slice_is_checked(tmp_path):
    """FFV1 level 3 with a checksum per slice: one changed byte in a picture is noticed by any decoder."""
    capture = write_tape(tmp_path / "t.mov", pictures=3)
    (made,) = finish(tmp_path, capture).made
    whole = made.made.path.read_bytes()
    with av.open(str(made.made.path)) as container:
        packet = next(p for p in container.demux(video=0) if p.size)
        at = whole.index(bytes(packet)[:64]) + packet.size // 2
    broken = tmp_path / "broken.mkv"
    broken.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
    with av.logging.Capture() as logs, av.open(str(broken)) as container:
        av.logging.set_level(av.logging.ERROR)
        container.streams.video[0].thread_count = 1
        list(container.decode(video=0))
    av.logging.set_level(None)
    assert any("CRC" in message for _, _, message in logs)
    assert made.made.settings["slices"] == 16 and made.made.settings["level"] == 3


@pytest.mark.parametrize(
    ("name", "codec", "form", "sound"),
    [
        ("t.avi", "dvvideo", "yuv420p", "pcm_s16le"),
        ("t.mp4", "libx264", "yuv420p", "aac"),
        ("t.mkv", "ffv1", "yuv422p", "pcm_s16le"),
    ],
)
def test_capture_that_is_packed_already_is_kept_byte_for_byte(tmp_path, name, codec, form, sound):
    capture = write_tape(tmp_path / name, codec=codec, form=form, sound=None if sound == "aac" else sound)
    (made,) = finish(tmp_path, capture).made
    assert made.made.path.read_bytes() == capture.read_bytes()
    assert bool(made.made.notes) is (codec != "ffv1")  # lossy is said


def test_lossless_capture_in_another_container_keeps_its_packets(tmp_path):
    capture = write_tape(tmp_path / "t.avi", codec="ffv1", form="yuv422p")
    (made,) = finish(tmp_path, capture).made

    def packets(path):
        with av.open(str(path)) as container:
            return [bytes(packet) for packet in container.demux(video=0) if packet.size]

    assert made.made.path.suffix == ".mkv" and packets(made.made.path) == packets(capture)


def test_packets_of_another_capture_are_no_proof(tmp_path):
    """Re-wrapped packets are compared one by one: another picture, a missing one, another sound are all noticed."""
    tape = {"codec": "ffv1", "form": "yuv422p", "pictures": 3, "lines": 96}
    capture = write_tape(tmp_path / "t.avi", **tape)
    rewrap(capture, tmp_path / "same.mkv", container="matroska", metadata={})
    assert prove_packets(capture, tmp_path / "same.mkv", lambda _: None).pictures == 3
    for name, other in {"seed": {"seed": 9}, "count": {"pictures": 2}, "sound": {"tone": False}}.items():
        rewrap(write_tape(tmp_path / "o.avi", **(tape | other)), tmp_path / f"{name}.mkv", container="matroska")
        with pytest.raises(CopyDiffers) as caught:
            prove_packets(capture, tmp_path / f"{name}.mkv", lambda _: None)
        assert caught.value.key == ("finish.sound-differs" if name == "sound" else "finish.pictures-differ")


def test_gap_in_time_stays_a_gap(tmp_path):
    """Two pictures were lost between the 5th and 6th: the master's clock shows it as the capture's does."""
    capture = write_tape(tmp_path / "t.mov", lines=96, lost=(5, 6))
    (made,) = finish(tmp_path, capture).made
    with av.open(str(made.made.path)) as container:
        times = [round(float(frame.time), 3) for frame in container.decode(video=0)]
    assert times == [0, 0.04, 0.08, 0.12, 0.16, 0.28, 0.32, 0.36, 0.4, 0.44]


def test_proof_refuses_another_picture_or_sample_or_a_missing_one(tmp_path):
    truth = PictureTruth(pixel_format="yuv422p10le", order="top", shape=Fraction(12, 11))
    capture = write_tape(tmp_path / "t.mov", pictures=4)
    others = {
        "pictures": write_tape(tmp_path / "o1.mov", pictures=4, seed=9),
        "count": write_tape(tmp_path / "o2.mov", pictures=3),
        "sound": write_tape(tmp_path / "o3.mov", pictures=4, tone=False),
    }
    own = read_held(capture, lambda _: None)
    for name, other in others.items():
        write_ffv1(other, tmp_path / f"{name}.mkv", truth, {"level": "3"}, lambda _: None)
        with pytest.raises(CopyDiffers):
            prove(own, capture, tmp_path / f"{name}.mkv", lambda _: None)
    held = write_ffv1(capture, tmp_path / "same.mkv", truth, {"level": "3"}, lambda _: None)
    prove(held, capture, tmp_path / "same.mkv", lambda _: None)
    assert held.pictures == own.pictures == 4 and held.marks == own.marks and held.sound() == own.sound()


def test_sound_before_the_picture_in_the_file_changes_nothing(tmp_path):
    """Some programs write the sound as the first track: the last pictures come out of the decoder all the same."""
    capture = write_tape(tmp_path / "t.mov", pictures=7, lines=96, sound_first=True)
    with av.open(str(capture)) as container:
        assert [stream.type for stream in container.streams] == ["audio", "video"]
    (made,) = finish(tmp_path, capture).made
    assert made.made.settings["pictures"] == 7 == len(pictures_of(made.made.path))


def test_pictures_of_the_master_have_the_digest_that_its_answer_names(tmp_path):
    """SHA-256 over every picture's planes one after another, as anybody can work it out."""
    capture = write_tape(tmp_path / "t.mov", pictures=3, lines=96)
    (made,) = finish(tmp_path, capture).made
    digest = sha256(b"".join(plane.tobytes() for planes in pictures_of(made.made.path) for plane in planes))
    assert made.made.settings["pictures_sha256"] == digest.hexdigest()


def test_capture_cut_off_gives_what_is_there(tmp_path):
    capture = write_tape(tmp_path / "t.avi", codec="rawvideo", form="yuv422p", lines=240)
    capture.write_bytes(capture.read_bytes()[: int(capture.stat().st_size * 0.6)])
    (made,) = finish(tmp_path, capture).made
    assert 6 <= made.made.settings["pictures"] <= 8
