"""What staff decide about a capture, and what then holds a box up."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from make.captures import REDO, report_of
from make.looked_at import CLIPPED, side

from takeup.box.choosing import Candidate, choose
from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.box.standing import box_standing
from takeup.errors import NotPossible
from takeup.lab.port import Stale
from takeup.settings import Settings
from takeup.tasks.finish import finish_box
from takeup.tasks.judging import decisions_on, judge_capture

QUIET = Settings(who="tester")
GOOD, REDONE = report_of(), report_of("sound", 1.0, REDO)


@pytest.fixture
def clipped(tmp_path):
    folder = tmp_path / "box"
    folder.mkdir()
    box = Box(folder, Record(folder, "tester"))
    box.record.start()
    box.record.append("box-started", {"version": "0", "items_sha256": ""})
    box.record.append("item-listed", {"id": "k1", "carrier": "cassette"}, item="k1")
    box.record.append("screened", {"outcome": "accept", "why": [], "do": []}, item="k1")
    return box, side(box, tmp_path, CLIPPED)


def say(box, stored, said, why="the tape is like that", version=None):
    return judge_capture(box.folder, QUIET, item="k1", stored=stored, said=said, why=why, who="Maren", version=version)


def held(box):
    one = box_standing(box).items[0]
    return one.verdict, one.next, [hold.key for hold in one.holds]


def test_a_redo_that_staff_accepted_holds_the_box_up_no_longer(clipped):
    box, stored = clipped
    assert held(box) == ("redo", "capture again", ["redo"])
    assert [one.why for one in finish_box(box.folder, QUIET).skipped] == ["finish.redo"]
    say(box, stored, "accept")
    assert held(box) == ("look", "finish", [])
    assert finish_box(box.folder, QUIET).made
    assert held(box)[1] == "describe"


def test_a_later_decision_wins_and_all_are_kept(clipped):
    box, stored = clipped
    say(box, stored, "accept")
    say(box, stored, "again", "it was the cable")
    assert held(box) == ("redo", "capture again", ["redo"])
    say(box, stored, "")
    assert held(box) == ("redo", "capture again", ["redo"])
    told = [(one.said, one.who) for one in decisions_on(box, "k1", stored)]
    assert told == [("accept", "Maren"), ("again", "Maren"), ("", "Maren")]


def test_asking_is_said_and_stops_nothing(clipped):
    box, stored = clipped
    say(box, stored, "ask", "is that her voice?")
    assert held(box) == ("redo", "capture again", ["redo", "asked"])


def test_a_decision_about_other_bytes_counts_no_more(clipped, tmp_path):
    box, stored = clipped
    say(box, stored, "accept")
    fact = box.record.latest("taken", "k1")[0]
    box.record.append("taken", fact.facts | {"sha256": "another"}, item="k1", key=stored)
    box.record.append(
        "checked", box.record.latest("checked", "k1")[0].facts | {"sha256": "another"}, item="k1", key=stored
    )
    assert held(box)[0] == "redo"


def test_two_people_decide_and_the_second_is_told(clipped):
    box, stored = clipped
    say(box, stored, "accept", version=0)
    with pytest.raises(Stale):
        say(box, stored, "again", version=0)
    assert [one.said for one in decisions_on(box, "k1", stored)] == ["accept"]


def test_the_same_said_twice_is_one_decision(clipped):
    box, stored = clipped
    assert say(box, stored, "accept").seq == say(box, stored, "accept").seq


@pytest.mark.parametrize(
    ("stored", "said", "key"), [("captures/k1/x.wav", "accept", "no-such-capture"), ("", "maybe", "no-such")]
)
def test_what_cannot_be_decided_is_refused(clipped, stored, said, key):
    box, real = clipped
    with pytest.raises(NotPossible, match=key):
        say(box, stored or real, said)


def candidate(name, part="a", report=None, said=""):
    return Candidate(stored=name, part=part, sha256=name, report=report, said=said)


def test_a_good_side_that_staff_want_again_is_replaced_by_the_next_try():
    choices, left = choose([candidate("one", report=GOOD, said="again"), candidate("two", report=GOOD)], joined=False)
    assert [one.captures[0].stored for one in choices] == ["two"] and [one.stored for one in left] == ["one"]


def test_of_two_bad_tries_the_accepted_one_stands():
    choices, _ = choose([candidate("one", report=REDONE, said="accept"), candidate("two", report=REDONE)], joined=False)
    assert [one.captures[0].stored for one in choices] == ["one"]


@given(st.sampled_from(["", "accept", "again", "ask"]), st.sampled_from([GOOD, REDONE]))
def test_accepting_never_makes_a_verdict_worse(said, report):
    order = ["good", "look", "redo"]
    found, now = report.verdict, candidate("x", report=report, said=said).verdict
    assert order.index(now) <= order.index(found) if said == "accept" else order.index(now) >= order.index(found)
