"""Every address of the desk, asked by everybody with all kinds of rubbish: never our own fault, never a way in.

A fault of the program raises here (the test's browser hands exceptions on), so a page that answers at all has none.
"""

from __future__ import annotations

import inspect
import re
from functools import cache
from urllib.parse import quote

import pytest

from takeup.lab.boxes import open_box
from takeup.web.listed import PAGES
from takeup.web.pages import entries_of

RUBBISH = [
    "",
    "-1",
    "../../etc/passwd\\..\\C:\\x",
    "<script>alert(1)</script> %s %(name)s {name} {{ 7 * 7 }}",
    "\u202e\u05e9\u05dc\u05d5\u05dd\U0001f39e\ufe0f\u0000\u200b\u0663 2027-02-30",
    "k1\tcassette\tAunt\r\nk2\tvhs\t'; DROP TABLE box; --" + "x" * 30_000,
]
OPEN = {"/", "/health", "/sign-in", "/code", "/sign-out", "/care", "/copyright"}
ENTRIES = entries_of(PAGES)
STREAMS = {"/live", "/station/live"}


@cache
def _fields(call) -> frozenset[str]:
    """Names that a page's module reads from a form: so that rubbish reaches each of them."""
    source = inspect.getsource(inspect.getmodule(call))
    named = re.findall(r"""(?:text|number|given\.get|lists\.get|given)\(?\[?\(?["'](\w+)["']""", source)
    return frozenset([*named, "lang", "version"])


def _filled(path: str, value: str) -> str:
    return re.sub(r"\{[^}]+\}", quote(value or "x", safe=""), path)


@pytest.mark.parametrize("rubbish", RUBBISH, ids=lambda text: ascii(text)[:30])
def test_rubbish_in_every_field_is_answered_in_words(maren, box, rubbish):
    assert _ask_everything(maren, rubbish, part=box["number"]) > 50


@pytest.mark.parametrize("rubbish", RUBBISH[2::2], ids=lambda text: ascii(text)[:30])
def test_rubbish_in_every_path_is_answered_in_words(maren, rubbish):
    assert _ask_everything(maren, "x", part=rubbish[:200]) > 50


def test_a_visitor_and_a_stranger_are_answered_in_words(tan, somebody, box):
    for person in (tan, somebody()):
        assert _ask_everything(person, RUBBISH[3], part=box["number"]) > 50


def _ask_everything(person, rubbish, *, part):
    """Ask every address; how many were asked. A fault of the program raises."""
    token, asked = _token(person), 0
    for entry in ENTRIES:
        if entry.path in STREAMS | {"/sign-out", "/sign-in", "/code"} or entry.door == "station":
            continue
        url, fields = _filled(entry.path, part), dict.fromkeys(_fields(entry.call), rubbish)
        if entry.changes:
            answer = person.client.post(url, data=fields | {"form_token": token})
        else:
            answer = person.client.get(url, params={name: text[:300] for name, text in fields.items()})
        assert answer.status_code < 500, (entry.path, rubbish)
        html = answer.headers.get("content-type", "").startswith("text/html")
        assert not (html and "<script>alert(1)" in answer.text), entry.path
        asked += 1
    assert token
    return asked


def _token(person) -> str:
    found = re.search(r'name="form_token" value="([^"]+)"', person.look("/").text + person.look("/code").text)
    return found[1] if found else ""


ASKED = [entry for entry in ENTRIES if entry.path not in STREAMS and entry.door != "station"]


def test_no_form_is_taken_without_its_token(somebody, maren, box):
    forms = [entry for entry in ASKED if entry.changes]
    assert len(forms) > 50
    for entry in forms:
        url = _filled(entry.path, box["number"])
        assert somebody().client.post(url, data={"x": "1"}).status_code in (403, 404), entry.path
        assert maren.client.post(url, data={"form_token": "no"}).status_code in (403, 404), entry.path


def test_nobody_gets_in_without_an_account(somebody, box):
    shut = [entry for entry in ASKED if not entry.changes and entry.path not in OPEN and entry.door != "all"]
    assert len(shut) > 30
    for entry in shut:
        answer = somebody().client.get(_filled(entry.path, box["number"]), headers={"accept": "text/html"})
        assert answer.status_code in (303, 403), entry.path
        if answer.status_code == 303:
            assert answer.headers["location"].startswith(("/sign-in", "/code")), entry.path


def test_another_visitors_box_stays_shut(desk, tan, box):
    """Every page of a box, asked for another's number by a visitor."""
    with desk.lab.writing() as db:
        other = open_box(db, None, "Another family")
    for entry in ENTRIES:
        if entry.door != "box" or entry.changes:
            continue
        url = entry.path.replace("{box}", other["number"])
        answer = tan.client.get(_filled(url, "1"))
        assert answer.status_code in (403, 404), entry.path
