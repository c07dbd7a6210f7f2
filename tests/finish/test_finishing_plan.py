"""Settings from rows and figures: hand arithmetic."""

from fractions import Fraction

import pytest
from make.captures import report_of

from takeup.plan.finishing import (
    Heard,
    plan_colour,
    plan_field_order,
    plan_gain,
    plan_mend,
    plan_shape,
    plan_shown_size,
    plan_trim,
    plan_video_master,
)
from takeup.plan.mending import plan_mends
from takeup.streams import Finding, PictureStream, Trace
from takeup.tables.loader import load_rows

ROWS = load_rows()


def picture(codec="v210", width=720, height=576, shape=None, order=None, lossy=False):
    return PictureStream(
        codec=codec, width=width, height=height, rate=Fraction(25), pixel_format="yuv422p10le", bits=10, shape=shape,
        field_order=order, lossy=lossy, pictures_stated=None, seconds_stated=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("sides", "db", "set_by"),
    [
        ([(-30, -20), (-26, -14)], 8, "loudness"),  # -26 + 8 = -18; -14 + 8 = -6
        ([(-30, -9), (-26, -5)], 4, "peak"),  # -5 + 4 = -1
        ([(-60, -50)], 20, "most"),  # 42 wanted, 49 of room
        ([(-10, 0.5)], -8, "loudness"),
        ([(None, None)], 0, "silence"),
        ([(None, -80), (-20, -10)], 2, "loudness"),
    ],
)
def test_gain_is_one_for_all_sides(sides, db, set_by):
    gain = plan_gain([Heard(lufs=lufs, true_peak_dbtp=peak) for lufs, peak in sides], ROWS)
    assert (gain.db, gain.set_by) == (pytest.approx(db), set_by)


def trace(*stretches):
    """Steps of 0.1 s: (seconds, level 0..100, recorded)."""
    level, recorded = b"", b""
    for seconds, value, flag in stretches:
        level += bytes([value]) * round(seconds * 10)
        recorded += bytes([flag]) * round(seconds * 10)
    return report_of(seconds=len(level) / 10, trace=Trace(level=level, recorded=recorded))


def test_trim_keeps_a_second_before_and_two_after():
    report = trace((5, 0, 0), (20, 70, 1), (10, 2, 0))
    assert plan_trim(report, 35.0, ROWS) == (pytest.approx(4.0), pytest.approx(27.0))


def test_trim_pauses_inside_stay():
    assert plan_trim(trace((5, 70, 1), (30, 0, 0), (5, 70, 1)), 40.0, ROWS) is None


def test_trim_never_cuts_what_is_near_the_programme():
    assert plan_trim(trace((5, 50, 0), (20, 70, 1), (5, 0, 0)), 30.0, ROWS) is None


def test_trim_without_a_trace_or_a_recording_keeps_all():
    assert plan_trim(None, 30.0, ROWS) is None
    assert plan_trim(report_of(seconds=30.0), 30.0, ROWS) is None
    assert plan_trim(trace((30, 0, 0)), 30.0, ROWS) is None


def test_mend_only_what_the_check_said():
    missing = report_of("sound", 1.0, Finding(name="channel_missing", verdict="look", again="no"))
    turned = report_of("sound", 1.0, Finding(name="channel_antiphase", verdict="look", again="no"))
    assert plan_mend(missing, 2, (-80.0, -6.0)) == "right-only"
    assert plan_mend(missing, 2, (-6.0, -80.0)) == "left-only"
    assert plan_mend(turned, 2, ()) == "turn-right"
    assert plan_mend(report_of(), 2, (-80.0, -6.0)) == "none"
    assert plan_mend(missing, 1, (-80.0,)) == "none"


def test_field_order_measured_before_stated_before_habit():
    seen = report_of("video", 1.0, field_order="bottom")
    assert (plan_field_order(seen, picture(order="top"), ROWS).value, "measured") == ("bottom", "measured")
    assert plan_field_order(report_of(field_order=None), picture(order="top"), ROWS).by == "stated"
    assert plan_field_order(None, picture(), ROWS).value == "top"
    assert plan_field_order(None, picture(codec="dvvideo"), ROWS).value == "bottom"
    assert plan_field_order(None, picture(width=1280, height=720), ROWS).value == "progressive"


@pytest.mark.parametrize("lines", [480, 486, 576])
def test_shape_of_a_tape_is_four_to_three_where_nothing_is_stated(lines):
    for stated in (None, Fraction(1)):
        shape, by = plan_shape(picture(height=lines, shape=stated), ROWS)
        assert by == "habit" and 1.29 <= 720 * shape / lines <= 1.40


def test_shape_that_is_stated_stays():
    assert plan_shape(picture(shape=Fraction(16, 11)), ROWS) == (Fraction(16, 11), "stated")
    assert plan_shape(picture(width=640, height=480), ROWS) == (Fraction(1), "habit")


def test_master_way_by_codec():
    ways = {
        codec: plan_video_master(picture(codec), "mkv", ROWS)
        for codec in ("v210", "rawvideo", "ffv1", "h264", "dvvideo")
    }
    assert ways == {"v210": "coded", "rawvideo": "coded", "ffv1": "as-it-is", "h264": "as-it-is", "dvvideo": "as-it-is"}
    assert plan_video_master(picture("ffv1"), "avi", ROWS) == "rewrapped"


def test_colour_is_stated_only_for_television_lines():
    assert (
        plan_colour(576, ROWS) == (5, 6, 5)
        and plan_colour(480, ROWS) == (6, 6, 6)
        and plan_colour(700, ROWS) == (2, 2, 2)
    )


def test_shown_size_has_square_pixels():
    assert plan_shown_size(720, 576, Fraction(16, 15), 10**6) == (768, 576)
    assert plan_shown_size(720, 576, Fraction(16, 15), 384) == (384, 288)


@pytest.mark.parametrize(
    ("asked", "only", "wanted"),
    [
        (("dust",), None, (("dust",), {})),
        (("dust",), ["1"], (("fading",), {"1": ("dust",), "2": ("fading",)})),  # the lab's for a copy yet to come
        (None, None, (("fading",), {"1": (), "2": ("fading",)})),
    ],
)
def test_each_copy_of_a_scan_keeps_what_was_asked_for_it(asked, only, wanted):
    before = {"1": (), "2": ("fading",)}
    assert plan_mends("scan", "print", asked=asked, lab=("fading", "hum"), before=before, only=only) == wanted


def test_a_cassettes_copies_keep_what_was_asked_whatever_the_lab_does():
    assert plan_mends("sound", "cassette", asked=None, lab=("hum",), before={"1": ("speed",)}) == (("speed",), {})
    assert plan_mends("sound", "cassette", asked=None, lab=("hum", "dust")) == (("hum",), {})
