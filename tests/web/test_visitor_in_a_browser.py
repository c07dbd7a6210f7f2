"""A visitor at the lab's screen, by keyboard only: the slip's code, the own box and no other, in Chinese throughout."""

from __future__ import annotations

from takeup.lab.boxes import open_box
from web.browsing import MARKS, becomes, faults_of, says, tab_to

pytestmark = MARKS


def test_the_own_box_by_its_code_and_keys_alone_in_chinese(screens, box, desk):
    with desk.lab.writing() as db:
        other = open_box(db, None, "Somebody else")
    page = screens.open(viewport={"width": 1280, "height": 800})
    page.goto("/mine")
    assert says(page, "Type the code on your slip") and faults_of(page) == []
    assert tab_to(page, "input[name=code]")
    page.keyboard.type("AAAA-AAAA")
    page.keyboard.press("Enter")
    assert says(page, "This code opens nothing now.")
    assert tab_to(page, "input[name=code]")
    page.keyboard.type(box["code"].lower())
    page.keyboard.press("Enter")
    assert says(page, "The Tan and Marlow family") and faults_of(page) == []
    assert page.locator("li.label").count() == 3

    assert tab_to(page, "a[lang=zh-Hans]")
    page.keyboard.press("Enter")
    assert becomes(page, "document.documentElement.lang === 'zh-Hans'") and says(page, "Aunt and uncle 1983")
    for part in ("items", "describe"):
        assert tab_to(page, f".boxnav a[href$='/{part}']"), part
        page.keyboard.press("Enter")
        assert becomes(page, f"location.pathname.endsWith('/{part}')"), part
        assert page.evaluate("document.documentElement.lang") == "zh-Hans", part
    assert page.locator(".boxnav a[href$='/hand-over'], .boxnav a[href$='/interview']").count() == 0

    for url in (f"/boxes/{other['number']}", f"/boxes/{other['number']}/captures", "/today", "/boxes"):
        assert page.goto(url).status == 403, url
        assert says(page, "访客单"), url
    page.goto("/mine")
    assert tab_to(page, "form[action='/sign-out'] button")
    page.keyboard.press("Enter")
    assert becomes(page, "location.pathname === '/sign-in'")
    page.goto(f"/boxes/{box['number']}/items")
    assert (
        becomes(page, "location.pathname === '/code'") and page.evaluate("document.documentElement.lang") == "zh-Hans"
    )
