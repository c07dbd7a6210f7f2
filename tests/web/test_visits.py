"""Booking, moving, ending visits, the waiting list, machines down, the feed: acted out as staff do it."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from takeup.lab.book import Slot, slot_of
from takeup.lab.hours import here, moment_of, zone_of
from takeup.lab.places import add_station, set_down
from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import PERSON, SETTING, STEP, TURN, VISIT, WAITING
from takeup.lab.visits import book, leave, no_show
from web.conftest import Forms


@pytest.fixture
def always_open(desk):
    """A lab that is open all day, every day, in a zone in which it is morning: no test hangs on when it runs."""
    hour = dt.datetime.now(dt.UTC).hour
    ahead = 10 - hour if hour <= 22 else 11
    with desk.lab.writing() as db:
        days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
        add(db, SETTING, key="opening", value={day: [["00:00", "24:00"]] for day in days})
        add(db, SETTING, key="zone", value=f"Etc/GMT{-ahead:+d}")  # these names count westwards
    return desk


@pytest.fixture
def shanghai(always_open):
    """The same lab where the clock is eight hours ahead of UTC all year."""
    with always_open.lab.writing() as db:
        change(db, SETTING, "zone", None, value="Asia/Shanghai")
    return always_open


@pytest.fixture
def tomorrow(always_open):
    with always_open.lab.reading() as db:
        return here(zone_of(db))[0] + dt.timedelta(days=1)


def _visits(desk, **where):
    with desk.lab.reading() as db:
        return [row for row in rows(db, VISIT, order=VISIT.c.id) if all(row[k] == v for k, v in where.items())]


def _book(desk, day, start=600, end=720, station="video-1", name="Ada Nieuwland", **more):
    with desk.lab.writing() as db:
        person = add(db, PERSON, name=name, contact="0123 456", lang="en", made_at=now(), forget_on="")
        return book(db, Slot(station_id=station, day=day, start=start, end=end), person_id=person, by="Maren", **more)


def _offered(html):
    return re.findall(r'name="start" value="([^"]+)"', html)


def test_booking_on_the_telephone_is_one_form_and_one_press(maren, always_open, tomorrow):
    chosen = {"kind": "video", "minutes": "120", "name": "Tan Marlow"}
    page = maren.send("/visits/new", "/visits/find", day=tomorrow.isoformat(), **chosen)
    start = f"video-1|{tomorrow}|600"
    assert start in _offered(page.text) and 'value="Tan Marlow"' in page.text
    _, fields = maren.fields("/visits/new")
    filled = fields | chosen | {"start": start, "contact": "0123"}
    told = maren.client.post("/visits/new", data=filled, follow_redirects=True)
    assert "Tan Marlow" in told.text and "10:00 (10 am)" in told.text
    (visit,) = _visits(always_open)
    assert (visit["from_min"], visit["to_min"], visit["state"], visit["booked_by"]) == (600, 720, "booked", "Maren")


def test_somebody_known_is_found_by_name_in_any_case_and_by_telephone(maren, always_open, tomorrow):
    _book(always_open, tomorrow, name="Ünal Çelik")
    _, fields = maren.fields("/visits/new")
    for typed in ("ünal", "ÇELIK", "0123-456"):
        told = maren.client.post("/visits/people", data=fields | {"name": typed}).json()
        assert [person["name"] for person in told] == ["Ünal Çelik"]
    assert maren.client.post("/visits/people", data=fields | {"name": "zz"}).json() == []
    page = maren.send("/visits/new", "/visits/find", name="ünal")  # the same without scripts
    assert re.search(r'name="person" value="1".*Ünal Çelik', page.text)


def test_a_known_person_keeps_one_row_and_one_visit_a_day(maren, always_open, tomorrow):
    _book(always_open, tomorrow)
    _, fields = maren.fields("/visits/new")
    again = fields | {"person": "1", "name": "", "start": f"cassette-1|{tomorrow}|900", "minutes": "60"}
    told = maren.client.post("/visits/new", data=again)
    assert told.status_code == 409
    assert "This visitor has Video 1 at 10:00 that day already" in told.text
    with always_open.lab.reading() as db:
        assert len(rows(db, PERSON)) == 1 and len(rows(db, VISIT)) == 1


def test_a_start_that_was_taken_meanwhile_is_told_and_what_was_typed_stays(maren, always_open, tomorrow):
    _, fields = maren.fields("/visits/new")
    _book(always_open, tomorrow)
    wanted = {"name": "Noor Haven", "contact": "n@example.org", "kind": "video", "day": str(tomorrow), "minutes": "60"}
    wanted = fields | wanted | {"start": f"video-1|{tomorrow}|630"}
    told = maren.client.post("/visits/new", data=wanted)
    assert told.status_code == 409 and "stands at that time" in told.text
    assert 'value="Noor Haven"' in told.text and 'value="n@example.org"' in told.text
    assert f"video-1|{tomorrow}|720" in _offered(told.text)
    assert len(_visits(always_open)) == 1


def test_a_form_sent_twice_books_once(maren, always_open, tomorrow):
    _, fields = maren.fields("/visits/new")
    wanted = fields | {"name": "Noor Haven", "start": f"video-1|{tomorrow}|600", "minutes": "60"}
    first, second = (maren.client.post("/visits/new", data=wanted) for _ in range(2))
    assert first.status_code == second.status_code == 303
    assert first.headers["location"] == second.headers["location"]
    assert len(_visits(always_open)) == 1


@pytest.mark.parametrize(
    "changed",
    [
        {"start": ""},
        {"start": "video-1"},
        {"start": "video-1|2027-13-45|x"},
        {"start": "nowhere|2031-03-04|600"},
        {"start": "video-1|2031-03-04|99999"},
        {"start": "../../x|2031-03-04|600"},
        {"start": "video-1|2001-01-01|600"},
        {"minutes": "1000"},
        {"minutes": "-5"},
        {"minutes": "two"},
        {"name": ""},
        {"name": "x" * 5000},
        {"name": "a\tb\tc\nd\te\tf"},
        {"person": "abc"},
        {"name": "<script>alert(1)</script>"},
        {"name": "\u202eمرحبا 👩‍👩‍👧 "},
        {"day": "tomorrow"},
        {"kind": "<b>"},
    ],
)
def test_bad_input_is_one_sentence_and_never_half_a_visit(maren, always_open, tomorrow, changed):
    _, fields = maren.fields("/visits/new")
    good = {"name": "Noor Haven", "start": f"video-1|{tomorrow}|600", "minutes": "60"}
    told = maren.client.post("/visits/new", data=fields | good | changed)
    assert told.status_code in (303, 400, 409)
    visits = _visits(always_open)
    with always_open.lab.reading() as db:
        assert len(rows(db, TURN)) == len(visits) == (told.status_code == 303)
    page = maren.look(told.headers["location"]).text if told.status_code == 303 else told.text
    assert "<script>alert" not in page


def test_a_walk_in_takes_a_free_station_with_one_press(maren, always_open):
    html = maren.look("/today").text
    forms = [fields for action, fields in Forms(html).forms if action == "/visits/walk-in"]
    assert len(forms) == 3
    told = maren.client.post("/visits/walk-in", data=forms[0], follow_redirects=True)
    assert told.status_code == 200 and "Walk-in" in told.text
    (visit,) = _visits(always_open)
    assert visit["state"] == "here" and visit["came_at"] and visit["person_id"] is None
    number = visit["id"]
    named = maren.send(f"/visits/{number}", f"/visits/{number}/who", name="Somebody New", brings="one tape")
    assert "Somebody New" in named.text and "one tape" in named.text
    with always_open.lab.reading() as db:
        assert one(db, TURN)["visit_id"] == number


def test_came_gone_and_the_rest_of_the_time_is_free(maren, always_open):
    with always_open.lab.reading() as db:
        day, minute = here(zone_of(db))
    start = minute - minute % 30
    number = _book(always_open, day, start, start + 240)
    assert maren.send(f"/visits/{number}", f"/visits/{number}/state", what="came").status_code == 200
    (visit,) = _visits(always_open, state="here")
    assert visit["came_at"]
    maren.send(f"/visits/{number}", f"/visits/{number}/state", what="gone")
    (visit,) = _visits(always_open, state="done")
    assert visit["to_min"] in (start + 30, start + 60)  # the present step's end, also when the clock has just moved on
    with always_open.lab.reading() as db:
        assert {row["at_min"] for row in rows(db, STEP)} == set(range(start, visit["to_min"], 5))


def test_gone_frees_from_the_next_step_on_by_the_labs_clock(shanghai):
    """Shanghai keeps UTC+8: 02:40 UTC is 10:40 there, so the step 10:30 to 11:00 is the last that stays."""
    day = dt.date(2031, 3, 4)
    number = _book(shanghai, day, 600, 720, state="here")
    with shanghai.lab.writing() as db:
        leave(db, number, None, at=dt.datetime(2031, 3, 4, 2, 40, tzinfo=dt.UTC))
        assert slot_of(one(db, VISIT)).end == 660


def test_a_no_show_frees_the_time_and_the_waiting_list_is_asked(maren, shanghai):
    day = dt.date(2031, 3, 4)
    number = _book(shanghai, day, 600, 780)
    with shanghai.lab.writing() as db:
        other = add(db, PERSON, name="Waits Long", contact="0777", lang="en", made_at=now(), forget_on="")
        add(db, WAITING, person_id=other, kind="video", minutes=60, can={}, asked_at=now(), state="waiting", brings="")
        gap = no_show(db, number, None, at=dt.datetime(2031, 3, 4, 2, 16, tzinfo=dt.UTC))  # 10:16 there
    assert (gap.start, gap.station) == (630, "video-1") and gap.end == 1440
    page = maren.look(f"/visits/{number}").text
    assert "Waits Long" in page and "0777" in page
    start = next(one_ for one_ in _offered(page) if one_.startswith("video-1|2031-03-04"))
    told = maren.send(f"/visits/{number}", "/visits/waiting/book", start=start)
    assert told.status_code == 200 and "Waits Long" in told.text
    with shanghai.lab.reading() as db:
        row = one(db, WAITING)
        assert row["state"] == "booked" and one(db, VISIT, VISIT.c.id == row["visit_id"])["person_id"] == other
    assert "Nobody waits." in maren.look("/visits/waiting").text


def test_somebody_on_the_waiting_list_is_offered_only_when_they_can(maren, always_open, tomorrow):
    maren.send(
        "/visits/waiting", "/visits/waiting", name="Only Mornings", kind="film", minutes="60", part="morning",
        first=(tomorrow + dt.timedelta(days=2)).isoformat(),
    )  # fmt: skip
    assert "Choose what for" not in maren.look("/visits/waiting").text
    with always_open.lab.reading() as db:
        assert not rows(db, WAITING), "there is no film station here"
    maren.send(
        "/visits/waiting", "/visits/waiting", name="Only Mornings", kind="video", minutes="60", part="morning",
        first=(tomorrow + dt.timedelta(days=2)).isoformat(),
    )  # fmt: skip
    offered = [one_.split("|") for one_ in _offered(maren.look("/visits/waiting").text)]
    assert offered and all(int(start) + 60 <= 720 for _, _, start in offered)
    assert min(day for _, day, _ in offered) == (tomorrow + dt.timedelta(days=2)).isoformat()


def test_moving_keeps_who_and_what_and_frees_the_old_time(maren, always_open, tomorrow):
    number = _book(always_open, tomorrow, brings="two tapes")
    where, fields = maren.fields(f"/visits/{number}", f"/visits/{number}/move")
    assert maren.client.post(where, data=fields | {"start": f"video-1|{tomorrow}|630"}).status_code == 303
    (visit,) = _visits(always_open)
    assert (visit["from_min"], visit["to_min"], visit["brings"]) == (630, 750, "two tapes")
    _book(always_open, tomorrow, 570, 630, name="Takes the old time")
    refused = maren.send(f"/visits/{number}", f"/visits/{number}/move", start=f"video-1|{tomorrow}|570")
    assert refused.status_code == 409
    assert _visits(always_open, id=number)[0]["from_min"] == 630


def test_two_who_change_the_same_visit_the_second_is_told(maren, ola, always_open, tomorrow):
    number = _book(always_open, tomorrow)
    where, stale = ola.fields(f"/visits/{number}", f"/visits/{number}/move")
    maren.send(f"/visits/{number}", f"/visits/{number}/move", start=f"video-1|{tomorrow}|900")
    told = ola.client.post(where, data=stale | {"start": f"video-1|{tomorrow}|300"})
    assert told.status_code == 409 and "Nothing was overwritten" in told.text
    assert _visits(always_open)[0]["from_min"] == 900


def test_a_helper_books_and_moves_but_takes_nothing_out_of_the_book(ola, maren, always_open, tomorrow):
    number = _book(always_open, tomorrow)
    assert "Cancel this visit" not in ola.look(f"/visits/{number}").text
    _, fields = ola.fields(f"/visits/{number}", f"/visits/{number}/move")
    assert ola.client.post(f"/visits/{number}/cancel", data=fields).status_code == 403
    assert _visits(always_open)[0]["state"] == "booked"
    told = maren.send(f"/visits/{number}", f"/visits/{number}/cancel", why="ill")
    assert told.status_code == 200
    (visit,) = _visits(always_open)
    assert (visit["state"], visit["why"]) == ("cancelled", "ill")
    with always_open.lab.reading() as db:
        assert not rows(db, STEP) and not rows(db, TURN)


def test_a_visitor_sees_no_page_of_booking(tan, always_open, tomorrow):
    number = _book(always_open, tomorrow)
    for url in ("/visits", "/visits/new", f"/visits/{number}", "/visits/waiting", "/visits/down", "/visits/feed"):
        assert tan.look(url).status_code == 403


def test_a_machine_that_goes_down_lists_its_visits_and_each_is_moved_with_one_press(maren, always_open, tomorrow):
    with always_open.lab.writing() as db:
        add_station(db, "video-2", "video", "Video 2", "录像 2", place=5)
    number = _book(always_open, tomorrow)
    days = {"first": tomorrow.isoformat(), "last": tomorrow.isoformat()}
    page = maren.send("/visits/down", "/visits/down", station="video-1", why="belt", **days)
    assert "Ada Nieuwland" in page.text and "belt" in page.text
    offered = _offered(page.text)
    assert offered[0].startswith("video-2|")
    moved = maren.send("/visits/down", f"/visits/{number}/move", start=f"video-2|{tomorrow}|600")
    assert "No booked visit stands at a station that does not run." in moved.text
    assert _visits(always_open)[0]["station_id"] == "video-2"


def test_planning_all_anew_shows_first_moves_then_and_leaves_the_promised_alone(maren, always_open, tomorrow):
    with always_open.lab.writing() as db:
        add_station(db, "video-2", "video", "Video 2", "录像 2", place=5)
    promised = _book(always_open, tomorrow, 600, 720, "video-2", name="Promised")
    hit = [_book(always_open, tomorrow, 600 + 120 * n, 720 + 120 * n, name=f"Hit {n}") for n in range(3)]
    with always_open.lab.writing() as db:
        set_down(db, "video-1", tomorrow.isoformat(), tomorrow.isoformat(), "belt")
    _, fields = maren.fields("/visits/down", "/visits/down/plan")
    shown = maren.client.post("/visits/down/plan", data=fields)
    assert {row["station_id"] for row in _visits(always_open) if row["id"] in hit} == {"video-1"}
    moves = re.findall(r'name="move" value="([^"]+)"', shown.text)
    assert len(moves) == 3
    form = next(fields for action, fields in Forms(shown.text).forms if action == "/visits/down/move")
    done = maren.client.post("/visits/down/move", data=form | {"move": moves})
    assert done.status_code == 303
    assert {row["station_id"] for row in _visits(always_open) if row["id"] in hit} == {"video-2"}
    kept = _visits(always_open, id=promised)[0]
    assert (kept["station_id"], kept["from_min"], kept["version"]) == ("video-2", 600, 1)


def test_a_plan_with_one_stale_move_moves_nothing(maren, always_open, tomorrow):
    numbers = [_book(always_open, tomorrow, 600 + 120 * n, 720 + 120 * n, name=f"Hit {n}") for n in range(2)]
    day = tomorrow + dt.timedelta(days=3)
    _, fields = maren.fields("/visits/down", "/visits/down")
    moves = [f"{numbers[0]}|1|video-1|{day}|600|720", f"{numbers[1]}|7|video-1|{day}|720|840"]
    assert maren.client.post("/visits/down/move", data=fields | {"move": moves}).status_code == 409
    assert {row["day"] for row in _visits(always_open)} == {tomorrow.isoformat()}


def test_the_feed_names_nobody_unless_the_lab_says_so_and_a_renewed_address_ends_the_old_one(
    maren, ola, shanghai, somebody
):
    with shanghai.lab.reading() as db:
        tomorrow = here(zone_of(db))[0] + dt.timedelta(days=1)
    _book(shanghai, tomorrow, name="Private Person")
    _book(shanghai, tomorrow, station="cassette-1", name="Another One")
    assert ola.client.post("/visits/feed", data=ola.fields("/visits/new")[1] | {"what": "renew"}).status_code == 403
    page = maren.send("/visits/feed", "/visits/feed", what="renew").text
    (address,) = set(re.findall(r"(/calendar/[\w-]{40,}/)lab\.ics", page))
    reader = somebody()
    feed = reader.client.get(f"{address}lab.ics")
    assert feed.headers["content-type"] == "text/calendar; charset=utf-8"
    assert feed.text.count("BEGIN:VEVENT") == 2 and "Private" not in feed.text
    utc = (dt.datetime.combine(tomorrow, dt.time(10)) - dt.timedelta(hours=8)).strftime("%Y%m%dT%H%M%SZ")
    assert f"DTSTART:{utc}" in feed.text  # Shanghai keeps UTC+8 all year
    assert reader.client.get(f"{address}video-1.ics").text.count("BEGIN:VEVENT") == 1
    with shanghai.lab.writing() as db:
        row = one(db, SETTING, SETTING.c.key == "feed")
        change(db, SETTING, "feed", None, value=row["value"] | {"names": True})
    assert "Private Person" in reader.client.get(f"{address}lab.ics").text
    maren.send("/visits/feed", "/visits/feed", what="renew")
    assert reader.client.get(f"{address}lab.ics").status_code == 404
    assert reader.client.get("/calendar//lab.ics").status_code == 404


@pytest.mark.parametrize(
    ("day", "minute", "utc"),
    [
        (dt.date(2027, 3, 27), 600, "2027-03-27T09:00"),  # winter, UTC+1
        (dt.date(2027, 3, 28), 600, "2027-03-28T08:00"),  # summer time has begun at 2:00, UTC+2
        (dt.date(2027, 10, 30), 600, "2027-10-30T08:00"),
        (dt.date(2027, 10, 31), 600, "2027-10-31T09:00"),  # it has ended at 3:00
        (dt.date(2027, 10, 31), 150, "2027-10-31T00:30"),  # 2:30 comes twice: the first is meant
    ],
)
def test_the_wall_clock_is_meant_on_days_when_the_clock_changes(desk, day, minute, utc):
    """Central European time, by the rule of the zone: last Sundays of March and October."""
    with desk.lab.writing() as db:
        add(db, SETTING, key="zone", value="Europe/Berlin")
        zone = zone_of(db)
    moment = moment_of(zone, day, minute)
    assert moment.strftime("%Y-%m-%dT%H:%M") == utc
    assert here(zone, moment) == (day, minute)


def test_the_week_shows_every_visit_and_every_free_stretch(maren, always_open, tomorrow):
    _book(always_open, tomorrow, name="Ada Nieuwland")
    page = maren.look(f"/visits?week={tomorrow}").text
    assert "Ada Nieuwland" in page and "10:00–12:00" in page
    assert page.count(f"kind=video&amp;day={tomorrow}") == 2  # before and after the visit
    for url in ("/visits?week=nonsense", "/visits?week=9999-99-99", "/visits?week=0001-01-01"):
        assert maren.look(url).status_code == 200


@pytest.mark.parametrize("url", ["/visits/999999", "/visits/x", "/visits/%F0%9F%98%80", "/visits/99999999999999999999"])
def test_no_such_visit_is_a_sentence(maren, always_open, url):
    assert maren.look(url).status_code == 404
