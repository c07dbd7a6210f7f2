"""A visit's beginning and end: agreement, age, own drive, originals counted in and out."""

from __future__ import annotations

import pytest

from takeup.box.folder import look_into
from takeup.lab.agreements import agreement_of
from takeup.lab.boxes import box_numbered
from takeup.lab.port import change, one
from takeup.lab.schema import PERSON
from takeup.lab.wordings import keep_wording


def url(box, page=""):
    return f"/boxes/{box['number']}/{page}"


def facts(box, desk, what="agreed"):
    found = look_into(box["path"], desk.settings).record.latest(what)
    return found[-1].facts if found else None


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_the_agreement_is_signed_in_the_visitors_language_and_only_its_fact_is_kept(maren, box, desk, lang):
    maren.look(f"{url(box, 'agree')}?lang={lang}")
    assert maren.send(url(box, "agree"), url(box, "agree"), age="adult", agree="yes").status_code == 200
    kept = facts(box, desk)
    assert set(kept) == {"form", "lang", "date", "adult_for_minor"}
    assert (kept["form"], kept["lang"], kept["adult_for_minor"]) == ("agreement-0", lang, False)
    with desk.lab.reading() as db:
        row = agreement_of(db, box["id"])
    assert (row["form"], row["lang"], row["who"]) == ("agreement-0", lang, "Maren")


def test_a_visitor_signs_on_the_own_screen(tan, box, desk):
    answer = tan.send(url(box, "agree"), url(box, "agree"), age="adult", agree="yes")
    assert answer.url.path == "/mine" and facts(box, desk)["form"] == "agreement-0"


@pytest.mark.parametrize("given", [{"age": "adult"}, {"agree": "yes"}, {"age": "old", "agree": "yes"}])
def test_what_is_not_ticked_is_not_signed(maren, box, desk, given):
    assert maren.send(url(box, "agree"), url(box, "agree"), **given).status_code == 400
    assert facts(box, desk) is None


def test_a_minor_needs_an_adult(maren, box, desk):
    with desk.lab.writing() as db:
        change(db, PERSON, box["person_id"], None, minor=True)
    answer = maren.send(url(box, "agree"), url(box, "agree"), age="adult", agree="yes")
    assert answer.status_code == 400 and "come with an adult" in answer.text and facts(box, desk) is None
    maren.send(url(box, "agree"), url(box, "agree"), age="with-adult", agree="yes")
    assert facts(box, desk)["adult_for_minor"] is True


def test_the_labs_own_text_is_the_one_signed_and_a_text_changed_meanwhile_is_read_again(maren, box, desk):
    action, fields = maren.fields(url(box, "agree"), url(box, "agree"))
    with desk.lab.writing() as db:
        keep_wording(db, "agreement", "en", "Own words, kept {days} days.\n\nSecond <b>part</b>.", after=0, who="Maren")
    answer = maren.client.post(action, data=fields | {"age": "adult", "agree": "yes"})
    assert answer.status_code == 409 and facts(box, desk) is None
    assert "Own words, kept 90 days." in answer.text and "&lt;b&gt;part" in answer.text
    maren.send(url(box, "agree"), url(box, "agree"), age="adult", agree="yes")
    assert facts(box, desk)["form"] == "agreement-1"


def test_originals_are_counted_in_and_out_and_a_difference_is_said(maren, box, desk):
    page = url(box, "check-in")
    maren.send(page, f"{page}/brought", originals_in="7", own_drive="yes")
    answer = maren.send(page, f"{page}/home", originals_out="6")
    assert "7 in, 6 out." in answer.text and "before the visitor leaves" in answer.text
    assert "All are there." in maren.send(page, f"{page}/home", originals_out="7").text
    with desk.lab.reading() as db:
        row = box_numbered(db, box["number"])
    assert (row["originals_in"], row["originals_out"], row["facts"]["own_drive"]) == (7, 7, "yes")


@pytest.mark.parametrize("count", ["seven", "-1", "1e9", "9" * 30, "7.5", "٧x"])
def test_a_count_that_is_no_number_is_told(maren, box, count):
    page = url(box, "check-in")
    answer = maren.send(page, f"{page}/brought", originals_in=count)
    assert answer.status_code == 400 and "whole number" in answer.text


def test_the_visit_over_ends_the_code(maren, tan, box):
    page = url(box, "check-in")
    maren.send(page, f"{page}/home", originals_out="3", end="yes")
    assert tan.look("/mine").status_code == 403


def test_two_people_changing_the_person_lose_nothing(maren, ola, box, desk):
    page = url(box, "check-in")
    action, fields = maren.fields(page, f"{page}/person")
    ola.send(page, f"{page}/person", needs="a chair")
    answer = maren.client.post(action, data=fields | {"needs": "large print"})
    assert answer.status_code == 409 and "large print" in answer.text
    with desk.lab.reading() as db:
        assert one(db, PERSON, PERSON.c.id == box["person_id"])["needs"] == "a chair"


def test_no_visitor_checks_in_by_themselves(tan, box):
    assert tan.look(url(box, "check-in")).status_code == 403
