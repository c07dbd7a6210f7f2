"""The miniature of the glass: corners and areas at the same scale as the picture, by hand arithmetic."""

from __future__ import annotations

import re

from make.family import still

from takeup.pages.bed import bed, extent_of
from takeup.streams import Finding, Measured, Report

CORNERS = [[1000, 500], [3000, 500], [3000, 2000], [1000, 2000]]


def scan(*findings: Finding, pictures: object = ()) -> Report:
    measures = {"pictures": Measured(value=pictures, unit="")}
    return Report(medium="scan", seconds=None, measures=measures, findings=findings)


def test_bed_outlines_lie_to_scale():
    """4800 px on 960 units is a fifth: 1000, 500 becomes 200, 100."""
    svg = str(bed(scan(pictures=[{"corners": CORNERS, "tilt": 0.0}]), glass=(4800, 3200), still=None))
    assert 'viewBox="0 0 960 640"' in svg
    assert svg.count('points="200.0,100.0 600.0,100.0 600.0,400.0 200.0,400.0"') == 2


def test_bed_labels_are_ours_or_numbers_and_escaped():
    report = scan(pictures=[{"corners": CORNERS, "tilt": 0}, {"corners": CORNERS, "tilt": 0}])
    svg = str(bed(report, glass=(4800, 3200), still=None, labels=["b1-1<x>"]))
    assert re.findall(r">([^<>]+)</text>", svg) == ["b1-1&lt;x&gt;", "2"]


def test_bed_finding_with_an_area_has_its_sign_and_a_good_one_none():
    redo = Finding(name="streak", verdict="redo", again="helps", area=(480, 0, 48, 3200))
    good = Finding(name="dust", verdict="good", again="no", area=(0, 0, 10, 10))
    whole = Finding(name="no_profile", verdict="look", again="no")
    svg = str(bed(scan(redo, good, whole), glass=(4800, 3200), still=None))
    assert svg.count("stroke-dasharray") == 1 and 'x="96.0"' in svg


def test_bed_picture_of_the_glass_fills_it():
    svg = str(bed(scan(), glass=(2, 3), still=still(0.0)))
    assert '<image width="960" height="1440" preserveAspectRatio="none" href="data:image/jpeg;base64,' in svg


def test_bed_no_pictures_looked_for_is_an_empty_glass():
    report = Report(medium="scan", seconds=None, measures={}, findings=())
    assert "polygon" not in str(bed(report, glass=(10, 10), still=None))


def test_extent_holds_every_picture_and_area():
    redo = Finding(name="streak", verdict="redo", again="helps", area=(4000, 100, 200, 2500))
    wide, high = extent_of(scan(redo, pictures=[{"corners": CORNERS, "tilt": 0}]))
    assert 4200 <= wide <= 4300 and 2600 <= high <= 2700
