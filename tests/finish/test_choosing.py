"""Which captures are finished: truth by construction of the tries."""

from hypothesis import given
from hypothesis import strategies as st
from make.captures import REDO, report_of

from takeup.box.choosing import Candidate, choose
from takeup.streams import Finding

LOOK = Finding(name="silence", verdict="look", again="no")


def capture(name, part="", report=None, repeats=""):
    return Candidate(stored=name, part=part, sha256=name, report=report, repeats=repeats)


GOOD, LOOKED, REDONE = report_of(), report_of("sound", 1.0, LOOK), report_of("sound", 1.0, REDO)


def names(choices):
    return [(choice.part, [one.stored for one in choice.captures]) for choice in choices]


def test_sides_stand_beside_each_other():
    choices, left = choose([capture("b", "b", GOOD), capture("a", "a", GOOD)], joined=False)
    assert names(choices) == [("a", ["a"]), ("b", ["b"])] and left == []


def test_second_try_of_a_redo_side_takes_its_place():
    choices, left = choose(
        [capture("a1", "a", REDONE), capture("b", "b", GOOD), capture("a2", "a", GOOD)], joined=False
    )
    assert names(choices) == [("a", ["a2"]), ("b", ["b"])]
    assert [(entry.stored, entry.better) for entry in left] == [("a1", "a2")]


def test_repeat_known_by_content_keeps_the_first_name():
    choices, _ = choose([capture("a1", "a", LOOKED), capture("x", "again", LOOKED, repeats="a1")], joined=False)
    assert names(choices) == [("a", ["x"])]


def test_worse_repeat_is_left_out():
    choices, left = choose([capture("a1", "", GOOD), capture("a2", "", REDONE, repeats="a1")], joined=False)
    assert names(choices) == [("", ["a1"])] and left[0].stored == "a2"


def test_third_try_follows_the_second_and_all_point_at_the_one_that_stands():
    tries = [capture("1", "", REDONE), capture("2", "", REDONE, "1"), capture("3", "", LOOKED, "2")]
    choices, left = choose(tries, joined=False)
    assert names(choices) == [("", ["3"])]
    assert {(entry.stored, entry.better) for entry in left} == {("1", "3"), ("2", "3")}


def test_two_good_captures_of_one_name_are_both_kept():
    choices, left = choose([capture("a1", "a", GOOD), capture("a2", "a", GOOD)], joined=False)
    assert names(choices) == [("a", ["a1"]), ("a-2", ["a2"])] and left == []


def test_film_parts_are_joined_in_number_order():
    parts = [capture("p10", "10", GOOD), capture("p2", "2", GOOD), capture("p1", "1", GOOD)]
    assert names(choose(parts, joined=True)[0]) == [("", ["p1", "p2", "p10"])]
    assert names(choose(parts, joined=False)[0]) == [("1", ["p1"]), ("2", ["p2"]), ("10", ["p10"])]


def test_second_try_of_one_film_part_replaces_that_part_alone():
    parts = [capture("p1", "1", GOOD), capture("p2", "2", REDONE), capture("p2b", "2", GOOD)]
    assert names(choose(parts, joined=True)[0]) == [("", ["p1", "p2b"])]


def test_unchecked_second_try_stands_and_is_not_checked():
    choices, _ = choose([capture("a1", "a", REDONE), capture("a2", "a", None)], joined=False)
    assert not choices[0].checked and choices[0].captures[0].stored == "a2"


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from([GOOD, LOOKED, REDONE, None])), max_size=8))
def test_law_every_capture_is_chosen_or_left_out_once(tries):
    given_ = [capture(str(number), part, report) for number, (part, report) in enumerate(tries)]
    choices, left = choose(given_, joined=False)
    chosen = [one.stored for choice in choices for one in choice.captures]
    assert sorted(chosen + [entry.stored for entry in left]) == sorted(one.stored for one in given_)
    assert all(entry.better in chosen for entry in left)
