"""Who comes in and how: contract, section "desk"."""

from __future__ import annotations

import pytest

from takeup.lab.people import TRIES


def test_health_is_open_and_says_nothing_else(somebody):
    answer = somebody().look("/health")
    assert (answer.status_code, answer.json()) == (200, {"ok": True})


@pytest.mark.parametrize("url", ["/sign-in", "/code", "/care", "/copyright"])
def test_open_pages_need_no_account(somebody, url):
    assert somebody().look(url).status_code == 200


def test_a_page_of_staff_leads_to_signing_in(somebody):
    answer = somebody().client.get("/today", headers={"accept": "text/html"})
    assert answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")


def test_a_form_without_its_sessions_token_changes_nothing(somebody, maren):
    _, fields = somebody().fields("/sign-in")
    other = somebody()
    assert other.client.post("/sign-in", data=fields | {"name": "Maren", "password": "x"}).status_code == 403
    assert maren.client.post("/sign-out", data={}).status_code == 403
    assert maren.look("/today").url.path == "/today"


def test_ten_wrong_passwords_shut_the_name_even_for_the_right_one(somebody):
    person = somebody()
    for _ in range(TRIES):
        assert person.send("/sign-in", name="MAREN", password="no").status_code == 403
    answer = person.send("/sign-in", name="Maren", password="a rather long word")
    assert answer.status_code == 429
    assert "ten minutes" in answer.text


def test_wrong_codes_shut_the_address_whatever_a_header_claims(somebody, box):
    person = somebody()
    for n in range(TRIES):
        where, fields = person.fields("/code")
        headers = {"x-forwarded-for": f"10.0.0.{n}"}
        assert person.client.post(where, data=fields | {"code": f"AAAA-AAA{n}"}, headers=headers).status_code == 403
    assert person.send("/code", code=box["code"]).status_code == 429


def test_a_visitor_sees_no_page_of_staff(tan):
    assert tan.look("/today").status_code == 403


def test_the_language_is_chosen_and_remembered(somebody):
    person = somebody()
    assert 'lang="zh-Hans"' in person.look("/sign-in?lang=zh-Hans").text
    assert '<html lang="zh-Hans">' in person.look("/code").text
    assert '<html lang="en">' in person.look("/code?lang=en").text


def test_going_out_ends_the_session_not_only_the_cookie(maren, somebody):
    token = maren.client.cookies["takeup"]
    maren.send("/today", "/sign-out")
    thief = somebody()
    thief.client.cookies.set("takeup", token)
    assert thief.client.get("/today", headers={"accept": "text/html"}).status_code == 303


def test_headers_keep_strangers_out(somebody):
    headers = somebody().look("/sign-in").headers
    assert (
        "default-src 'none'" in headers["content-security-policy"]
        and "unsafe" not in headers["content-security-policy"]
    )
    assert headers["x-content-type-options"] == "nosniff" and "httponly" in headers["set-cookie"].lower()


@pytest.mark.parametrize("next_", ["//evil.example/", "https://evil.example/", "/\\evil.example", "\\\\evil"])
def test_signing_in_leads_to_no_other_host(somebody, next_):
    person = somebody()
    _, fields = person.fields("/sign-in")
    answer = person.client.post(
        "/sign-in", data=fields | {"name": "Maren", "password": "a rather long word", "next": next_}
    )
    assert answer.headers["location"] == "/today"
