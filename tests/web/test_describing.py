"""Who, when and where: one after another, many at once, dates said back before they are kept."""

from __future__ import annotations

import pytest

from takeup.box.folder import look_into
from takeup.settings import Settings
from takeup.tasks.tagged import told_of


@pytest.fixture
def here(box):
    return f"/boxes/{box['number']}/describe"


def told(box):
    return told_of(look_into(box["path"], Settings()))


def choose(person, here, ids, **typed):
    """Send the form of many with some of them chosen."""
    where, fields = person.fields(here, here)
    return person.client.post(where, data=fields | typed | {"id": list(ids)}, follow_redirects=True)


def test_the_sheet_shows_every_original(maren, here):
    page = maren.look(here).text
    assert all(f'value="{id_}"' in page for id_ in ("k1", "p1", "v1"))
    assert "3 are not described yet" in page


def test_one_form_for_many_fills_only_what_was_typed(maren, here, box):
    choose(maren, here, ["k1"], title="Songs", people="Wen; Mei")
    answer = choose(maren, here, ["k1", "v1"], place="Port Ellery")
    assert "Kept for 2" in answer.text
    assert (told(box)["k1"].title, told(box)["k1"].people, told(box)["k1"].place) == (
        "Songs",
        ("Wen", "Mei"),
        "Port Ellery",
    )
    assert (told(box)["v1"].title, told(box)["v1"].place) == ("", "Port Ellery")
    assert "p1" not in told(box)


def test_a_date_is_said_back_before_it_is_kept(maren, here, box):
    answer = choose(maren, here, ["k1", "p1"], date="summer 1974", place="Norway")
    assert answer.status_code == 200 and "summer 1974" in answer.text and 'value="1974-22"' in answer.text
    assert told(box) == {}, "nothing is kept before somebody agreed"
    assert answer.text.count(" checked") >= 2, "the chosen ones stay chosen"
    choose(maren, here, ["k1", "p1"], date="summer 1974", date_seen="summer 1974", date_is="1974-22")
    assert {told(box)[id_].date for id_ in ("k1", "p1")} == {"1974-22"}


def test_a_date_of_two_meanings_is_asked_back(maren, here, box):
    answer = choose(maren, here, ["k1"], date="03/04/1974")
    assert 'value="1974-04-03"' in answer.text and 'value="1974-03-04"' in answer.text
    choose(maren, here, ["k1"], date="03/04/1974", date_seen="03/04/1974", date_is="1974-03-04")
    assert told(box)["k1"].date == "1974-03-04"


def test_what_nobody_can_read_is_said_and_kept_as_text(maren, here, box):
    answer = choose(maren, here, ["k1"], date="that wet summer")
    assert "Nobody here can read this as a date" in answer.text
    choose(maren, here, ["k1"], date="that wet summer", date_seen="that wet summer", date_is="text")
    assert told(box)["k1"].date == "that wet summer"


def test_an_answer_to_another_date_than_the_typed_one_is_not_taken(maren, here, box):
    answer = choose(maren, here, ["k1"], date="1980s", date_seen="summer 1974", date_is="1974-22")
    assert "1980s" in answer.text and told(box) == {}


def test_chinese_dates_are_said_back_in_chinese(maren, here, box):
    maren.look(f"{here}?lang=zh-Hans")
    answer = choose(maren, here, ["k1"], date="民国六十三年七月")
    assert "1974年7月" in answer.text and 'value="1974-07"' in answer.text


def test_one_alone_then_the_next(maren, here, box):
    where, fields = maren.fields(f"{here}?id=k1", here)
    answer = maren.client.post(where, data=fields | {"title": "Songs", "then": "next"})
    assert answer.headers["location"].startswith(f"{here}?id=p1")
    assert told(box)["k1"].title == "Songs"
    _, fields = maren.fields(f"{here}?id=k1", here)
    assert fields["title"] == "Songs"
    maren.client.post(where, data=fields | {"title": "", "people": "Wen"})
    assert (told(box)["k1"].title, told(box)["k1"].people) == ("", ("Wen",)), "one alone: what was emptied is empty"


def test_what_was_typed_before_is_offered(maren, here):
    choose(maren, here, ["k1"], people="Mei Tan；Wen Tan", place="老港口")
    page = maren.look(here).text
    assert '<option value="Mei Tan">' in page and '<option value="老港口">' in page


def test_nothing_chosen_or_nothing_typed_is_told_and_stays(maren, here, box):
    answer = choose(maren, here, [], title="Songs of the harbour")
    assert answer.status_code == 400 and "Songs of the harbour" in answer.text
    assert choose(maren, here, ["k1"]).status_code == 400
    assert choose(maren, here, ["nothing-such", "../k1"], title="x").status_code == 400
    assert told(box) == {}


@pytest.mark.parametrize(
    "typed", ["<script>alert(1)</script>", "\u202eevil", "👩‍👩‍👧 a\tb\tc", "=HYPERLINK(1)", "x" * 299]
)
def test_anything_may_be_typed_and_comes_back_as_text(maren, here, box, typed):
    assert choose(maren, here, ["k1"], title=typed).status_code == 200
    page = maren.look(here).text
    assert "<script>alert" not in page


def test_far_too_much_is_told(maren, here, box):
    assert choose(maren, here, ["k1"], title="x" * 5000).status_code == 400
    assert told(box) == {}


def test_a_visitor_describes_the_own_box(tan, here, box):
    choose(tan, here, ["k1"], title="Ours")
    assert told(box)["k1"].title == "Ours"


def test_dates_are_told_to_the_pages_script(maren):
    answer = maren.look("/dates?text=about%201960", headers={"accept": "application/json"}).json()
    assert (answer["kind"], answer["choices"][0]) == ("read", {"keep": "1960~", "said": "about 1960"})
    assert maren.look("/dates?text=" + "9" * 5000).status_code == 400
