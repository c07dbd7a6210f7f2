"""Questions with pictures, the outcome, staff's decision; the plan that follows from it."""

from __future__ import annotations

import pytest

from takeup.box.folder import look_into
from takeup.tables.loader import load_rows
from takeup.tasks.box_items import line_of
from takeup.tasks.box_show import box_show
from takeup.tasks.plan import plan
from takeup.tasks.screen import screen
from takeup.web.answers import STATIC
from takeup.words.sentences import say

ROWS = load_rows()
KINDS = sorted(set(ROWS.section("screening.kinds").values()) - {"file"})  # a file born here has no body to look at
NO = {"q_mould": "no", "q_broken": "no", "q_commercial": "no"}


def url(box, item="v1"):
    return f"/boxes/{box['number']}/screening/{item}"


def outcomes(box, desk):
    return {one.original.id: one.outcome for one in box_show(box["path"], desk.settings)[1].items}


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_has_three_questions_with_words_and_a_picture(kind):
    words = ROWS.value(f"intake.question.{kind}")
    assert len(set(words)) == 3
    for word in words:
        assert f"screening.{word}.{kind}" in ROWS, "the answer must mean something to screening"
        for lang in ("en", "zh-Hans"):
            assert say("questions", f"{word}.{kind}", lang) and say("questions", f"{word}.{kind}", lang, part="do")
        assert any((STATIC / "drawn" / f"look-{name}.svg").is_file() for name in (f"{word}-{kind}", word))


def test_every_carrier_has_its_picture():
    assert all((STATIC / "drawn" / f"{name}.svg").is_file() for name in ROWS.names("carriers"))


def test_an_original_with_nothing_against_it_comes_in_and_only_it_is_screened(maren, box, desk):
    answer = maren.send(url(box), url(box), **NO)
    assert "Comes in" in answer.text and "Next: k1" in answer.text
    assert outcomes(box, desk) == {"k1": "", "p1": "", "v1": "accept"}


def test_mould_is_refused_with_its_caution_and_its_source(maren, box, desk):
    answer = maren.send(url(box), url(box), **NO | {"q_mould": "yes"})
    assert "Not here" in answer.text and "0045" in answer.text
    assert say("cautions", "mould", "en").split(".")[0] in answer.text
    assert line_of(box["path"], "v1", desk.settings).original.condition == ("mould",)
    assert "/decide" not in answer.text, "no click turns a refusal round"


def test_not_sure_is_asked_about_and_a_later_no_takes_it_back(maren, box, desk):
    answer = maren.send(url(box), url(box), **NO | {"q_mould": "unsure"})
    assert "Staff decide" in answer.text and outcomes(box, desk)["v1"] == "ask"
    maren.send(url(box), url(box), **NO)
    assert outcomes(box, desk)["v1"] == "accept"
    assert line_of(box["path"], "v1", desk.settings).original.condition == ()


def test_staff_decide_and_who_and_why_stay_until_screening_says_otherwise(maren, box, desk):
    maren.send(url(box), url(box), **NO | {"q_commercial": "yes"})
    assert outcomes(box, desk)["v1"] == "ask"
    answer = maren.send(url(box), f"{url(box)}/decide", outcome="accept", why="a home tape in a bought shell")
    assert "Maren decided:" in answer.text and "a home tape in a bought shell" in answer.text
    fact = look_into(box["path"], desk.settings).record.latest("ruled", "v1")[-1]
    assert (fact.who, fact.facts["outcome"]) == ("Maren", "accept") and outcomes(box, desk)["v1"] == "accept"
    screen(box["path"], desk.settings)
    assert outcomes(box, desk)["v1"] == "accept", "the same screening again asks nobody again"
    maren.send(url(box), url(box), **NO | {"q_mould": "yes"})
    assert outcomes(box, desk)["v1"] == "refuse"


def test_a_decision_needs_its_reason(maren, box, desk):
    maren.send(url(box), url(box), **NO | {"q_commercial": "yes"})
    assert maren.send(url(box), f"{url(box)}/decide", outcome="accept", why="  ").status_code == 400
    assert maren.send(url(box), f"{url(box)}/decide", outcome="burn", why="x").status_code == 400
    assert outcomes(box, desk)["v1"] == "ask"


def test_what_staff_refuse_is_not_planned(maren, box, desk):
    maren.send(url(box), url(box), **NO | {"q_commercial": "yes"})
    assert "v1" in {one.item for one in plan(box["path"], desk.settings).job.items}
    maren.send(url(box), f"{url(box)}/decide", outcome="refuse", why="a bought film")
    assert "v1" not in {one.item for one in plan(box["path"], desk.settings).job.items}
    assert "Not in the plan" in maren.look(f"/boxes/{box['number']}/plan").text


def test_a_question_left_open_is_told_and_the_answers_stay(maren, box, desk):
    answer = maren.send(url(box), url(box), q_mould="no", q_broken="yes")
    assert answer.status_code == 400 and outcomes(box, desk)["v1"] == ""
    assert 'name="q_broken" value="yes" required checked' in answer.text


def test_other_conditions_and_figures_are_noted(maren, box, desk):
    where = f"/boxes/{box['number']}/items"
    maren.send(where, where, line="s reel 50ft sound=none")
    answers = {"q_nitrate": "no", "q_vinegar": "no", "q_mould": "no"}
    maren.send(url(box, "s1"), url(box, "s1"), **answers, other="torn", acid="1.5", shrunk="0.6")
    assert set(line_of(box["path"], "s1", desk.settings).original.condition) == {"torn", "acid=1.5", "shrunk=0.6"}
    answer = maren.send(url(box, "s1"), url(box, "s1"), **answers, acid="strong")
    assert answer.status_code == 400 and "acid" in answer.text
    maren.send(url(box, "s1"), url(box, "s1"), **answers, acid="", shrunk="", other="no-such-word")
    assert line_of(box["path"], "s1", desk.settings).original.condition == ()


@pytest.mark.parametrize("word", ["film-sound", "kinds", "cautions", "carrier", "spelled", "?", "mould??", "'; --"])
def test_a_condition_word_that_no_rule_knows_is_asked_about(maren, box, desk, word):
    where = f"/boxes/{box['number']}/items"
    maren.send(where, where, how="rows", row_id="x1", row_carrier="super8", row_condition=word)
    screen(box["path"], desk.settings)
    assert outcomes(box, desk)["x1"] == "ask"
    assert maren.look(url(box, "x1")).status_code == 200


def test_the_visitor_answers_but_does_not_decide(tan, box):
    assert "/decide" not in tan.send(url(box), url(box), **NO | {"q_commercial": "yes"}).text
    _, fields = tan.fields(url(box), url(box))
    assert tan.client.post(f"{url(box)}/decide", data=fields | {"outcome": "accept", "why": "x"}).status_code == 403


def test_the_plan_links_to_a_booking_with_kind_and_minutes(maren, box, desk):
    page = maren.look(f"/boxes/{box['number']}/plan").text
    visit = plan(box["path"], desk.settings).job.visits[0]
    assert f"/visits/new?kind=cassette&amp;minutes={visit.minutes}" in page and "Tan+Marlow" in page
