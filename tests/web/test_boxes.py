"""The list of boxes and the shelf of one: found by what people know of it, each original with what is next."""

from __future__ import annotations

import re

import pytest

from takeup.lab.boxes import box_numbered, open_box, open_boxes
from takeup.settings import Settings
from takeup.tasks.demo_boxes import FAMILIES, fill_boxes
from takeup.tasks.screen import screen


@pytest.mark.parametrize("wanted", ["marlow", "Tan Marlow", "0001", "harbour", "aunt UNCLE", "k1"])
def test_a_box_is_found_by_number_name_or_label(maren, box, wanted):
    answer = maren.look(f"/boxes?find={wanted}")
    assert answer.status_code == 200 and "The Tan and Marlow family" in answer.text


@pytest.mark.parametrize("wanted", ["nobody", "<b>", "%25", "a" * 90])
def test_what_fits_no_box_says_so(maren, box, wanted):
    answer = maren.look("/boxes", params={"find": wanted})
    assert answer.status_code == 200 and "No open box fits" in answer.text


def test_the_list_is_honest_when_empty(maren):
    assert "There is no open box" in maren.look("/boxes").text


def test_the_shelf_has_a_label_for_each_original_and_says_what_is_next(maren, box, desk):
    page = maren.look(f"/boxes/{box['number']}").text
    assert re.findall(r'<h3 class="id">(.+?)</h3>', page) == ["k1", "p1", "v1"]
    assert page.count("Look: three questions") == 4  # each label, and the box
    assert "The agreement is not noted yet." in page
    screen(box["path"], desk.settings)
    assert "Capture at the station" in maren.look(f"/boxes/{box['number']}").text


def test_a_new_box_begins_with_a_person_and_an_empty_folder(maren, desk):
    answer = maren.send("/boxes/new", "/boxes/new", name="Ida Brackwater", lang="zh-Hans", needs="a chair")
    with desk.lab.reading() as db:
        (row,) = open_boxes(db)
    assert answer.url.path == f"/boxes/{row['number']}/check-in" and row["title"] == "Ida Brackwater"
    assert "Nothing is in this box yet." in maren.look(f"/boxes/{row['number']}").text


def test_a_new_box_needs_a_name_and_keeps_what_was_typed(maren, desk):
    answer = maren.send("/boxes/new", "/boxes/new", name="  ", needs="a quiet hour")
    assert answer.status_code == 400 and 'value="a quiet hour"' in answer.text
    answer = maren.send("/boxes/new", "/boxes/new", name="x" * 5000)
    assert answer.status_code == 400
    with desk.lab.reading() as db:
        assert open_boxes(db) == []


def test_a_box_booked_by_phone_without_a_folder_is_shown_empty(maren, box, desk):
    with desk.lab.writing() as db:
        row = open_box(db, None, "By phone")
    for page in ("", "/items", "/screening", "/plan", "/check-in", "/slips", "/slips/labels", "/agree", "/phone"):
        assert maren.look(f"/boxes/{row['number']}{page}").status_code == 200


@pytest.mark.parametrize("page", ["", "/items", "/screening", "/plan", "/check-in", "/slips", "/agree", "/phone"])
def test_no_box_has_that_number_is_404(maren, page):
    assert maren.look(f"/boxes/9999{page}").status_code == 404


def test_a_visitor_sees_the_own_box_and_no_other(tan, box, desk):
    page = tan.look("/mine")
    assert page.status_code == 200 and "Harbour" in page.text and "/check-in" not in page.text
    assert tan.look(f"/boxes/{box['number']}").status_code == 200
    for url in ("/boxes", "/boxes/0002", "/boxes/0002/items", f"/boxes/{box['number']}/check-in", "/boxes/new"):
        assert tan.look(url).status_code == 403


def test_mine_ends_with_the_visit(tan, maren, box):
    maren.send(f"/boxes/{box['number']}/slips", f"/boxes/{box['number']}/slips/end")
    assert tan.look("/mine").status_code == 403


def test_the_demo_fills_its_boxes_once(desk):
    for _ in range(2):
        fill_boxes(desk.lab, desk.home, Settings())
    with desk.lab.reading() as db:
        assert len(open_boxes(db)) == len(FAMILIES)
        assert box_numbered(db, "0043")["title"] == "陈家的老录像"
