"""A visit's beginning in a real browser: by keyboard, with a phone, without scripts; axe-core on every page of it."""

from __future__ import annotations

import io
import re

import pytest
from PIL import Image

from takeup.tasks.box_items import listed
from web.browsing import MARKS, awake, faults_of

pytestmark = MARKS
PAGES = (
    "",
    "/check-in",
    "/agree",
    "/items",
    "/items/v1",
    "/phone",
    "/screening/v1",
    "/plan",
    "/slips",
    "/slips/labels",
)


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_axe_finds_nothing_and_no_page_is_wider_than_a_phone(screens, box, lang):
    page = screens.staff(viewport={"width": 390, "height": 844})
    for url in ["/boxes", "/boxes/new", *(f"/boxes/{box['number']}{one}" for one in PAGES)]:
        page.goto(f"{url}?lang={lang}")
        page.evaluate("() => { for (const folded of document.querySelectorAll('details')) folded.open = true }")
        assert lang != "en" or faults_of(page) == [], url  # the same elements in both languages
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), url


def test_three_originals_are_entered_by_keyboard_alone(screens, box, desk):
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/items")
    assert awake(page)
    page.keyboard.type("v 2 snow 90")
    page.locator("#reads-as", has_text="2 × · a VHS tape").wait_for()
    page.keyboard.press("Enter")
    page.locator(".said", has_text="v2, v3").wait_for()
    assert awake(page)
    page.keyboard.type("k evening songs")
    page.keyboard.press("Enter")
    page.locator(".said", has_text="k2").wait_for()
    kept = {line.original.id: line.original for line in listed(box["path"], desk.settings)}
    assert (kept["v3"].label, kept["v3"].minutes, kept["k2"].label) == ("snow", 90, "evening songs")


def test_enter_in_the_last_row_begins_another(screens, box):
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/items")
    page.get_by_text("Several at once, in rows").click()
    assert awake(page)
    rows = page.locator("#rows tbody tr")
    before = rows.count()
    rows.last.locator("input[name=row_label]").fill("harbour")
    rows.last.locator("input[name=row_label]").press("Enter")
    assert rows.count() == before + 1 and rows.last.locator("input[name=row_label]").input_value() == ""


def test_a_whole_beginning_without_scripts(screens, box, desk):
    page = screens.staff(java_script_enabled=False)
    url = f"/boxes/{box['number']}"
    page.goto(f"{url}/items")
    page.locator(".tile", has_text="a print").click()
    page.fill("input[name=line]", "40 harbour street")
    page.click("#quick button")
    page.locator(".said", has_text="p2").wait_for()
    page.goto(f"{url}/screening/p2")
    for question in page.locator("fieldset.question").all():
        question.get_by_label("No", exact=True).check()
    page.get_by_role("button", name="Say what is done with it").click()
    assert "Comes in" in page.locator("#outcome").inner_text()
    page.goto(f"{url}/plan")
    assert "This drive" in page.locator("main").inner_text()


def test_a_phone_scans_the_screen_and_its_picture_stands_on_the_shelf(screens, box):
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/phone")
    address = page.locator(".slip .plain-code").inner_text()
    phone = screens.open(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True)
    phone.goto(address)
    assert faults_of(phone) == []
    taken = io.BytesIO()
    Image.effect_noise((2000, 1500), 70).convert("RGB").save(taken, "JPEG", quality=80)
    form = phone.locator("form.send").first
    form.locator("input[type=file]").set_input_files(
        {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": taken.getvalue()}
    )
    form.locator("button").click()
    phone.locator(".said", has_text=re.compile("k1")).wait_for()
    page.goto(f"/boxes/{box['number']}")
    assert page.locator("#i-k1 img.photo").evaluate("picture => picture.naturalWidth") == 1600
