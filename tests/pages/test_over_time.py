"""The drawing behind the thread: places by hand arithmetic, its small picture read back by another library (Pillow)."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from make.family import CLIPPED, WORN, sound_report, talk
from PIL import Image

from takeup.pages.capture import capture_picture
from takeup.pages.over_time import GUTTER, has_history, over_time, over_time_picture, reach_of, stretches_told
from takeup.pages.signs import DRESS, INK, QUIET, RAMP
from takeup.streams import Finding, Original, Report, Trace
from takeup.tasks.picture import places_of

CASSETTE = Original(id="t1", carrier="cassette", label="Aunt Wen")
HZ = tuple(float(one) for one in 10 ** (np.arange(15, 43) / 10))
MEAN = re.compile(rf'<path d="M([^"]*)" fill="none" stroke="{RAMP[14]}" stroke-width="1.5"')


def drawn(report: Report, **wishes) -> str:
    return over_time(report, **({"width": 1000, "langs": ("en",)} | wishes)).parts


def sounding(level: bytes, seconds: float, **more) -> Report:
    trace = Trace(level=level, recorded=bytes([1]) * len(level), **more)
    return Report(medium="sound", seconds=seconds, measures={}, findings=(), trace=trace)


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
@pytest.mark.parametrize("seconds", [0.3, 7.0, 1790.0])
def test_over_time_is_well_formed_at_any_length(seconds, lang):
    drawing = over_time(sound_report(seconds, [WORN, CLIPPED]), width=1056, langs=(lang,))
    ElementTree.fromstring(f"<svg>{drawing.parts}</svg>")
    assert drawing.height > 200


def test_over_time_trace_without_a_strip_draws_none():
    report = replace(sound_report(100), trace=Trace(level=talk(100).level, recorded=talk(100).recorded))
    assert "<image" not in drawn(report) and "silhouette" not in drawn(report)
    assert "Low and high tones" not in drawn(report) and "noise in the pauses" not in drawn(report)
    assert "<image" in drawn(sound_report(100))


@pytest.mark.parametrize(
    "report",
    [
        Report(medium="video", seconds=100, measures={}, findings=(), trace=Trace(level=bytes([180]) * 1000)),
        Report(medium="sound", seconds=100, measures={}, findings=()),
        Report(medium="sound", seconds=0.0, measures={}, findings=(), trace=talk(1)),
        Report(medium="scan", seconds=None, measures={}, findings=()),
    ],
)
def test_over_time_nothing_to_tell_is_not_drawn(report):
    assert not has_history(report) and over_time_picture(report, width=960, name="wide") == ""
    assert "How loud" not in capture_picture(report, CASSETTE, [], "en")


def test_over_time_mean_lies_where_its_level_is():
    """A steady -30 dBFS on an axis from 0 to -60: the middle of a field of 136 units that begins at 34."""
    (line,) = re.findall(
        rf'<path d="M([^"]*)" fill="none" stroke="{RAMP[14]}" stroke-width="1.5"',
        drawn(sounding(bytes([70]) * 600, 60)),
    )
    assert {float(y) for _, y in (pair.split() for pair in line.split("L"))} == {34 + 68}


def test_over_time_stops_where_nothing_was_recorded():
    """600 of 1000 s: the last column before it ends at 600 of 1000 units."""
    parts = drawn(replace(sound_report(1000, recorded_to=600), findings=()))
    (line,) = MEAN.findall(parts)
    assert max(float(pair.split()[0]) for pair in line.split("L")) == 599


def test_over_time_knots_reach_down_at_the_threads_own_places():
    """250 and 750 of 1000 s; redo is a whole line, look a broken one."""
    redo = Finding(name="clipping", verdict="redo", again="helps", from_s=250.0)
    look = Finding(name="dropout", verdict="look", again="no", from_s=750.0)
    parts = drawn(replace(sound_report(1000), findings=(redo, look)))
    lines = re.findall(r'<path d="M(\S+) \S+V\S+" stroke="(#\w+)" stroke-width="1.6"( stroke-dasharray)?', parts)
    assert lines == [("250.0", DRESS["redo"].ink, ""), ("750.0", DRESS["look"].ink, " stroke-dasharray")]


def picture_in(parts: str) -> np.ndarray:
    (data,) = re.findall(r"data:image/png;base64,([^\"]*)", parts)
    return np.asarray(Image.open(io.BytesIO(base64.b64decode(data.replace("%2F", "/")))).convert("RGB")).astype(int)


def test_over_time_tones_lie_low_ones_at_the_bottom_and_loud_ones_dark():
    """Bands of -90 dBFS but for one: band 3 from the bottom at -30 in the first half, band 20 in the second."""
    columns = np.full((40, len(HZ)), 50, np.uint8)
    columns[:20, 3], columns[20:, 20] = 110, 110
    picture = picture_in(drawn(sounding(bytes([70]) * 400, 40, strip=columns.tobytes(), strip_step_s=1.0, strip_hz=HZ)))
    assert picture.shape == (len(HZ), 40, 3)
    darkest = picture.sum(axis=2).argmin(axis=0)
    assert darkest.tolist() == [len(HZ) - 1 - 3] * 20 + [len(HZ) - 1 - 20] * 20


def test_over_time_tones_wear_the_ramp_only():
    colours = {"#{:02X}{:02X}{:02X}".format(*pixel) for row in picture_in(drawn(sound_report(900))) for pixel in row}
    assert colours <= set(RAMP) and len(colours) > 8


def test_over_time_ten_kilohertz_is_told_where_its_band_is():
    """Bands 15 to 42 of 28, 4 units each: 10 kHz is band 40, its middle 2.5 bands from the top, 10 units."""
    parts = drawn(sound_report(100))
    top = float(re.findall(r'<image x="0" y="([\d.]+)"', parts)[0])
    (y,) = re.findall(r'<text x="-8" y="([\d.]+)"[^>]*>10 kHz<', parts)
    assert float(y) - 5 == pytest.approx(top + 10, abs=0.01)


@pytest.mark.parametrize("levels,reach", [([-60.0] * 50, (-100, -60)), ([-200.0] * 50 + [-10.0] * 50, (-80, -10))])
def test_reach_of_the_ramp_is_neither_flat_nor_steep(levels, reach):
    assert reach_of(np.array([levels])) == reach


def test_reach_of_nothing_is_said_all_the_same():
    assert reach_of(np.full((3, 4), -np.inf)) == (-100, -40)


def test_table_tells_the_same_in_figures():
    """Ten seconds at -20 dBFS, ten at -40 with one step of -60; noise of -70 dBFS told in the first five seconds."""
    level = bytes([80] * 100 + [60] * 99 + [40])
    report = sounding(level, 20, floor=bytes([70, 0, 0, 0]), floor_step_s=5.0)
    assert stretches_told(report) == [(0.0, (-20, -20, -20, -70)), (10.0, (-60, -40, -40, None))]


@pytest.mark.parametrize("seconds", [3.0, 59.9, 1790.0, 2700.0, 30000.0])
def test_table_is_short_and_begins_at_the_beginning(seconds):
    rows = stretches_told(sound_report(seconds))
    assert rows[0][0] == 0.0 and 1 <= len(rows) <= 12


def test_picture_of_a_side_with_hundreds_of_dropouts_stays_small_and_says_so():
    """Three hundred holes, 8.9 s apart, each told at a second of its own: two in words, 298 counted."""
    holes = [
        Finding(name="silence", says="silence.hole", verdict="look", again="may help", from_s=at, to_s=at + 0.01)
        for at in (8.9 * number for number in range(300))
    ]  # fmt: skip
    report = sound_report(2700, holes)
    svg = capture_picture(report, CASSETTE, places_of(report, "en"), "en")
    assert len(svg.encode()) < 400_000
    assert "298 more of this kind, from " in svg
    assert sum(int(count) for count in re.findall(r">(\d+) places<", svg)) == 300


def test_picture_describes_its_levels_in_words_for_who_cannot_see_them():
    svg = ElementTree.fromstring(capture_picture(sounding(bytes([80]) * 100, 10), CASSETTE, [], "en"))
    assert svg.find("{*}desc").text == (  # type: ignore[union-attr]
        "From 0:00: quietest −20, mean −20, loudest −20, noise not told dBFS."
    )


@pytest.mark.parametrize("width", [1056, 960 - GUTTER, 340 - GUTTER])
def test_over_time_words_wear_colours_that_stand_on_paper_and_card(width):
    """Their contrast is computed in test_palette."""
    parts = drawn(sound_report(1790, [WORN, CLIPPED]), width=width, langs=("en", "zh-Hans"))
    assert set(re.findall(r'<text [^>]*fill="(#\w+)"', parts)) <= {INK, QUIET}
