"""Matching a file's name to an item. Expectations: the contract's own examples, then hand-made ones."""

import pytest

from takeup.files.matching import match_item, part_told

IDS = ["t1", "t11", "t1-2", "A.b", "reel_3", "外婆"]


@pytest.mark.parametrize(
    "name, item",
    [
        ("t1", "t1"),
        ("t1.wav", "t1"),
        ("t1-side-a.wav", "t1"),
        ("side a t1.wav", "t1"),
        ("T1 SIDE B.WAV", "t1"),
        ("t11.wav", "t11"),
        ("t111.wav", None),
        ("at1.wav", None),
        ("t1b.wav", None),
        ("1t1.wav", None),
        ("t1-2.wav", "t1-2"),  # the longest id wins
        ("t1-2-side-a.wav", "t1-2"),
        ("t1-20.wav", "t1"),  # t1-2 does not stand alone here
        ("my_t1_copy.wav", "t1"),
        ("(t1).wav", "t1"),
        ("2027-03-02 t1.wav", "t1"),
        ("a.b.tif", "A.b"),
        ("A.B side 2.tif", "A.b"),
        ("a.bc.tif", None),
        ("reel_3.mp4", "reel_3"),
        ("reel_33.mp4", None),
        ("t1的婚礼.wav", "t1"),
        ("ｔ１.wav", "t1"),  # full-width, as a Chinese keyboard types it
        ("外婆的信.tif", "外婆"),
        ("wedding.wav", None),
        ("t1.t1.wav", "t1"),
    ],
)
def test_match_item_name_tells_item(name, item):
    assert match_item(name, IDS).item == item


def test_match_item_two_ids_are_refused_and_named():
    match = match_item("t1 and t11.wav", IDS)
    assert (match.item, match.why, match.found) == (None, "two-items", ("t1", "t11"))


def test_match_item_longer_and_shorter_id_side_by_side_are_two():
    assert match_item("t1-2 t1.wav", IDS).why == "two-items"


def test_match_item_ending_is_no_part_of_the_name():
    assert match_item("film.t1", ["t1"]).item is None
    assert match_item("mp4.mov", ["mp4", "mov"]).item == "mp4"


@pytest.mark.parametrize(
    "name, part",
    [
        ("t1.wav", ""),
        ("t1-side-a.wav", "a"),
        ("side B t1.wav", "b"),
        ("t1 Side 2.wav", "2"),
        ("t1-a.wav", "a"),
        ("t1_007.tif", "7"),
        ("t1 (2).wav", "2"),
        ("t1 part 12.mp4", "12"),
        ("t1 page 3.tif", "3"),
        ("t1 A面.wav", "a"),
        ("t1 第2部分.wav", "2"),
        ("t1 back.tif", "back"),
        ("t1 wedding 1987.wav", ""),
        ("t1 inside a house.wav", ""),
        ("t1-1987.wav", ""),
        ("t1-retake.wav", ""),
    ],
)
def test_part_told_side_or_number(name, part):
    assert match_item(name, ["t1"]).part == part


def test_part_told_without_an_id():
    assert part_told("Side A") == "a"
