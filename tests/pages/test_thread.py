"""The thread: places by hand arithmetic, shapes by what looks.md fixes for each verdict."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from make.family import still, talk

from takeup.pages.knots import knots
from takeup.pages.thread import Size, thread
from takeup.streams import Finding, Report, Trace


def report(seconds: float, *findings: Finding, trace: Trace | None = None) -> Report:
    return Report(medium="sound", seconds=seconds, measures={}, findings=findings, trace=trace or talk(seconds))


def at(from_s: float | None, verdict: str = "look", to_s: float | None = None) -> Finding:
    again = "helps" if verdict == "redo" else "no"
    return Finding(name="dropout", verdict=verdict, again=again, from_s=from_s, to_s=to_s)  # type: ignore[arg-type]


def drawn(*reports: Report, **wishes) -> ElementTree.Element:
    return ElementTree.fromstring(str(thread(reports, **wishes)))


def test_knots_place_is_the_share_of_the_length():
    """450 s of 1800 s is a quarter; it lasts to 900 s, the half."""
    (knot,) = knots([report(1800, at(450, to_s=900))], apart=0.02)
    assert (knot.at, knot.to) == (0.25, 0.5)


def test_knots_second_capture_stands_after_the_first():
    """600 s into the second of two captures of 900 s: 1500 / 1800."""
    (knot,) = knots([report(900), report(900, at(600))], apart=0.02)
    assert knot.at == pytest.approx(1500 / 1800)


def test_knots_good_finding_has_none():
    assert knots([report(100, at(10, "good"))], apart=0.02) == []


def test_knots_that_touch_the_graver_stays():
    kept = knots([report(1000, at(500), at(505, "redo"), at(900))], apart=0.05)
    assert [(knot.verdict, knot.at) for knot in kept] == [("redo", 0.505), ("look", 0.9)]


def test_knots_whole_file_finding_sits_at_the_beginning():
    (knot,) = knots([report(100, at(None))], apart=0.02)
    assert knot.at == 0.0 and knot.from_s is None


def test_thread_clean_capture_is_one_unbroken_line():
    lines = re.findall(r'<path d="M(\S+) \S+ H(\S+)" fill="none"', str(thread([report(600)])))
    assert lines == [("0.0", "960.0")]


def test_thread_redo_breaks_it_and_look_does_not():
    """At the middle of 960 units; the gap is 0.75 of a 26-unit knot to either side: 460.5 to 499.5."""
    svg = str(thread([report(600, at(300, "redo"))]))
    assert re.findall(r'<path d="M(\S+) \S+ H(\S+)" fill="none"', svg) == [("0.0", "460.5"), ("499.5", "960.0")]
    svg = str(thread([report(600, at(300))]))
    assert re.findall(r'<path d="M(\S+) \S+ H(\S+)" fill="none"', svg) == [("0.0", "960.0")]


def test_thread_unrecorded_tail_is_dotted_and_has_no_silhouette():
    """900 of 1200 s recorded: solid to 720 of 960, dotted after."""
    svg = str(thread([report(1200, trace=talk(1200, recorded_to=900))]))
    lines = re.findall(r'<path d="M(\S+) \S+ H(\S+)" fill="none" stroke="#\w+" ([^/]*)/>', svg)
    assert [(first, last, "dasharray" in dress) for first, last, dress in lines] == [
        ("0.0", "720.0", False),
        ("720.0", "960.0", True),
    ]
    (shape,) = re.findall(r'class="silhouette" stroke="#\w+" stroke-width="[\d.]+" d="([^"]*)"', svg)
    strokes = [(float(x), float(y)) for x, y in re.findall(r"M([\d.]+),([\d.]+)V", shape)]
    assert max(x for x, _ in strokes) < 720
    assert any(y < 40 for x, y in strokes if x < 700)


def test_thread_silent_capture_has_no_silhouette():
    silent = Trace(level=bytes(1000), recorded=bytes(1000))
    assert "silhouette" not in str(thread([report(100, trace=silent)]))


def test_thread_brightness_of_a_picture_is_no_silhouette():
    bright = Trace(level=bytes([180]) * 1000, recorded=bytes([1]) * 1000)
    video = Report(medium="video", seconds=100, measures={}, findings=(), trace=bright)
    assert "silhouette" not in str(thread([video]))


def test_thread_without_a_trace_is_drawn_solid():
    svg = str(thread([report(100, trace=Trace())]))
    assert "dasharray" not in svg and "silhouette" not in svg


@pytest.mark.parametrize("seconds", [0.4, 7, 61, 1800, 11000, 400000])
def test_thread_scale_begins_at_zero_and_ends_at_the_end(seconds):
    texts = [text.text for text in drawn(report(seconds, trace=Trace())).iter() if text.tag.endswith("text")]
    assert texts[0] == "0:00" and 2 <= len(texts) <= 10
    assert texts[-1] == f"{int(seconds) // 3600}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}".removeprefix(
        "0:" if seconds < 3600 else ""
    ).removeprefix("0" if seconds < 600 else "")


def test_thread_pictures_lie_in_the_order_of_time():
    svg = str(thread([report(100)], stills=[still(80.0, 1), still(5.0, 2)]))
    assert svg.count("<image") == 2 and "data:image/jpeg;base64," in svg


def test_thread_no_captures_or_no_length_draws_nothing_false():
    assert "tick" not in str(thread([]))
    assert "tick" not in str(thread([report(0.0, at(None), trace=Trace())]))


def test_thread_narrow_and_wide_hold_the_same_knots():
    one = report(600, at(100), at(400, "redo"))
    assert len(knots([one], apart=26 / 960)) == len(knots([one], apart=26 / 360)) == 2
    assert str(thread([one], size=Size(width=360))).count("<g ") == str(thread([one])).count("<g ")
