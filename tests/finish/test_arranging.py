"""Where pictures lie on a glass: geometry by hand, and what is cut by it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from make.looked_at import BED_PX, PRINTS, bed
from PIL import Image

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.box.standing import box_standing
from takeup.errors import NotPossible
from takeup.lab.port import Stale
from takeup.plan.arranging import Placed, in_order, is_clockwise, next_number, set_right, squared
from takeup.settings import Settings
from takeup.tasks.arrange import arrange, arrangement_of, undo
from takeup.tasks.finish import finish_box

QUIET = Settings(who="tester")
SQUARE = ((10.0, 10.0), (110.0, 10.0), (110.0, 60.0), (10.0, 60.0))


def turned(corners, degrees, middle=(60.0, 35.0)):
    """Corners turned clockwise as seen: x' = x cos - y sin, y' = x sin + y cos with y running down."""
    a = math.radians(degrees)
    return tuple(
        (
            middle[0] + (x - middle[0]) * math.cos(a) - (y - middle[1]) * math.sin(a),
            middle[1] + (x - middle[0]) * math.sin(a) + (y - middle[1]) * math.cos(a),
        )
        for x, y in corners
    )


@given(st.floats(-44, 44))
def test_squared_a_true_rectangle_stays_and_tells_its_turn(degrees):
    corners = turned(SQUARE, degrees)
    made, tilt = squared(corners)
    assert np.allclose(made, corners, atol=1e-6) and tilt == pytest.approx(degrees, abs=1e-6)


def test_squared_one_corner_off_is_shared_by_all():
    """The top right corner pulled 4 px right and 4 down. Across: (100 + 4 + 100) / 2 = 102, (4 + 0) / 2 = 2; down:
    (0 + 4 - 4) / 2 ... the right side is (−4, 46), the left (0, 50): mean (−2, 48). Both sides lean by 2 px:
    turn = atan2(2 + 2, 102 + 48) = 1.528 degrees; sides hypot(102, 2) and hypot(-2, 48)."""
    corners = (SQUARE[0], (114.0, 14.0), SQUARE[2], SQUARE[3])
    made, tilt = squared(corners)
    assert tilt == pytest.approx(math.degrees(math.atan2(4, 150)))
    assert math.dist(made[0], made[1]) == pytest.approx(math.hypot(102, 2))
    assert math.dist(made[1], made[2]) == pytest.approx(math.hypot(2, 48))
    assert np.mean(made, axis=0) == pytest.approx(np.mean(corners, axis=0))


@given(st.permutations(SQUARE))
def test_corners_in_any_order_are_put_round_the_picture(corners):
    assert in_order(corners) == SQUARE and is_clockwise(in_order(corners))


@pytest.mark.parametrize(
    "corners",
    [
        ((0, 0), (10, 0), (10, 10), (0, 10)),  # ten pixels wide
        ((10, 10), (10, 10), (110, 60), (10, 60)),  # two corners in one place
        ((10, 10), (110, 10), (30, 20), (10, 60)),  # a dent
        ((math.nan, 0), (110, 10), (110, 60), (10, 60)),
        ((-500, -500), (-400, -500), (-400, -400), (-500, -400)),  # beside the glass: all of it at one corner
    ],
)
def test_corners_without_a_picture_are_refused(corners):
    with pytest.raises(NotPossible, match="arrange.no-picture"):
        set_right([Placed(number=1, corners=corners)], (300, 200))


def test_a_number_is_never_given_twice():
    assert next_number([Placed(number=1, corners=SQUARE), Placed(number=7, corners=SQUARE, gone=True)]) == 8


@pytest.fixture
def scanned(tmp_path):
    folder = tmp_path / "box"
    folder.mkdir()
    made = Box(folder, Record(folder, "tester"))
    made.record.start()
    made.record.append("box-started", {"version": "0", "items_sha256": ""})
    made.record.append("item-listed", {"id": "p1", "carrier": "print", "label": "Harbour"}, item="p1")
    made.record.append("screened", {"outcome": "accept", "why": [], "do": []}, item="p1")
    return made, bed(made, tmp_path)


def corner_mark(path):
    """In which corner of a picture the black mark lies, by row and column."""
    pixels = np.asarray(Image.open(path).convert("L"), float)
    high, wide = pixels.shape
    near, right, foot = slice(5, 15), slice(wide - 15, wide - 5), slice(high - 15, high - 5)
    boxes = {(row, column): pixels[(near, foot)[row], (near, right)[column]] for row in (0, 1) for column in (0, 1)}
    return min(boxes, key=lambda at: boxes[at].mean())


def test_finish_cuts_by_the_arrangement_and_takes_back_what_is_none(scanned):
    """A quarter turn clockwise brings the mark from the top left to the top right; the scan's own bytes stay.

    What the check found is cut a quarter of a millimetre outside, one pixel here; what a person drew, just there."""
    box, stored = scanned
    before = box.path(stored).read_bytes()
    finish_box(box.folder, QUIET)
    copies = box.folder / "copies" / "p1"
    assert sorted(path.name for path in copies.iterdir()) == ["p1-1.jpg", "p1-2.jpg"]
    assert Image.open(copies / "p1-1.jpg").size == (202, 152) and corner_mark(copies / "p1-1.jpg") == (0, 0)
    first, second = arrangement_of(box, "p1", stored).pictures
    moved = tuple((x + 20, y) for x, y in second.corners)
    third = Placed(number=3, corners=((40.0, 30.0), (140.0, 30.0), (140.0, 180.0), (40.0, 180.0)))
    wanted = [replace(first, turn=1), replace(second, corners=moved, gone=True), third]
    stands = arrange(box.folder, QUIET, item="p1", stored=stored, pictures=wanted, version=0, who="Maren")
    assert [one.number for one in stands.standing] == [1, 3] and stands.steps == 1
    assert box_standing(box).items[0].next == "finish"
    finish_box(box.folder, QUIET)
    assert sorted(path.name for path in copies.iterdir()) == ["p1-1.jpg", "p1-3.jpg"]
    assert Image.open(copies / "p1-1.jpg").size == (152, 202) and corner_mark(copies / "p1-1.jpg") == (0, 1)
    assert Image.open(copies / "p1-3.jpg").size == (100, 150)
    assert box.path(stored).read_bytes() == before
    assert box_standing(box).items[0].done["finished"]
    assert not finish_box(box.folder, QUIET).made


def test_only_the_changed_picture_is_made_anew(scanned):
    box, stored = scanned
    finish_box(box.folder, QUIET)
    first, second = arrangement_of(box, "p1", stored).pictures
    arrange(box.folder, QUIET, item="p1", stored=stored, pictures=[replace(first, turn=2), second], version=0, who="x")
    made = finish_box(box.folder, QUIET).made
    assert {one.made.path.name for one in made} == {"p1-1.jpg", "p1-1.tif"}


def test_each_change_is_taken_back_one_by_one(scanned):
    box, stored = scanned
    found = arrangement_of(box, "p1", stored)
    assert [one.corners for one in found.pictures] == [PRINTS[0], PRINTS[1]] and found.size == BED_PX
    about = {"item": "p1", "stored": stored, "version": None, "who": "x"}
    one = arrange(box.folder, QUIET, pictures=[replace(found.pictures[0], turn=1), found.pictures[1]], **about)
    two = arrange(box.folder, QUIET, pictures=one.pictures[:1], **about)
    assert two.steps == 2 and [p.number for p in two.standing] == [1]
    assert undo(box.folder, QUIET, **about).pictures == one.pictures
    last = undo(box.folder, QUIET, **about)
    assert last.pictures == found.pictures and last.steps == 0
    assert undo(box.folder, QUIET, **about).version == last.version, "there is nothing more to take back"
    finish_box(box.folder, QUIET)
    assert box_standing(box).items[0].done["finished"]


def test_a_back_belongs_to_a_front(scanned):
    box, stored = scanned
    first, second = arrangement_of(box, "p1", stored).pictures
    about = {"item": "p1", "stored": stored, "version": None, "who": "x"}
    for wrong in (
        [first, replace(second, back_of="p1-2")],
        [replace(first, back_of="p1-2"), replace(second, back_of="p1-1")],
    ):
        with pytest.raises(NotPossible, match="arrange.back"):
            arrange(box.folder, QUIET, pictures=wrong, **about)
    arrange(box.folder, QUIET, pictures=[first, replace(second, back_of="p1-1")], **about)
    finish_box(box.folder, QUIET)
    made = {fact.key: fact.facts for fact in box.record.latest("made", "p1")}
    assert made["copies/p1/p1-2.jpg"]["settings"]["back_of"] == "p1-1"
    assert made["copies/p1/p1-2.jpg"]["title"].endswith(", back")


def test_two_people_at_one_scan_lose_nothing(scanned):
    box, stored = scanned
    found = arrangement_of(box, "p1", stored)
    turned_one = [replace(found.pictures[0], turn=1), found.pictures[1]]
    arrange(box.folder, QUIET, item="p1", stored=stored, pictures=turned_one, version=0, who="Maren")
    with pytest.raises(Stale):
        arrange(box.folder, QUIET, item="p1", stored=stored, pictures=found.pictures[:1], version=0, who="Ola")
    assert len(arrangement_of(box, "p1", stored).standing) == 2
