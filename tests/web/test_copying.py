"""How one original's copies are made is chosen at the desk, by its visitor too: seen before and after, then made."""

from __future__ import annotations

import re

import pytest
from make.handing import do_work

from takeup.box.folder import look_into
from takeup.lab.port import rows
from takeup.lab.schema import JOB
from takeup.settings import Settings


@pytest.fixture
def copies(maren, scan, box, desk):
    """The bed with its two prints, finished; the address where its copies are chosen."""
    where = f"/boxes/{box['number']}/finish"
    maren.send(where, where)
    assert do_work(desk) == ["finish"]
    return f"{where}/p1"


def with_letters(box):
    """The box's list with an original of pages beside the others."""
    listed = {"id": "d1", "carrier": "document", "label": "Letters"}
    look_into(box["path"], Settings()).record.append("item-listed", listed, item="d1")


def asked_of(box):
    """What each print's copy was asked to put right."""
    made = look_into(box["path"], Settings()).record.latest("made", "p1")
    return {
        fact.facts["picture"]: fact.facts["settings"]["mend_asked"]
        for fact in made
        if fact.facts["role"] == "copy" and not fact.facts.get("gone")
    }


def test_one_picture_is_tried_out_made_so_and_made_as_it_was_again(tan, copies, box, desk):
    page = tan.look(copies).text
    assert "p1-1" in page and "p1-2" in page and "Make this copy as" not in page
    name = re.search(r'name="name" value="(p1-1[^"]*)"', page)[1]
    tried = tan.look(f"{copies}?name={name}&mend=dust").text
    drawing = tan.look(f"{copies}/side?name={name}&mend=dust")
    assert drawing.headers["content-type"].startswith("image/svg") and drawing.text.count("<image ") == 2
    assert "Make this copy as on the right" in tried and tried.count("/side?") == 2
    fields = tan.fields(f"{copies}?name={name}&mend=dust", copies)[1]
    tan.client.post(copies, data=fields)
    assert do_work(desk) == ["finish"] and asked_of(box) == {"p1-1": ["dust"], "p1-2": []}
    tan.client.post(copies, data=tan.fields(copies, copies)[1])
    assert do_work(desk) == ["finish"] and asked_of(box) == {"p1-1": [], "p1-2": []}


@pytest.mark.parametrize("query", ["name=p1-1.jpg&mend=hum", "name=p1-1.jpg", "name=k1.m4a&mend=dust"])
def test_there_is_no_drawing_of_what_no_picture_can_be(tan, copies, query):
    assert tan.look(f"{copies}/side?{query}").status_code == 404


@pytest.mark.parametrize(
    ("item", "sent", "asked"),
    [
        ("d1", {"form": "grey", "blanks": "out"}, {"pages": "grey,without-blanks"}),
        ("d1", {"form": "lab", "blanks": "out"}, {"pages": "lab"}),
        ("v1", {"form": "576p25"}, {"copies": "576p25"}),
        ("k1", {"mend": ["speed", "hum"]}, {"mend": "hum,speed"}),
        ("k1", {}, {"mend": "none"}),
    ],
)
def test_what_is_chosen_goes_with_the_work_beside_the_labs_own(maren, box, desk, item, sent, asked):
    with_letters(box)
    where = f"/boxes/{box['number']}/finish/{item}"
    lab, fields = maren.fields("/lab/copies", "/lab/copies")
    maren.client.post(lab, data=fields | {"what": "pages", "form": "bitonal", "blanks": "out"})
    assert 'value="bitonal" checked' in maren.look("/lab/copies").text
    maren.client.post(where, data=maren.fields(where, where)[1] | sent)
    with desk.lab.reading() as db:
        (job,) = rows(db, JOB)
    assert job["asked"] == {"pages_unless_told": "bitonal,without-blanks", "item": item} | asked


@pytest.mark.parametrize(("item", "sent"), [("d1", {"form": "mauve"}), ("v1", {"form": "721p31"})])
def test_a_form_that_nobody_knows_is_told_and_nothing_is_made(maren, box, desk, item, sent):
    with_letters(box)
    where = f"/boxes/{box['number']}/finish/{item}"
    answer = maren.client.post(where, data=maren.fields(where, where)[1] | sent)
    assert answer.status_code == 400 and sent["form"] in answer.text
    assert do_work(desk) == []
