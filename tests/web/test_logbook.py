"""The logbook: one form, one list, what is still open, what is in stock; bad lines write nothing."""

from __future__ import annotations

import pytest

from takeup.lab.logbook import log_lines, stock


def _lines(desk, **which):
    with desk.lab.reading() as db:
        return log_lines(db, **which)


def test_an_incident_stays_open_until_seen_to(desk, maren):
    maren.send("/logbook", "/logbook", kind="incident", station="cassette-1", text="The deck ate a tape")
    assert "The deck ate a tape" in maren.look("/logbook/cassette-1").text
    assert len(_lines(desk, only_open=True)) == 1
    maren.send("/logbook", "/logbook/done")
    (line,) = _lines(desk)
    assert line["state"] == "done" and line["facts"]["done_by"] == "Maren" and line["who"] == "Maren"


def test_a_line_that_somebody_else_saw_to_is_told(desk, maren, ola):
    maren.send("/logbook", "/logbook", kind="lost", text="A memory card")
    where, fields = ola.fields("/logbook", "/logbook/done")
    maren.send("/logbook", "/logbook/done")
    assert ola.client.post(where, data=fields).status_code == 409


def test_stock_is_what_came_minus_what_went(desk, maren):
    for count in ("10", "-3", "-2"):
        maren.send("/logbook", "/logbook", kind="consumable", what="gloves", count=count)
    with desk.lab.reading() as db:
        assert stock(db) == {"gloves": 5}


def test_the_opening_list_is_ticked_once_a_day(desk, maren, ola):
    maren.send("/logbook", "/logbook/opening")
    where, fields = ola.fields("/logbook", "/logbook/opening")
    for _ in range(2):
        ola.client.post(where, data=fields | {"nth": "0"})
    assert [line["facts"]["nth"] for line in _lines(desk, kind="opening")] == [0]


@pytest.mark.parametrize(
    "given",
    [
        {"kind": "incident", "text": ""},
        {"kind": "nonsense", "text": "x"},
        {"kind": "incident", "text": "x", "station": "../x"},
        {"kind": "incident", "text": "x", "box": "9999"},
        {"kind": "consumable", "what": "swabs", "count": ""},
        {"kind": "consumable", "what": "swabs", "count": "many"},
        {"kind": "incident", "text": "x" * 5000},
    ],
)
def test_a_line_that_cannot_be_writes_nothing_and_says_why(desk, maren, given):
    answer = maren.send("/logbook", "/logbook", **given)
    assert answer.status_code == 400 and not _lines(desk)


def test_markup_and_right_to_left_text_are_shown_as_text(maren):
    text = "<script>alert(1)</script> שלום 👵"
    maren.send("/logbook", "/logbook", kind="cleaning", text=text)
    shown = maren.look("/logbook").text
    assert "<script>alert" not in shown and "&lt;script&gt;alert(1)" in shown and "שלום 👵" in shown


def test_a_double_click_writes_one_line(desk, maren):
    where, fields = maren.fields("/logbook", "/logbook")
    for _ in range(2):
        maren.client.post(where, data=fields | {"kind": "cleaning", "text": "Heads"})
    assert len(_lines(desk)) == 1
