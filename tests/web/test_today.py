"""The librarian's day: what stands on it, that it fits one screen, that a bell is there within two seconds."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from takeup.box.folder import look_into
from takeup.lab.asked import ask_somebody
from takeup.lab.book import Slot
from takeup.lab.day import day_of
from takeup.lab.hours import here, zone_of
from takeup.lab.logbook import write_log
from takeup.lab.places import add_station, set_down
from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ASKED, BOX, CAPTURE, JOB, PERSON, SETTING, VISIT
from takeup.lab.visits import book
from takeup.tasks.demo_visits import fill_visits
from web.browsing import awake, becomes, faults_of, in_a_browser


def _utc(hour, minute=0, day=4):
    return dt.datetime(2031, 3, day, hour, minute, tzinfo=dt.UTC)


@pytest.fixture
def in_utc(desk):
    """Where the lab's clock is that of the tests' arithmetic: opening 10 to 18, Tuesday 4 March 2031."""
    with desk.lab.writing() as db:
        add(db, SETTING, key="zone", value="Etc/UTC")
        person = add(db, PERSON, name="Ada Nieuwland", contact="", lang="en", made_at=now(), forget_on="")
        slot = Slot(station_id="video-1", day=dt.date(2031, 3, 4), start=600, end=720)
        book(db, slot, person_id=person, by="Maren", brings="two tapes")
    return desk


@pytest.mark.parametrize(
    ("moment", "shows", "overdue"),
    [
        (_utc(9, 59), "booked", False),
        (_utc(10, 0), "booked", False),
        (_utc(10, 1), "late", False),
        (_utc(10, 15), "late", False),
        (_utc(10, 16), "late", True),  # the row says 15 minutes; exactly so many are still in time
        (_utc(12, 0, day=5), "late", True),
        (_utc(12, 0, day=3), "booked", False),
    ],
)
def test_who_is_late_and_whose_time_may_be_given_away(in_utc, moment, shows, overdue):
    with in_utc.lab.reading() as db:
        (visit,) = day_of(db, "2031-03-04", moment)["visits"]
    assert (visit["shows"], visit["overdue"]) == (shows, overdue)


def test_whoever_said_they_come_later_is_late_from_then_on(in_utc):
    with in_utc.lab.writing() as db:
        change(db, VISIT, 1, None, late_min=15)
        (visit,) = day_of(db, "2031-03-04", _utc(10, 15))["visits"]
        assert visit["shows"] == "booked"
        (visit,) = day_of(db, "2031-03-04", _utc(10, 31))["visits"]
        assert (visit["shows"], visit["overdue"]) == ("late", True)


def test_free_times_of_the_day_begin_at_the_next_step(in_utc):
    """12:00 to 18:00 is free at the video station; at 12:10 the next start is 12:30, four hours at most."""
    with in_utc.lab.reading() as db:
        day = day_of(db, "2031-03-04", _utc(12, 10))
    video = next(place for place in day["stations"] if place["id"] == "video-1")
    assert video["gaps"] == [{"start": 750, "end": 990, "most": 240}]
    assert day["hours"] == (10, 18) and day["now"] == 730


def test_an_empty_day_says_so(maren, desk):
    with desk.lab.writing() as db:
        days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
        add(db, SETTING, key="opening", value={day: [["00:00", "24:00"]] for day in days})
    page = maren.look("/today").text
    for said in ("Nobody is booked today.", "Nothing waits for you.", "No capture was judged good on this day yet."):
        assert said in page


def test_a_closed_day_says_so(maren, desk):
    with desk.lab.writing() as db:
        add(db, SETTING, key="closed", value=["2031-03-04"])
    assert "The lab is closed on this day." in maren.look("/today?day=2031-03-04").text


@pytest.mark.parametrize("day", ["nonsense", "9999-99-99", "0001-01-01", "2031-03-04'--", "😀"])
def test_a_day_that_is_none_shows_today(maren, day):
    assert maren.look("/today", params={"day": day}).status_code == 200


def test_what_is_good_asks_for_nothing_and_is_counted_by_the_labs_day(in_utc):
    with in_utc.lab.writing() as db:
        for name, verdict, at in (
            ("a", "good", "2031-03-04T00:00:00.000+00:00"),
            ("b", "good", "2031-03-04T23:59:59.000+00:00"),
            ("c", "look", "2031-03-04T12:00:00.000+00:00"),
            ("d", "good", "2031-03-05T00:00:00.000+00:00"),
        ):
            add(db, CAPTURE, id=name, station_id="video-1", name=name, state="taken", verdict=verdict, begun_at=at)
        assert day_of(db, "2031-03-04")["good"] == 2
        change(db, SETTING, "zone", None, value="Asia/Shanghai")  # there "b" and "d" lie on the 5th
        assert day_of(db, "2031-03-04")["good"] == 1
        assert day_of(db, "2031-03-05")["good"] == 2


def test_what_is_ready_by_the_boxes_own_records_and_what_was_left_behind(maren, desk, finished):
    """The disk is the truth: a job that says done makes no box ready, a parcel in the record does."""
    from make.handing import QUICK

    from takeup.tasks.pack import pack

    box, at = finished, "2031-03-04T14:31:00.000+00:00"
    with desk.lab.writing() as db:
        add(db, JOB, kind="pack", box_id=box["id"], state="done", ended_at=at, by="", made_at=at)
        change(db, BOX, box["id"], None, originals_in=7, originals_out=6, facts={"drive_free_bytes": 100})
        write_log(db, "lost", "SD card <b>", who="Maren", still_open=True)
    page = maren.look("/today").text
    assert "packed, not on a drive yet" not in page and "7 originals in, 6 out" in page
    assert "SD card &lt;b&gt;" in page and "drive too small: " in page  # two finished files are longer than 100 bytes
    with desk.lab.writing() as db:
        change(db, BOX, box["id"], None, facts={"drive_free_bytes": 10**12})
    assert "drive too small" not in maren.look("/today").text
    pack(box["path"], QUICK)
    assert "packed, not on a drive yet" in maren.look("/today").text
    record = look_into(box["path"], QUICK).record
    packed = record.facts("packed")[-1].facts
    facts = {"manifest_sha256": packed["manifest_sha256"], "receipt": "receipts/x.json", "captures": []}
    record.append("delivered", facts, key="x")
    assert re.search(r"drive read back \d\d:\d\d", maren.look("/today").text)
    with desk.lab.writing() as db:
        add(db, JOB, kind="deliver", box_id=box["id"], state="stopped", ended_at=at, by="", made_at=at)
    assert "the copying stopped" in maren.look("/today").text
    with desk.lab.writing() as db:
        change(db, BOX, box["id"], None, closed_at=now(), originals_out=7)
    assert "drive read back" not in maren.look("/today").text


def test_a_bell_stays_until_somebody_answers_and_only_once(maren, ola, desk):
    with desk.lab.writing() as db:
        ask_somebody(db, "video-1", "bell", "b/1")
    where, stale = ola.fields("/today", "/today/answered")
    assert "Somebody rang the bell." in maren.look("/today").text
    assert "Somebody rang the bell." in maren.look("/today").text
    assert maren.send("/today", "/today/answered", follow=False).status_code == 303
    assert "Somebody rang the bell." not in maren.look("/today").text
    assert ola.client.post(where, data=stale).status_code == 409
    with desk.lab.reading() as db:
        assert (one(db, ASKED)["who"], one(db, ASKED)["answer"]) == ("Maren", "done")


def test_more_questions_than_fit_are_one_press_away(maren, desk):
    with desk.lab.writing() as db:
        for number in range(9):
            words = {"en": {"why": f"Speck number {number}."}, "zh-Hans": {"why": f"斑点 {number}"}}
            ask_somebody(db, "flatbed-1", "drift", f"d/{number}", facts={"words": words})
        ask_somebody(db, "video-1", "bell", "b/1")
    page = maren.look("/today").text
    assert page.index("Somebody rang the bell.") < page.index("Speck number 0.")
    assert "and 5 more" in page and "Speck number 8." not in page
    assert "Speck number 8." in maren.look("/today/eyes").text
    assert "斑点 8" in maren.look("/today/eyes?lang=zh-Hans").text


@pytest.mark.parametrize(
    "fact", [{}, {"words": None}, {"finding": None}, {"words": {"en": "plain"}}, {"finding": {"name": "no such"}}]
)
@pytest.mark.parametrize("kind", ["finding", "bell", "drift", "drive", "gift", "of a later takeup"])
def test_a_question_of_any_kind_and_facts_has_a_sentence(maren, desk, box, kind, fact):
    with desk.lab.writing() as db:
        ask_somebody(db, "video-1", kind, "x", facts=fact, box_id=box["id"], verdict="redo")
    assert maren.look("/today").status_code == 200


def test_the_film_station_that_is_down_leads_to_its_visits(maren, desk):
    with desk.lab.writing() as db:
        day = here(zone_of(db))[0]
        add(db, SETTING, key="opening", value={name: [["00:00", "24:00"]] for name in
                                               ("mon", "tue", "wed", "thu", "fri", "sat", "sun")})  # fmt: skip
        book(db, Slot(station_id="video-1", day=day, start=1320, end=1380), person_id=None, by="Maren")
        set_down(db, "video-1", day.isoformat(), day.isoformat(), "gate lamp")
    page = maren.look("/today").text
    assert "gate lamp" in page and 'href="/visits/down"' in page


# --- in a browser ---------------------------------------------------------------------------------------------------
@pytest.fixture
def filled(desk):
    """The demo's visits, in a lab of five stations."""
    with desk.lab.writing() as db:
        add_station(db, "film-1", "film", "Film", "电影胶片", place=4)
        add_station(db, "microfilm-1", "microfilm", "Microfilm", "缩微胶片", place=5)
    fill_visits(desk.lab)


@pytest.fixture
def page(filled, screens):
    """Maren's screen."""
    page = screens.staff(viewport={"width": 1280, "height": 800})
    page.goto("/today")
    return page


def _sees(page, text, within_ms=2000):
    """Whether a text is there within so long; looked for from outside, as the page's policy forbids evaluating text."""
    page.get_by_text(text).first.wait_for(state="visible", timeout=within_ms)
    return True


@in_a_browser
def test_a_full_day_fits_one_screen_and_axe_finds_nothing(page, desk):
    with desk.lab.writing() as db:
        box = add(db, BOX, number="0099", folder="0099", title="", opened_at=now(), originals_in=7, originals_out=6)
        for number in range(6):
            why = "The right channel has no tape hiss at all, so it is the cable and not the tape. " * 3
            facts = {
                "words": {
                    "en": {"why": why},
                    "zh-Hans": {"why": "右声道完全没有磁带底噪，所以是线的问题，不是磁带的问题。" * 3},
                }
            }
            ask_somebody(db, "cassette-1", "finding", f"f/{number}", verdict="redo", facts=facts, box_id=box, item="k2")
            add(db, JOB, kind="pack", box_id=box, state="done", ended_at=now(), by="", made_at=now())
            write_log(
                db, "lost", f"a thing with a rather long name, number {number}, by the door", who="", still_open=True
            )
    for lang in ("en", "zh-Hans"):
        page.goto(f"/today?lang={lang}")
        height = page.evaluate("document.documentElement.scrollHeight")
        width = page.evaluate("document.documentElement.scrollWidth")
        assert (height, width) == (800, 1280), lang
        assert faults_of(page) == []
    with desk.lab.writing() as db:
        for number in range(4):  # nine stations
            add_station(db, f"slide-{number}", "slide", f"Slides {number}", f"幻灯片 {number}", place=9)
    page.reload()
    assert page.evaluate("document.documentElement.scrollHeight") == 800
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@in_a_browser
def test_a_bell_and_a_finding_appear_within_two_seconds_and_stay(page, desk):
    assert awake(page)  # the wire is open
    with desk.lab.writing() as db:
        words = {"en": {"why": "No tape hiss on the right."}, "zh-Hans": {"why": "右声道没有底噪。"}}
        number = ask_somebody(db, "cassette-1", "finding", "f/1", verdict="redo", facts={"words": words})
    desk.wire.tell("cassette-1", "finding", {"asked": number})
    assert _sees(page, "No tape hiss on the right.")
    page.reload()
    assert _sees(page, "No tape hiss on the right.") and awake(page)
    assert page.title().startswith("(2)")  # with the demo's bell
    page.get_by_role("button", name=re.compile("^I am coming")).click()
    page.get_by_text("Somebody rang the bell.").first.wait_for(state="detached", timeout=2000)
    with desk.lab.reading() as db:
        assert {row["kind"] for row in rows(db, ASKED, ASKED.c.answered_at.is_(None))} == {"finding", "drift"}


@in_a_browser
def test_a_telephone_booking_by_keyboard_and_axe_on_every_page(page, served, desk):
    page.goto("/visits/new")
    assert awake(page)
    page.get_by_label("Name", exact=True).fill("wilma od")
    page.get_by_role("radio", name=re.compile("Wilma Oduya")).wait_for(state="visible", timeout=3000)
    page.get_by_role("radio", name=re.compile("Wilma Oduya")).check()
    assert becomes(page, "document.querySelector('#offers').ariaBusy === 'false'")
    start = page.locator("#offers button[name=start]").first
    start.focus()
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/visits/\d+$"))
    assert _sees(page, "Wilma Oduya")
    with desk.lab.reading() as db:
        known = [row for row in rows(db, PERSON) if row["name"] == "Wilma Oduya"]
    assert len(known) == 1
    visit = page.url.removeprefix(served)
    for url in ("/visits", "/visits/new", "/visits/waiting", "/visits/down", "/visits/feed", visit, "/today/eyes"):
        page.goto(url)
        assert faults_of(page) == [], url


@in_a_browser
def test_the_day_sheet_prints_on_one_a4_page(page):
    """Chromium's own printing: a PDF with one page object."""
    body = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", body)) == 1
