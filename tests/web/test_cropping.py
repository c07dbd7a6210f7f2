"""Setting the pictures of a scan right, without a script: the form's own fields and buttons."""

from __future__ import annotations

import io

import numpy as np
import pytest
from make.looked_at import PRINTS, bed, stands
from PIL import Image

from takeup.box.folder import look_into
from takeup.settings import Settings


def test_the_page_shows_each_picture_with_its_corners(maren, scan):
    page = maren.look(scan).text
    assert "p1-1" in page and "p1-2" in page and 'name="x2_3"' in page and 'value="380.0"' in page


def test_a_corner_moved_by_its_fields_is_kept(maren, scan, box):
    assert maren.send(scan, scan, x1_0="30.5", do="keep").status_code == 200
    assert stands(box).pictures[0].corners[0] == (30.5, 30.0)
    assert stands(box).pictures[1].corners == PRINTS[1], "the other picture stays as it was found"


def test_turning_by_its_button(maren, scan, box):
    for turn in (1, 2, 3, 0):
        maren.send(scan, scan, do="right:2")
        assert [one.turn for one in stands(box).pictures] == [0, turn]
    maren.send(scan, scan, do="left:1")
    assert stands(box).pictures[0].turn == 3


def test_the_cut_picture_is_shown_as_it_will_be_turned(maren, scan, box):
    """The red print's black mark lies at its top left; a quarter turn clockwise brings it to the top right."""
    maren.send(scan, scan, do="right:1")
    answer = maren.look(scan.replace("pictures", "cut/1"))
    pixels = np.asarray(Image.open(io.BytesIO(answer.content)).convert("L"), float)
    assert pixels.shape == (200, 150)
    assert pixels[5:15, -15:-5].mean() < 20 < pixels[5:15, 5:15].mean()


def test_adding_removing_and_taking_back(maren, scan, box):
    maren.send(scan, scan, do="add")
    assert [one.number for one in stands(box).standing] == [1, 2, 3]
    maren.send(scan, scan, do="remove:2")
    assert [one.number for one in stands(box).standing] == [1, 3]
    maren.send(scan, scan, do="bring:2")
    assert [one.number for one in stands(box).standing] == [1, 2, 3]
    for left in ([1, 3], [1, 2, 3], [1, 2]):
        maren.send(scan, scan, do="undo")
        assert [one.number for one in stands(box).standing] == left
    assert stands(box).steps == 0 and 'value="undo"' not in maren.look(scan).text


def test_a_back_is_paired_with_its_front(maren, scan, box):
    maren.send(scan, scan, back2="p1-1", do="keep")
    assert stands(box).pictures[1].back_of == "p1-1"
    answer = maren.send(scan, scan, back1="p1-2", do="keep")
    assert answer.status_code == 400 and "cannot be the back" in answer.text


def test_where_nobody_could_say_no_back_is_proposed(maren, scan, box):
    """Two prints of a strong colour each: neither is paper."""
    answer = maren.send(scan, scan, do="backs")
    assert answer.status_code == 400 and "Please choose it by hand" in answer.text and stands(box).steps == 0


@pytest.mark.parametrize(("lang", "said"), [("en", "p1-2: Back of p1-1"), ("zh-Hans", "p1-2: p1-1 的背面")])
def test_a_back_that_is_told_is_chosen_and_said_and_can_be_taken_back(maren, scan, box, lang, said):
    """The second picture becomes cream paper of the first's size, 200 x 150 pixels, with a line of writing."""
    path = box["path"] / box["stored"]
    pixels = np.asarray(Image.open(path)).copy()
    pixels[230:380, 60:260] = (226, 220, 204)
    pixels[300:303, 90:200:4] = (60, 60, 110)
    Image.fromarray(pixels).save(path, dpi=(100, 100))
    maren.look(f"{scan}?lang={lang}")
    maren.send(scan, scan, x2_1="260", x2_2="260", do="keep")
    answer = maren.send(scan, scan, do="backs")
    assert answer.status_code == 200 and said in answer.text
    assert [one.back_of for one in stands(box).pictures] == ["", "p1-1"]
    maren.send(scan, scan, do="undo")
    assert [one.back_of for one in stands(box).pictures] == ["", ""]


def test_pictures_are_set_upright_by_what_is_written_in_them(maren, box, tmp_path):
    """The red print hangs head over foot; the blue one lies on its left side."""
    box["stored"] = bed(look_into(box["path"], Settings()), tmp_path, words=(("HARBOUR", 2), ("Bakery", 1)))
    scan = f"/boxes/{box['number']}/captures/1/pictures"
    page = maren.send(scan, scan, do="turns")
    assert [one.turn for one in stands(box).pictures] == [2, 1]
    assert "Turned by what is written in them: p1-1, p1-2." in page.text and "neighbours" not in page.text
    maren.send(scan, scan, do="undo")
    assert [one.turn for one in stands(box).pictures] == [0, 0]


def test_pictures_without_lettering_are_left_as_they_lie(maren, scan, box):
    answer = maren.send(scan, scan, do="turns")
    assert answer.status_code == 400 and "Please turn them by hand" in answer.text and stands(box).steps == 0


@pytest.mark.parametrize("typed", ["a", "1e400", "nan", "99999999999", "=1+1", "<b>", "１２", "١٢"])
def test_corners_that_are_no_numbers_are_told_and_nothing_changes(maren, scan, box, typed):
    answer = maren.send(scan, scan, x1_0=typed, do="keep")
    assert answer.status_code in (200, 400)
    if answer.status_code == 400:
        assert stands(box).steps == 0
    assert all(np.isfinite(one.corners).all() for one in stands(box).pictures)


def test_corners_that_enclose_nothing_are_told_and_stay_typed(maren, scan, box):
    answer = maren.send(scan, scan, x1_1="41", x1_2="42", do="keep")
    assert answer.status_code == 400 and "enclose no picture" in answer.text and 'value="42.0"' in answer.text
    assert stands(box).steps == 0


def test_two_at_one_scan_the_second_is_told(maren, ola, scan, box):
    where, fields = ola.fields(scan, scan)
    maren.send(scan, scan, do="right:1")
    assert ola.client.post(where, data=fields | {"do": "right:2"}).status_code == 409
    assert [one.turn for one in stands(box).pictures] == [1, 0]


def test_a_double_click_turns_once(maren, scan, box):
    where, fields = maren.fields(scan, scan)
    for _ in range(2):
        assert maren.client.post(where, data=fields | {"do": "right:1"}).status_code == 303
    assert stands(box).pictures[0].turn == 1


def test_a_visitor_sets_the_own_box_right(tan, scan, box):
    tan.send(scan, scan, do="right:1")
    assert stands(box).pictures[0].turn == 1


def test_only_scans_have_pictures(maren, box):
    assert maren.look(f"/boxes/{box['number']}/captures/1/pictures").status_code == 404
