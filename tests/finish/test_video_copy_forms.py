"""Forms of everyday copies: sizes by hand arithmetic, motion in even steps, remembered, made anew when changed."""

from fractions import Fraction

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, scene, tree, write_tape
from make.command import takeup

from takeup.errors import NotPossible
from takeup.media.moving_copy import CopyPlan, write_h264
from takeup.plan.copies import named_profiles, plan_copy_size, plan_every, plan_profile, profile_facts, profile_key
from takeup.plan.job import plan_job
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.finish import finish_box
from takeup.words.sentences import say

NTSC = Fraction(30000, 1001)
ROWS = load_rows()


def plan_of(**more):
    plain = {
        "order": "top", "shape": Fraction(12, 11), "crf": 12, "preset": "ultrafast", "profile": "high", "key_s": 2.0,
        "primaries": 5, "transfer": 6, "matrix": 5,
    }  # fmt: skip
    return CopyPlan(**(plain | more))


def luma_of(path):
    with av.open(str(path)) as container:
        return [
            np.frombuffer(frame.planes[0], np.uint8).reshape(frame.height, -1)[:, : frame.width].astype(float)
            for frame in container.decode(video=0)
        ]


@pytest.mark.parametrize(
    ("word", "size", "shape", "expected"),
    [
        ("720p30", (720, 576), Fraction(12, 11), (982, 720)),  # 720 x 12/11 x 720/576 = 981.8
        ("720p60", (720, 486), Fraction(10, 11), (970, 720)),  # 654.5 x 720/486 = 969.7
        ("576p25", (720, 480), Fraction(8, 9), (768, 576)),  # 640 x 576/480
        ("1080p50", (720, 576), Fraction(16, 11), (1964, 1080)),  # 1047.3 x 1.875 = 1963.6
        ("as-taped", (720, 576), Fraction(12, 11), None),
        ("", (720, 576), Fraction(12, 11), None),
    ],
)
def test_size_in_square_pixels(word, size, shape, expected):
    assert plan_copy_size(*size, shape, plan_profile(word, ROWS)) == expected


@pytest.mark.parametrize(
    ("word", "fields_per_s", "every", "shown"),
    [
        ("720p30", Fraction(50), 2, Fraction(25)),
        ("720p30", 2 * NTSC, 2, NTSC),
        ("720p60", Fraction(50), 1, Fraction(50)),
        ("576p50", 2 * NTSC, 1, 2 * NTSC),
        ("576p25", 2 * NTSC, 2, NTSC),
        ("480p24", Fraction(50), 2, Fraction(25)),
        ("as-taped", Fraction(50), 1, Fraction(50)),
        ("720p30", Fraction(25), 1, Fraction(25)),  # whole pictures
        ("720p30", Fraction(120), 4, Fraction(30)),
    ],
)
def test_only_whole_steps_of_fields_are_shown(word, fields_per_s, every, shown):
    assert plan_every(fields_per_s, plan_profile(word, ROWS)) == every and fields_per_s / every == shown


@pytest.mark.parametrize("word", ["720", "720i50", "721p30", "120p30", "2160p30", "720p31", "720p300", "best", "p30"])
def test_other_words_are_refused_in_one_sentence(word):
    with pytest.raises(NotPossible) as caught:
        plan_profile(word, ROWS)
    assert caught.value.key == "finish.no-such-copies"
    for lang in ("en", "zh-Hans"):
        sentence = say("faults", caught.value.key, lang, caught.value.facts)
        assert word in sentence and "720p30" in sentence and "\n" not in sentence


def test_every_form_says_what_it_costs_and_more_pictures_cost_more():
    for name in [*named_profiles(ROWS), "540p30"]:
        profile = plan_profile(name, ROWS)
        for lang in ("en", "zh-Hans"):
            sentence = say("answers", profile_key(profile), lang, profile_facts(profile))
            assert name in sentence and f"{profile.bytes_per_hour / 1e9:.1f} GB" in sentence
    costs = [plan_profile(name, ROWS) for name in ("480p30", "540p30", "720p30", "720p60", "1080p60")]
    assert [one.bytes_per_hour for one in costs] == sorted(one.bytes_per_hour for one in costs)
    work = [one.work_minutes_per_hour for one in costs if one.name != "540p30"]  # coded with more care than 720p30
    assert work == sorted(work)


@pytest.mark.parametrize(("every", "size"), [(1, (900, 240)), (2, (900, 240)), (2, None), (3, None)])
def test_pictures_are_those_moments_of_the_scene(tmp_path, every, size):
    """The scene passes from right to left: picture n is the scene at n x every / 50 s, resized by OpenCV."""
    import cv2

    capture = write_tape(tmp_path / "t.mov", pictures=9, sound=None, lines=192)
    made = write_h264(capture, tmp_path / "c.mp4", None, plan_of(every=every, size=size), {}, lambda _: None)
    pictures = luma_of(tmp_path / "c.mp4")
    assert len(pictures) == made.pictures == -(-18 // every) and made.rate == Fraction(50, every)
    assert pictures[0].shape == ((240, 900) if size else (192, 720))
    for n in range(1, len(pictures) - 1):
        moments = [scene((n * every + off) / 50, 192).astype(np.float32) for off in (-1, 0, 1)]
        moments = [cv2.resize(one, size, interpolation=cv2.INTER_LANCZOS4) for one in moments] if size else moments
        apart = [np.abs(pictures[n] - one)[:, 20:-20].mean() for one in moments]
        assert apart[1] < 9 and min(apart[0], apart[2]) > 1.8 * apart[1], (n, apart)
    with av.open(str(tmp_path / "c.mp4")) as container:
        stream = container.streams.video[0]
        times = [float(frame.time) for frame in container.decode(video=0)]
        assert stream.average_rate == Fraction(50, every)
        assert (stream.sample_aspect_ratio or 1) == (1 if size else Fraction(12, 11))
    assert times == pytest.approx([n * every / 50 for n in range(len(times))], abs=1e-4)


@pytest.fixture(scope="module")
def taped(tmp_path_factory):
    """A box with one small video, finished as the lab's setting has it."""
    folder = tmp_path_factory.mktemp("forms")
    box = captured_box(folder / "box", [Original(id="v1", carrier="vhs", label="Beach")])
    capture = write_tape(folder / "t.mov", pictures=6, lines=96)
    put_capture(box, "v1", capture, "", report_of("video", 0.24, field_order="top"))
    return box.folder, finish_box(box.folder, Settings(video_copy="240p30"))


def test_a_form_belongs_to_the_lab_until_somebody_asks_for_another(taped):
    folder, first = taped
    master, copy = (one.made for one in first.made)
    assert copy.settings["form"] == "240p30" and copy.settings["pictures"] == 6 and copy.settings["height"] == 240
    ((key, facts),) = [note for note in copy.notes if note[0].startswith("finish.every")]
    assert key == "finish.every-second-fields" and facts["rate"] == 25.0
    assert not finish_box(folder, Settings(video_copy="240p30")).made
    before = tree(folder / "masters")

    (lab,) = finish_box(folder, Settings(video_copy="240p60")).made  # the lab changed its mind: the copy alone anew
    assert lab.made.role == "copy" and lab.made.settings["form"] == "240p60" and lab.made.settings["pictures"] == 12
    (asked,) = finish_box(folder, Settings(video_copy="240p60"), copies="as-taped").made
    assert asked.made.settings["form"] == "as-taped" and not asked.made.notes
    assert not finish_box(folder, Settings(video_copy="240p30")).made  # what was asked for stays
    (back,) = finish_box(folder, Settings(video_copy="240p30"), copies="lab").made
    assert back.made.settings["form"] == "240p30" and tree(folder / "masters") == before
    assert not finish_box(folder, Settings(video_copy="240p30")).made


def test_command_says_the_form_or_refuses_it(taped):
    folder, _ = taped
    (made,) = takeup("finish", folder, "--json", "--copies", "240p60").json["made"]
    assert (made["settings"]["form"], made["settings"]["rate"], made["settings"]["height"]) == ("240p60", "50", 240)
    for arguments, more in ((["--copies", "best"], {}), ([], {"TAKEUP_VIDEO_COPY": "best"})):
        done = takeup("finish", folder, *arguments, **more)
        assert done.status == 2 and "best" in done.err and len(done.err.strip().splitlines()) == 1


def test_plan_has_the_bytes_of_the_labs_form():
    """An hour of tape as copies only: the drive's figure goes with the form's bytes an hour."""
    tape = [Original(id="v1", carrier="vhs", minutes=60, keep="copy")]
    copies = {
        name: plan_job(tape, ROWS, plan_profile(name, ROWS)).items[0].room.copy_bytes
        for name in ("as-taped", "720p30", "720p60")
    }
    hours = {name: plan_profile(name, ROWS).bytes_per_hour for name in copies}
    assert copies["as-taped"] == plan_job(tape, ROWS).items[0].room.copy_bytes
    for name, count in copies.items():
        assert count / copies["as-taped"] == pytest.approx(hours[name] / hours["as-taped"], rel=1e-6)
