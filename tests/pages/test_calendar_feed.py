"""The feed against RFC 5545: read back by a parser of somebody else's, and line by line."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from takeup.pages.calendar_feed import CalendarVisit, calendar_feed, folded

EAST = dt.timezone(dt.timedelta(hours=8))
MADE = dt.datetime(2027, 2, 20, 9, 30, tzinfo=dt.UTC)
LINES_OF_TEXT = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=120)


def visit(**facts):
    return CalendarVisit(**{
        "uid": "visit-12@desk", "start": dt.datetime(2027, 3, 1, 10, tzinfo=EAST), "changed": MADE,
        "end": dt.datetime(2027, 3, 1, 13, 30, tzinfo=EAST), "summary": "cassette-1",
    } | facts)  # fmt: skip


def read(*visits, name="The lab"):
    return Calendar.from_ical(calendar_feed(visits, name=name, made=MADE).encode("utf-8")).walk("VEVENT")


def test_feed_visit_is_read_back_at_its_moments():
    """10:00 in a zone eight hours east of UTC is 02:00 in UTC."""
    (event,) = read(visit(sequence=3))
    assert event["DTSTART"].dt == dt.datetime(2027, 3, 1, 2, 0, tzinfo=dt.UTC)
    assert event["DTEND"].dt - event["DTSTART"].dt == dt.timedelta(hours=3, minutes=30)
    assert event["DTSTAMP"].dt == MADE
    assert (event["UID"], event["SEQUENCE"], event["STATUS"]) == ("visit-12@desk", 3, "CONFIRMED")


def test_feed_cancelled_visit_stays_and_says_so():
    assert [event["STATUS"] for event in read(visit(), visit(uid="b", cancelled=True))] == ["CONFIRMED", "CANCELLED"]


def test_feed_without_visits_is_whole():
    text = calendar_feed([], name="空", made=MADE)
    assert text.startswith("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n") and text.endswith("END:VCALENDAR\r\n")


@given(LINES_OF_TEXT, LINES_OF_TEXT, LINES_OF_TEXT)
def test_feed_any_text_is_read_back_as_it_was(summary, first, second):
    description = f"{first}\n{second}" if first or second else ""
    (event,) = read(visit(summary=summary, description=description))
    assert str(event["SUMMARY"]) == summary
    assert str(event.get("DESCRIPTION", "")) == description


@given(st.text(max_size=300), st.text(max_size=300))
def test_feed_no_text_makes_a_line_of_its_own_or_passes_75_octets(summary, place):
    data = calendar_feed([visit(summary=summary, place=place)], name=summary, made=MADE).encode("utf-8")
    lines = data.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    assert b"\n" not in b"".join(lines) and b"\r" not in b"".join(lines)
    unfolded = data.replace(b"\r\n ", b"").split(b"\r\n")
    assert sum(line == b"BEGIN:VEVENT" for line in unfolded) == 1


def test_feed_line_of_75_octets_is_not_folded_and_one_more_is():
    """74 letters and one Chinese character of three octets are 77: the character goes to the next line, whole."""
    assert folded("a" * 75) == "a" * 75
    assert folded("a" * 76) == "a" * 75 + "\r\n a"
    assert folded("a" * 74 + "外") == "a" * 74 + "\r\n 外"


def test_feed_moment_without_zone_is_refused():
    with pytest.raises(ValueError, match="zone"):
        calendar_feed([visit(start=dt.datetime(2027, 3, 1, 10))], name="", made=MADE)
