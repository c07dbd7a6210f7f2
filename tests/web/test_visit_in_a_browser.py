"""A visit's beginning in a real browser: by keyboard, with a phone, without scripts; axe-core on every page of it."""

from __future__ import annotations

import io
import re
import shutil
import threading
import time

import pytest
import uvicorn
from PIL import Image

from takeup.tasks.box_items import listed

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
needs_chromium = pytest.mark.skipif(not CHROMIUM, reason="no chromium here")
PASSWORD = "a rather long word"
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


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield started
        started.close()


@pytest.fixture
def served(app, desk):
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", timeout_graceful_shutdown=1))
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}"
    desk.wire.loop.call_soon_threadsafe(desk.wire.close)
    server.should_exit = True
    running.join(10)


def signed_in(chromium, served, **more):
    page = chromium.new_context(**more).new_page()
    page.set_default_timeout(8000)
    page.goto(f"{served}/sign-in?lang=en")
    page.fill("input[name=name]", "Maren")
    page.fill("input[name=password]", PASSWORD)
    page.click("main button")
    return page


def faults_of(page):
    from axe_playwright_python.sync_playwright import Axe

    return [(found["id"], found["nodes"][0]["html"][:100]) for found in Axe().run(page).response["violations"]]


@pytest.mark.browser
@needs_chromium
@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_axe_finds_nothing_and_no_page_is_wider_than_a_phone(chromium, served, box, lang):
    page = signed_in(chromium, served, viewport={"width": 390, "height": 844})
    told = []
    page.on("console", lambda message: told.append(message.text) if message.type == "error" else None)
    for url in ["/boxes", "/boxes/new", *(f"/boxes/{box['number']}{one}" for one in PAGES)]:
        page.goto(f"{served}{url}?lang={lang}")
        page.evaluate("() => { for (const folded of document.querySelectorAll('details')) folded.open = true }")
        assert lang != "en" or faults_of(page) == [], url  # the same elements in both languages
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth"), url
    assert told == []
    page.context.close()


@pytest.mark.browser
@needs_chromium
def test_three_originals_are_entered_by_keyboard_alone(chromium, served, box, desk):
    page = signed_in(chromium, served)
    page.goto(f"{served}/boxes/{box['number']}/items")
    page.keyboard.type("v 2 snow 90")
    page.locator("#reads-as", has_text="2 × · a VHS tape").wait_for()
    page.keyboard.press("Enter")
    page.locator(".said", has_text="v2, v3").wait_for()
    page.keyboard.type("k evening songs")
    page.keyboard.press("Enter")
    page.locator(".said", has_text="k2").wait_for()
    kept = {line.original.id: line.original for line in listed(box["path"], desk.settings)}
    assert (kept["v3"].label, kept["v3"].minutes, kept["k2"].label) == ("snow", 90, "evening songs")
    page.context.close()


@pytest.mark.browser
@needs_chromium
def test_enter_in_the_last_row_begins_another(chromium, served, box):
    page = signed_in(chromium, served)
    page.goto(f"{served}/boxes/{box['number']}/items")
    page.get_by_text("Several at once, in rows").click()
    rows = page.locator("#rows tbody tr")
    before = rows.count()
    rows.last.locator("input[name=row_label]").fill("harbour")
    rows.last.locator("input[name=row_label]").press("Enter")
    assert rows.count() == before + 1 and rows.last.locator("input[name=row_label]").input_value() == ""
    page.context.close()


@pytest.mark.browser
@needs_chromium
def test_a_whole_beginning_without_scripts(chromium, served, box, desk):
    page = signed_in(chromium, served, java_script_enabled=False)
    url = f"{served}/boxes/{box['number']}"
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
    page.context.close()


@pytest.mark.browser
@needs_chromium
def test_a_phone_scans_the_screen_and_its_picture_stands_on_the_shelf(chromium, served, box):
    page = signed_in(chromium, served)
    page.goto(f"{served}/boxes/{box['number']}/phone")
    address = page.locator(".slip .plain-code").inner_text()
    phone = chromium.new_context(viewport={"width": 390, "height": 844}, is_mobile=True, has_touch=True).new_page()
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
    page.goto(f"{served}/boxes/{box['number']}")
    assert page.locator("#i-k1 img.photo").evaluate("picture => picture.naturalWidth") == 1600
    phone.context.close()
    page.context.close()
