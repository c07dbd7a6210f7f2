"""``takeup schedule`` as a script uses it; every expected visit is worked out by hand in the test."""

import copy
import json

import pytest
from make.command import takeup
from make.visits import DAYS, request_file

from takeup.errors import NotPossible
from takeup.plan.schedule import plan_schedule
from takeup.plan.schedule_reading import read_requests
from takeup.tables.loader import load_rows
from takeup.tasks.schedule import schedule_answer

ROWS = load_rows()
MON, TUE, WED = DAYS


def planned(document, lang="en"):
    asked = read_requests(copy.deepcopy(document), ROWS.section("booking.rules"), 366)
    made = plan_schedule(asked.requests, asked.lab, asked.first, asked.last, promised=asked.promised)
    return schedule_answer(asked, made, lang)


def visits(said):
    return [(v["visitor"], v["station"], v["date"], v["from"], v["to"], v["minutes"]) for v in said["visits"]]


def one(visitor="v1", kind="video", minutes=60, can=((MON, "10:00", "14:00"),), asked="2027-02-11T09:30"):
    return visitor, kind, minutes, can, asked


def test_schedule_command_answers_as_the_contract_writes(tmp_path):
    path = tmp_path / "requests.json"
    path.write_text(json.dumps(request_file([one(minutes=90), one("v2", minutes=30)])), "utf-8")
    ran = takeup("schedule", path, "--json")
    assert ran.status == 0, ran.err
    assert ran.json["visits"] == [
        {"visitor": "v1", "station": "video-1", "date": MON, "from": "10:00", "to": "11:30", "minutes": 90}
    ]
    (left,) = ran.json["unplaced"]
    assert (left["visitor"], left["station"], left["minutes"]) == ("v2", "video", 30) and "60 minutes" in left["why"]
    assert (ran.json["minutes_placed"], ran.json["best_possible"]) == (90, True)
    chinese = takeup("schedule", path, "--lang", "zh-Hans")
    assert chinese.status == 0 and "排不下更多的申请" in chinese.out


def test_schedule_longer_than_the_longest_is_split_over_days():
    """240 minutes, at most 120 a visit: 120 on each of two days; with one day only, nothing of it."""
    two = [(MON, "10:00", "14:00"), (TUE, "10:00", "14:00")]
    said = planned(request_file([one(minutes=240, can=two)]))
    assert [(v[2], v[5]) for v in visits(said)] == [(MON, 120), (TUE, 120)]
    said = planned(request_file([one(minutes=240)]))
    assert (visits(said), said["minutes_placed"], said["best_possible"]) == ([], 0, True)
    assert "2 visits on different days" in said["unplaced"][0]["why"]


def test_schedule_split_takes_parts_that_fit_the_days():
    """150 minutes, 120 the longest: Monday has 60 free, Tuesday 90: only 60 and 90 add up."""
    can = [(MON, "10:00", "11:00"), (TUE, "12:00", "13:30")]
    said = planned(request_file([one(minutes=150, can=can)]))
    assert visits(said) == [
        ("v1", "video-1", MON, "10:00", "11:00", 60), ("v1", "video-1", TUE, "12:00", "13:30", 90),
    ]  # fmt: skip


def test_schedule_more_minutes_win_over_who_asked_first():
    """Two hours free: one request of 120 beats an earlier one of 60 that leaves no room for it."""
    early = one("early", minutes=60, can=[(MON, "10:30", "11:30")], asked="2027-02-01T09:00")
    long = one("long", minutes=120, can=[(MON, "10:00", "12:00")], asked="2027-02-02T09:00")
    said = planned(request_file([early, long], opening=("10:00", "12:00")))
    assert [v[0] for v in visits(said)] == ["long"]
    assert "More people asked" in said["unplaced"][0]["why"]


def test_schedule_same_minutes_more_requests_win():
    """Two hours free: 120, or 60 and 60, however early the 120 was asked for."""
    asked = [one("long", minutes=120, asked="2027-01-01T09:00"), one("a"), one("b")]
    said = planned(request_file(asked, opening=("10:00", "12:00")))
    assert sorted(v[0] for v in visits(said)) == ["a", "b"]


def test_schedule_like_requests_come_in_the_order_of_asking():
    """Three want the same two hours; the two who asked first come, the first first, whatever the order of the list."""
    asked = [
        one("third", asked="2027-02-11T09:30"), one("first", asked="2027-02-10T18:00+08:00"),
        one("second", asked="2027-02-10T11:00"),
    ]  # fmt: skip
    said = planned(request_file(asked, opening=("10:00", "12:00")))
    assert [(v[0], v[3]) for v in visits(said)] == [("first", "10:00"), ("second", "11:00")]


def test_schedule_promised_stations_are_not_counted_as_one():
    """Station 1 is promised 10 to 11, station 2 from 12 to 13: at every moment one is free, and none for 10 to 13."""
    promised = [
        {"visitor": "p", "station": "video-1", "date": MON, "from": "10:00", "to": "11:00", "minutes": 60},
        {"visitor": "q", "station": "video-2", "date": MON, "from": "12:00", "to": "13:00", "minutes": 60},
    ]
    document = request_file(
        [one(minutes=180)], ("video", "video"), opening=("10:00", "13:00"), longest_minutes=180, promised=promised
    )
    said = planned(document)
    assert visits(said) == [] and said["best_possible"] is True and said["promised"] == promised
    assert "promised to others" in said["unplaced"][0]["why"]
    document["requests"][0]["minutes"] = 120  # fits before station 2's promise, and after station 1's
    assert visits(planned(document)) == [("v1", "video-2", MON, "10:00", "12:00", 120)]


def test_schedule_turn_round_keeps_visits_apart_and_asks_nothing_at_closing():
    """10:00 to 12:30, visits of 60, 30 between: 10:00-11:00 and 11:30-12:30."""
    said = planned(request_file([one("a"), one("b")], opening=("10:00", "12:30"), turn_round_minutes=30))
    assert [v[3] for v in visits(said)] == ["10:00", "11:30"]


def test_schedule_staggered_starts_hold_over_all_stations():
    said = planned(request_file([one("a"), one("b", "film")], ("video", "film"), starts_per_step=1))
    assert [v[3] for v in visits(said)] == ["10:00", "10:30"]


def test_schedule_one_station_a_day_for_each_visitor():
    """The same visitor asks for two kinds on one day: one of them is left, and told why."""
    said = planned(request_file([one("a", minutes=90), one("a", "film")], ("video", "film")))
    assert [v[1] for v in visits(said)] == ["video-1"] and "another visit already" in said["unplaced"][0]["why"]
    both = planned(request_file([one("a", minutes=90), one("a", "film")], ("video", "film"), per_visitor_per_day=2))
    assert [(v[1], v[3]) for v in visits(both)] == [("video-1", "10:00"), ("film-2", "11:30")]


@pytest.mark.parametrize(
    ("request_", "more", "said"),
    [
        (one(kind="film"), {}, "no station of the kind"),
        (one(can=[(MON, "10:00", "10:30")]), {}, "too short for a visit"),
        (one(can=[]), {}, "No times to come"),
        (one(can=[("2027-04-01", "10:00", "14:00")]), {}, "outside the days planned"),
        (one(), {"closed": [MON]}, "closed on every day"),
        (one(can=[(MON, "15:00", "18:00")]), {}, "within its opening hours"),
        (one(), {"down": {"video-1": [MON]}}, "out of service"),
    ],
)
def test_schedule_impossible_request_is_told_why_and_best_is_still_proven(request_, more, said):
    answer = planned(request_file([request_, one("other", can=[(TUE, "10:00", "11:00")])], **more))
    assert said in answer["unplaced"][0]["why"]
    assert answer["best_possible"] is True and len(answer["visits"]) == 1
    assert planned(request_file([request_], **more), "zh-Hans")["unplaced"][0]["why"].endswith("。")


def test_schedule_without_time_says_that_nothing_is_proven():
    asked = read_requests(request_file([one()]), ROWS.section("booking.rules"), 366)
    made = plan_schedule(asked.requests, asked.lab, asked.first, asked.last, seconds_left=lambda: 0.0)
    assert made.best_possible is False and len(made.bookings) == 1  # in the order of asking, for want of a proof


def broken(**changes):
    document = request_file([one()])
    for path, value in changes.items():
        *way, last = path.split("__")
        target = document
        for name in way:
            target = target[int(name[1:])] if name.startswith("n") and name[1:].isdigit() else target[name]
        target[last] = value
    return document


@pytest.mark.parametrize(
    ("document", "key"),
    [
        ([], "not-an-object"),
        ({"from": MON}, "part-missing"),
        (broken(**{"from": "2027-03-09"}), "period-backwards"),
        (broken(to="2029-03-09"), "period-long"),
        (broken(to="2027-02-30"), "not-a-day"),
        (broken(opening__mon=[["10:00", "25:00"]]), "not-a-time"),
        (broken(opening__mon=[["14:00", "10:00"]]), "span-backwards"),
        (broken(opening__mon=["10:00"]), "not-a-span"),
        (broken(opening__monday=[]), "not-a-weekday"),
        (broken(closed="2027-03-01"), "not-a-list"),
        (broken(stations=[{"id": "a", "station": "video"}] * 2), "station-twice"),
        (broken(stations=[{"id": "", "station": "video"}]), "not-a-name"),
        (broken(rules__step_minutes=0), "not-a-number"),
        (broken(rules__step_minutes=True), "not-a-number"),
        (broken(rules__longest_minutes=float("nan")), "not-a-number"),
        (broken(rules__shortest_minutes=200), "shortest-longest"),
        (broken(rules__reserve=1), "rule-unknown"),
        (broken(rules__promised=[{"visitor": "p", "station": "x", "date": MON}]), "station-unknown"),
        (broken(requests__n0__minutes=-60), "not-a-number"),
        (broken(requests__n0__minutes="60"), "not-a-number"),
        (broken(requests__n0__can=[[MON, "10:00"]]), "not-a-window"),
        (broken(requests__n0__asked="yesterday"), "not-a-moment"),
        (broken(requests__n0__visitor={"a": 1}), "not-a-name"),
    ],
)
def test_schedule_bad_document_is_refused_with_its_place(document, key):
    with pytest.raises(NotPossible) as refused:
        read_requests(document, ROWS.section("booking.rules"), 366)
    assert refused.value.key == f"schedule.{key}"


def test_schedule_two_promises_for_one_station_and_time_are_refused():
    visit = {"visitor": "p", "station": "video-1", "date": MON, "from": "10:00", "to": "11:00"}
    document = request_file([one()], promised=[visit, visit | {"visitor": "q", "from": "10:30", "to": "12:00"}])
    with pytest.raises(NotPossible, match="promised-twice"):
        read_requests(document, ROWS.section("booking.rules"), 366)


@pytest.mark.parametrize("text", [b"", b"{", b"\xff\xfe", b"[" * 100_000, b"9" * 10_000])
def test_schedule_command_file_that_is_no_json_is_one_sentence(tmp_path, text):
    path = tmp_path / "requests.json"
    path.write_bytes(text)
    ran = takeup("schedule", path, "--json")
    assert (ran.status, ran.out, len(ran.err.strip().split("\n"))) == (2, "", 1)


def test_schedule_command_missing_file_is_one_sentence(tmp_path):
    ran = takeup("schedule", tmp_path / "none.json")
    assert ran.status == 2 and ran.err.startswith("There is no request file")
