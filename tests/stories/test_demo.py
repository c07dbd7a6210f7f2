"""The demo through the real command line: the whole job on the invented family's box. Truth by construction."""

import json
import os
from pathlib import Path

import pytest
from make.command import takeup

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "demo"
    ran = takeup("demo", folder, "--json", timeout=900, cold=True)
    assert ran.status == 0, ran.err
    return ran.json


def verdict(shown, name):
    return next(one for one in shown["captures"] if Path(one["file"]).stem == name)


def test_all_three_verdicts_appear_and_each_where_it_was_put(shown):
    found = {Path(one["file"]).stem: one["verdict"] for one in shown["captures"]}
    wanted = {
        "t1-side-a": "redo",
        "t1-side-a-again": "good",
        "t1-side-b": "good",
        "t2": "look",
        "v2": "redo",
        "n1": "redo",
    }
    assert {name: found.get(name) for name in wanted} == wanted
    assert shown["unreadable"] == []
    assert "clipping" in verdict(shown, "t1-side-a")["findings"]
    assert "sound_missing" in verdict(shown, "v2")["findings"]
    assert "resolution" in verdict(shown, "n1")["findings"]
    for name in ("v1", "f1", "p1-bed", "s1", "d1-1", "d1-2"):
        assert found[name] != "redo", verdict(shown, name)


def test_page_and_receipt_are_there_and_the_parcel_is_whole(shown):
    page = Path(shown["page"])
    assert page.is_file() and "Tan" in page.read_text("utf-8")
    assert json.loads(Path(shown["receipt"]).read_text("utf-8"))
    checked = takeup("verify", page.parents[1], "--json").json
    assert (checked["intact"], checked["complete"], checked["problems"]) == (True, True, [])


def test_box_says_what_is_handed_over_and_what_waits(shown):
    items = {item["id"]: item for item in takeup("box", "show", shown["box"], "--json").json["items"]}
    for name in ("t1", "t2", "v1", "f1", "p1", "s1", "d1"):
        assert items[name]["delivered"] is True, items[name]
    for name in ("v2", "n1"):
        assert (items[name]["next"], items[name]["packed"]) == ("capture again", False)
    assert (items["t3"]["outcome"], items["v3"]["outcome"], items["x1"]["outcome"]) == ("refuse", "ask", "refuse")


def test_second_try_of_the_redone_side_is_what_is_finished(shown):
    box = Path(shown["box"])
    made = [str(path.relative_to(box)) for path in box.rglob("*") if path.is_file() and path.parts[-2] == "t1"]
    masters = [path for path in made if path.startswith("masters")]
    assert len(masters) == 2  # side A once, side B once


def test_station_keeps_only_what_was_not_handed_over(shown):
    left = {path.stem for path in (Path(shown["folder"]) / "stations").rglob("*") if path.is_file()}
    assert {"v2", "n1"} <= left
    assert not left & {"t1-side-b", "t2", "v1", "f1", "p1-bed", "s1", "d1-1", "d1-2"}


def test_demo_twice_makes_nothing_again(shown):
    box = Path(shown["box"])
    before = {path: path.stat().st_mtime_ns for path in (box / "captures").rglob("*") if path.is_file()}
    ran = takeup("demo", shown["folder"], timeout=900)
    assert ran.status == 0, ran.err
    assert {path: path.stat().st_mtime_ns for path in (box / "captures").rglob("*") if path.is_file()} == before
    assert 10 <= len(ran.out.strip().splitlines()) <= 18
    assert shown["page"] in ran.out.splitlines()[-1]


def test_demo_leaves_a_folder_with_other_things_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("keep me")
    ran = takeup("demo", tmp_path)
    assert ran.status == 2 and "letter.txt" in ran.err
    assert os.listdir(tmp_path) == ["letter.txt"]
