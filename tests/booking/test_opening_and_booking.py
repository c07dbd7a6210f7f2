"""Hours, gaps and single bookings by hand, and against the rule book minute by minute."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from takeup.plan.booking import Waiting, Wish, gap_left, is_no_show, stations_free, what_fits, who_fits, why_not
from takeup.plan.opening import (
    Booking,
    BookingRules,
    Gap,
    Lab,
    Station,
    Week,
    free_gaps,
    house_rules,
    open_spans,
    open_steps,
    step_begun,
)  # fmt: skip
from takeup.plan.schedule_places import Window
from takeup.tables.loader import load_rows
from takeup.tasks.schedule import why_said

MON = dt.date(2027, 3, 1)
TUE, WED = MON + dt.timedelta(days=1), MON + dt.timedelta(days=2)
TEN, NOON = 600, 720


def lab(*, hours=((600, 1200),), down=(), stations=2, closed=(), **rules):
    return Lab(
        week=Week(hours={day: tuple(hours) for day in range(5)}, closed=frozenset(closed)),
        stations=tuple(
            Station(id=f"audio-{n}", kind="audio", down=frozenset(down if n == 1 else ()))
            for n in range(1, stations + 1)
        ),
        rules=BookingRules(**{"step": 30, "shortest": 60, "longest": 240} | rules),
    )  # fmt: skip


def visit(start, end, station="audio-1", visitor="x", day=MON):
    return Booking(visitor=visitor, station=station, day=day, start=start, end=end)


def keys(wish, where, bookings=()):
    return [why.key for why in why_not(wish, where, bookings)]


def wish(start=TEN, minutes=60, day=MON, **facts):
    return Wish(**{"kind": "audio", "day": day, "start": start, "minutes": minutes, "visitor": "v"} | facts)


def test_steps_begin_at_each_opening_and_end_before_closing():
    """9:15 to 10:30 and 13:00 to 14:10 by half hours: 9:15, 9:45; 13:00, 13:30 (14:00 has no half hour left)."""
    week = Week(hours={0: ((555, 630), (780, 850))})
    assert open_steps(week, MON, 30) == (555, 585, 780, 810)
    assert open_steps(week, TUE, 30) == () and open_spans(week, TUE) == ()
    assert (step_begun(week, MON, 600, 30), step_begun(week, MON, 614, 30)) == (585, 585)


def test_gaps_keep_the_turn_round_on_both_sides_of_a_visit():
    """Open 10:00 to 20:00, a visit 12:00 to 14:00, 15 minutes turn-round: free until 11:45 and from 14:15."""
    where = lab(turn_round=15)
    gaps = free_gaps(where.stations[0], MON, where, [visit(720, 840), visit(600, 700, day=TUE)])
    assert [(gap.start, gap.end) for gap in gaps] == [(600, 705), (855, 1200)]
    assert free_gaps(lab(down=[WED]).stations[0], WED, where, []) == ()


@given(st.lists(st.tuples(st.integers(0, 1400), st.integers(1, 300)), max_size=6), st.integers(0, 45))
def test_gaps_hold_exactly_the_minutes_that_no_visit_disturbs(taken, turn):
    where = lab(hours=((600, 800), (900, 1200)), turn_round=turn)
    bookings = [visit(start, start + minutes) for start, minutes in taken]
    gaps = free_gaps(where.stations[0], MON, where, bookings)
    free = {at for gap in gaps for at in range(gap.start, gap.end)}
    wanted = {
        at for at in [*range(600, 800), *range(900, 1200)]
        if not any(b.start - turn <= at < b.end + turn for b in bookings)
    }  # fmt: skip
    assert free == wanted


def test_booking_that_keeps_every_rule_has_no_reason_against_it():
    assert keys(wish(), lab(), [visit(600, 660)]) == []
    assert stations_free(wish(), lab(), [visit(600, 660)]) == ("audio-2",)


def test_booking_reasons_are_all_told():
    where = lab(down=[MON], stations=1, starts_per_step=1, closed=[WED])
    assert keys(wish(minutes=30), lab()) == ["booking.too-short"]
    assert keys(wish(minutes=300), lab()) == ["booking.too-long"]
    assert keys(wish(day=WED), where) == ["booking.closed"]
    assert keys(wish(start=1170), lab()) == ["booking.outside-hours"]
    assert keys(wish(start=610), lab()) == ["booking.off-grid"]
    assert keys(wish(kind="film"), lab()) == ["booking.no-station"]
    assert keys(wish(), where) == ["booking.down"]
    assert keys(wish(), lab(stations=1), [visit(630, 700)]) == ["booking.taken"]
    assert keys(wish(), lab(), [visit(900, 960, visitor="v")]) == ["booking.own-day"]
    both = lab(per_visitor_per_day=2)
    assert keys(wish(), both, [visit(630, 700, "film-1", visitor="v")]) == ["booking.own-time"]
    assert keys(wish(), lab(starts_per_step=1), [visit(615, 700, "film-1")]) == ["booking.starts"]
    assert keys(wish(minutes=30, day=WED), lab(closed=[WED])) == ["booking.too-short", "booking.closed"]


def test_booking_reasons_are_worded_in_both_languages():
    (why,) = why_not(wish(start=610), lab(), [])
    assert why_said(why, "en") == "Visits begin every 30 minutes: 10:00 or 10:30."
    assert "10:30" in why_said(why, "zh-Hans")
    (why,) = why_not(wish(), lab(stations=1), [visit(630, 700)])
    assert "audio station" in why_said(why, "en")


def test_booking_turn_round_is_kept_to_the_minute():
    where = lab(stations=1, turn_round=30)
    assert keys(wish(start=690), where, [visit(600, 660)]) == []
    assert keys(wish(start=690), where, [visit(600, 661)]) == ["booking.taken"]


def test_walk_in_is_told_the_earliest_start_of_each_free_stretch():
    """At 10:10 the next step is 10:30. Station 1 is taken 10:00 to 12:00, station 2 from 11:00: 60 minutes do not fit
    there before 11:00, so it is free after 13:00; at most four hours are told."""
    bookings = [visit(600, 720), visit(660, 780, "audio-2")]
    found = what_fits("audio", 60, lab(), bookings, (MON, 610), days=1, most=5)
    assert [(gap.station, gap.start, gap.end) for gap in found] == [("audio-1", 720, 960), ("audio-2", 780, 1020)]


def test_walk_in_looks_into_the_next_days_when_today_is_full():
    full = [visit(600, 1200), visit(600, 1200, "audio-2")]
    found = what_fits("audio", 60, lab(), full, (MON, 610), days=3, most=2)
    assert [(gap.day, gap.station, gap.start) for gap in found] == [(TUE, "audio-1", 600), (TUE, "audio-2", 600)]
    assert what_fits("audio", 60, lab(), full, (MON, 610), days=1, most=2) == ()


def test_walk_in_is_not_offered_a_day_on_which_the_visitor_has_a_station():
    found = what_fits("audio", 60, lab(), [visit(900, 960, visitor="v")], (MON, 600), days=2, most=1, visitor="v")
    assert [gap.day for gap in found] == [TUE]


def waiting(name, asked, minutes=60, can=(), kind="audio"):
    return Waiting(id=name, visitor=name, kind=kind, minutes=minutes, can=can, asked=dt.datetime(2027, 2, asked))


def test_waiting_list_gives_a_gap_to_who_asked_first_among_those_it_fits():
    gap = Gap(station="audio-1", day=MON, start=720, end=840)
    can = (Window(day=MON, start=750, end=900),)
    people = [
        waiting("late", 9), waiting("long", 1, minutes=180), waiting("other-kind", 2, kind="film"),
        waiting("elsewhen", 3, can=(Window(day=TUE, start=600, end=900),)), waiting("first", 4, can=can),
    ]  # fmt: skip
    found = who_fits(gap, people, lab(), [])
    assert [(one.id, at.start) for one, at in found] == [("first", 750), ("late", 720)]


def test_no_show_leaves_the_rest_from_the_next_step_on():
    """Booked 10:00 to 12:00, nobody there at 10:16: free from 10:30 until the next visit at 13:00."""
    gone, later = visit(600, 720), visit(780, 840, visitor="y")
    rule = load_rows().value("booking.no_show.after_minutes")
    assert not is_no_show(gone, MON, 615, rule) and is_no_show(gone, MON, 616, rule)
    gap = gap_left(gone, MON, 616, lab(), [gone, later])
    assert gap == Gap(station="audio-1", day=MON, start=630, end=780)
    assert gap_left(gone, TUE, 0, lab(), [gone, later]) is None


def test_house_rules_are_those_of_the_rows():
    rules = house_rules(load_rows().section("booking.rules"))
    assert (rules.step, rules.shortest, rules.longest, rules.per_visitor_per_day) == (30, 60, 240, 1)
    assert (rules.turn_round, rules.starts_per_step) == (0, None)
