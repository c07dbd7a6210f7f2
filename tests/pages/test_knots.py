"""Knots: how many findings become few, by hand arithmetic and by what must hold for any of them (seeded)."""

from __future__ import annotations

import random
import re
from xml.etree import ElementTree

import pytest
from make.family import talk

from takeup.pages.knots import COUNT_ROOM, KNOT, each, knots, readable, stretches
from takeup.pages.thread import thread
from takeup.streams import Finding, Report


def dropout(from_s: float, verdict: str = "look", lasts_s: float = 0.01) -> Finding:
    again = "helps" if verdict == "redo" else "no"
    return Finding(name="dropout", verdict=verdict, again=again, from_s=from_s, to_s=from_s + lasts_s)  # type: ignore[arg-type]


def side(*findings: Finding, seconds: float = 1000.0) -> Report:
    return Report(medium="sound", seconds=seconds, measures={}, findings=findings, trace=talk(seconds))


def test_knots_near_ones_are_one_that_stands_between_them_and_counts():
    """500 and 504 s of 1000 s: in the middle, at 0.502."""
    (knot,) = knots([side(dropout(500), dropout(504))], apart=0.02)
    assert knot.count == 2 and knot.at == pytest.approx(0.502)


def test_knots_redo_among_many_is_seen_at_its_own_place():
    marks = knots([side(*(dropout(480 + at) for at in range(40)), dropout(503, "redo"))], apart=0.1)
    (knot,) = marks
    assert (knot.verdict, knot.count) == ("redo", 41) and knot.at == pytest.approx(0.503)


@pytest.mark.parametrize("count", [1, 2, 40, 61, 700])
@pytest.mark.parametrize("shape", ["even", "crowded", "one place"])
def test_knots_lose_none_and_never_touch(count, shape):
    dice = random.Random(count)
    places = {
        "even": lambda: dice.uniform(0, 999),
        "crowded": lambda: min(999.0, abs(dice.gauss(300, 40))),
        "one place": lambda: 700.0,
    }
    report = side(*(dropout(places[shape](), dice.choice(["look", "look", "redo"])) for _ in range(count)))
    marks = readable([report], 1056)
    assert sum(knot.count for knot in marks) == count
    places_of_them = [knot.at * 1056 for knot in marks]
    least = COUNT_ROOM if any(knot.count > 1 for knot in marks) else KNOT
    assert all(later - earlier >= least for earlier, later in zip(places_of_them, places_of_them[1:]))
    assert any(knot.verdict == "redo" for knot in marks) == any(one.verdict == "redo" for one in report.findings)


def test_thread_ten_milliseconds_of_a_side_of_45_minutes_are_a_whole_knot():
    svg = str(thread([side(dropout(1350), seconds=2700.0)]))
    (moved, scaled) = re.findall(r"translate\((\S+) \S+\) scale\((\S+)\)", svg)[0]
    assert float(scaled) * 24 == pytest.approx(KNOT, abs=0.05)
    assert float(moved) + KNOT / 2 == pytest.approx(480, abs=0.1)  # 1350 of 2700 s: the middle of 960


def test_thread_tells_in_both_languages_how_many_a_knot_stands_for():
    svg = str(thread([side(dropout(500), dropout(501), dropout(502))]))
    told = {text.get("lang"): text.text for text in ElementTree.fromstring(svg) if text.get("lang")}
    assert told == {"en": "3 places", "zh-Hans": "3 处"}
    assert "places" not in str(thread([side(dropout(500))]))


def test_thread_every_finding_leaves_a_stitch_where_it_is():
    """100, 101 and 900 of 1000 s on 960 units: 96, 97 (96.96 to the nearest half) and 864."""
    svg = str(thread([side(dropout(100), dropout(101), dropout(900))]))
    (stitches,) = re.findall(r'class="stitch" d="([^"]*)"', svg)
    assert [float(x) for x in re.findall(r"M([\d.]+) ", stitches)] == [96, 97, 864]


def test_stretches_that_overlap_are_one_and_short_ones_none():
    marks = each([side(dropout(100, lasts_s=100), dropout(150, lasts_s=100), dropout(600), dropout(700, lasts_s=50))])
    assert stretches(marks, "look", 0.02) == [(pytest.approx(0.1), pytest.approx(0.25)), (0.7, pytest.approx(0.75))]


def test_thread_says_over_a_long_dotted_stretch_that_nothing_was_recorded():
    report = Report(medium="sound", seconds=1000, measures={}, findings=(), trace=talk(1000, recorded_to=700))
    assert "nothing recorded" in str(thread([report])) and "没有录音" in str(thread([report]))
    short = Report(medium="sound", seconds=1000, measures={}, findings=(), trace=talk(1000, recorded_to=950))
    assert "nothing recorded" not in str(thread([short]))
