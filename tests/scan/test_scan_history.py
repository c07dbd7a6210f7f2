"""A scan beside its station's last ones, across the boxes of one lab. Truth: the figures are put into the reports."""

import pytest

from takeup.files.targets import SCANS, history_path, read_history
from takeup.settings import Settings
from takeup.streams import Measured, Report
from takeup.tables.loader import load_rows
from takeup.tasks.scan_history import compared

SETTINGS = Settings(wait_s=0.2)


def scan(sharp=0.25, a=0.2, b=-0.4, *, by="paper", source="lid", ppi=600.0):
    measures = {
        "sharpness": Measured(value=sharp, unit="cycles/pixel", extra={"by": by}),
        "cast": Measured(value={"a": a, "b": b}, unit="CIELAB", extra={"from": source}),
        "ppi_stated": Measured(value=ppi, unit="px/inch"),
    }
    return Report(medium="scan", seconds=None, measures=measures, findings=())


def told(home, box, number, report, *, station="flatbed", carrier="print", in_box=()):
    folder = home / "boxes" / box
    folder.mkdir(parents=True, exist_ok=True)
    found = compared(
        folder, SETTINGS, station=station, sha256=f"{number:064d}", carrier=carrier, report=report, in_box=in_box,
        rows=load_rows(),
    )  # fmt: skip
    return [finding.says for finding in found.findings]


@pytest.fixture
def lab(tmp_path):
    """Three scans of one station in two boxes; nothing to compare the first two with."""
    for number, (box, sharp) in enumerate([("a", 0.250), ("a", 0.252), ("b", 0.251)]):
        assert told(tmp_path, box, number, scan(sharp)) == []
    return tmp_path


@pytest.mark.parametrize(
    ("report", "says"),
    [(scan(0.221), ["soft.than-before"]),  # 0.221 / 0.251 = 0.880: 12 % softer
     (scan(0.236), []),  # 0.236 / 0.251 = 0.940
     (scan(a=1.7, b=1.6), ["cast.than-before"]),  # hypot(1.5, 2.0) = 2.5 from where it lay
     (scan(a=1.4, b=1.2), []),  # hypot(1.2, 1.6) = 2.0: not over 2.0
     (scan(0.221, by="text"), []), (scan(0.221, ppi=300.0), []), (scan(a=9.0, source="paper"), [])],
)  # fmt: skip
def test_focus_and_white_are_held_against_the_stations_scans_of_other_boxes(lab, report, says):
    assert told(lab, "c", 7, report) == says


def test_another_station_and_another_carrier_have_their_own_history(lab):
    assert told(lab, "c", 7, scan(0.2), station="other") == []
    assert told(lab, "c", 8, scan(0.2), carrier="slide") == []


def test_a_scan_is_kept_once_and_checked_again_against_those_before_it(lab):
    path = history_path(lab, "flatbed", SCANS)
    assert told(lab, "c", 7, scan(0.221)) == ["soft.than-before"]
    assert told(lab, "c", 7, scan(0.221)) == ["soft.than-before"]
    assert len(read_history(path)) == 4
    assert told(lab, "a", 1, scan(0.2)) == []  # one scan alone came before it


def test_a_box_of_no_lab_and_a_damaged_history_leave_the_box_alone_to_compare_with(lab, tmp_path):
    before = [(f"{number:064d}", scan(0.25)) for number in range(3)]
    path = history_path(lab, "flatbed", SCANS)
    path.write_text("{not a line", "utf-8")
    assert told(lab, "c", 7, scan(0.221), in_box=before) == ["soft.than-before"]
    assert path.read_text("utf-8") == "{not a line"
    found = compared(
        tmp_path, SETTINGS, station="", sha256="f" * 64, carrier="print", report=scan(0.221), in_box=before,
        rows=load_rows(),
    )  # fmt: skip
    assert [finding.name for finding in found.findings] == ["soft"]
    assert not (tmp_path / SCANS / "this-computer.jsonl").exists()
