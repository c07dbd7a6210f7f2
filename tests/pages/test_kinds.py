"""Many of a kind: which are told, which only counted."""

from __future__ import annotations

from make.family import sound_report

from takeup.pages.kinds import Kind, kinds, more_of_a_kind
from takeup.streams import Finding
from takeup.tasks.picture import places_of


def finding(name: str, from_s: float, value: float | None = None, verdict: str = "look") -> Finding:
    return Finding(name=name, verdict=verdict, again="may help", from_s=from_s, to_s=from_s + 0.1, value=value)  # type: ignore[arg-type]


def test_kinds_the_weightiest_are_told_in_their_order_and_the_rest_counted():
    found = [finding("dropout", at, value) for at, value in enumerate((6.0, 40.0, 8.0, 20.0))]
    assert kinds([*found, finding("hum", 9.0)], most=2) == [
        Kind(told=(1, 3), rest=(0, 2)),
        Kind(told=(4,), rest=()),
    ]


def test_kinds_of_another_verdict_are_kinds_of_their_own():
    assert len(kinds([finding("dropout", 1.0), finding("dropout", 2.0, verdict="redo")], most=5)) == 2


def test_kinds_of_nothing_are_none():
    assert kinds([], most=2) == []


def test_more_of_a_kind_says_how_many_and_between_which_times():
    assert more_of_a_kind([61.0, 5.0, 125.0], "en") == "3 more of this kind, from 0:05 to 2:05."
    assert more_of_a_kind([61.0], "zh-Hans") == "另有 1 处同类，在 1:01。"


def test_places_of_hundreds_of_one_kind_leave_room_for_the_others():
    holes = [
        Finding(name="silence", says="silence.hole", verdict="look", again="may help", from_s=10.0 + at, to_s=10.1 + at)
        for at in range(200)
    ]
    loud = Finding(name="silence", says="silence.no-hiss", verdict="redo", again="helps")
    places = places_of(sound_report(300, [*holes, loud]), "en")
    assert len(places) == 3 and [bool(place.more) for place in places].count(True) == 1
    assert any("198 more of this kind" in place.more for place in places)
