"""Every link of the demo leads somewhere, for staff and for a visitor: the desk is walked from its first page."""

from __future__ import annotations

import re
from collections import Counter

import pytest
from starlette.testclient import TestClient

from takeup.settings import Settings
from takeup.web.app import make_app
from takeup.web.opening import make_ready

LINK = re.compile(r'(?:href|src)="(/[^"#]*)"')
STREAMS = ("/live", "/station/live")
ALIKE = 3  # pages of the same path with other questions: so many are looked at


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    desk, told = make_ready(tmp_path_factory.mktemp("demo") / "home", Settings(), demo=True)
    yield desk, told
    desk.lab.close()


def _come_in(app, page, **given):
    client = TestClient(app)
    token = re.search(r'name="form_token" value="([^"]+)"', client.get(page).text)[1]
    answer = client.post(page, data=given | {"form_token": token}, follow_redirects=False)
    assert answer.status_code == 303
    return client, answer.headers["location"]


def _walk(client, first):
    """Every address that can be reached, and what it answered."""
    answered, alike, todo = {}, Counter(), [first]
    while todo:
        url = todo.pop()
        plain = re.sub(r"\d+", "0", url.split("?")[0])
        if url in answered or alike[plain] >= ALIKE * 10 or alike[url.split("?")[0]] >= ALIKE or plain in STREAMS:
            continue
        alike[plain] += 1
        alike[url.split("?")[0]] += 1
        answer = client.get(url, headers={"accept": "text/html"})
        answered[url] = answer.status_code
        if answer.headers.get("content-type", "").startswith("text/html"):
            todo += [link.replace("&amp;", "&") for link in LINK.findall(answer.text) if "lang=" not in link]
    return answered


def test_staff_reach_every_page_of_the_demo_by_its_links(demo):
    desk, told = demo
    client, first = _come_in(make_app(desk), "/sign-in", **told["staff"])
    answered = _walk(client, first)
    assert {url: status for url, status in answered.items() if status != 200} == {}
    assert len(answered) > 150


@pytest.mark.parametrize("nth", [0, 1])
def test_a_visitor_is_led_to_nothing_that_stays_shut(demo, nth):
    desk, told = demo
    client, first = _come_in(make_app(desk), "/code", code=told["visitor_codes"][nth])
    answered = _walk(client, first)
    assert {url: status for url, status in answered.items() if status != 200} == {}
    assert len(answered) > 15


@pytest.mark.parametrize(
    ("form", "page"),
    [
        ("/boxes/0001/captures/1/chapters", "/boxes/0001/captures/1"),
        ("/visits/down/move", "/visits/down"),
        ("/stations/cassette-1/answer", "/stations"),
        ("/today/answered?lang=zh-Hans", "/today"),
    ],
)
def test_the_address_of_a_form_opened_by_hand_leads_to_its_page(maren, form, page):
    answer = maren.client.get(form)
    assert (answer.status_code, answer.headers["location"]) == (303, page)


def test_a_change_of_language_keeps_what_the_address_asks_for(maren):
    page = maren.look("/today?day=2031-03-04").text
    assert 'href="?day=2031-03-04&amp;lang=zh-Hans"' in page
    assert "?day=%22%3E%3Cb%3E&amp;lang=" in maren.look('/today?day="><b>').text
