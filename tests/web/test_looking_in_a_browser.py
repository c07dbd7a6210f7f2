"""Look and judge in a real browser: a place is heard from two seconds before; who decided what, and why, is kept."""

from __future__ import annotations

from dataclasses import replace

import pytest
from make.looked_at import CLIPPED, side

from takeup.box.folder import look_into
from takeup.settings import Settings
from web.browsing import MARKS, awake, becomes, faults_of, says

pytestmark = MARKS


@pytest.fixture
def noticed(box, tmp_path):
    """One side of a cassette, cut off flat at 3 s and again at 5 s; the address of its page."""
    side(look_into(box["path"], Settings()), tmp_path, CLIPPED, replace(CLIPPED, verdict="look", from_s=5.0, to_s=5.2))
    return f"/boxes/{box['number']}/captures/1"


def said(box):
    decided = look_into(box["path"], Settings()).record.facts("decided")
    return [(fact.facts["said"], fact.facts["who"], fact.facts["why"]) for fact in decided]


def test_a_place_is_heard_from_two_seconds_before(screens, noticed, box):
    """The capture has six seconds: from 1 s on five are left, and the place at 3 s comes two seconds into them."""
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/captures")
    page.get_by_role("link", name="Look at the first of them").click()
    assert says(page, "cut off flat") and awake(page) and faults_of(page) == []
    assert becomes(page, "document.querySelector('.picture img').naturalWidth > 0")
    sounds = page.locator("li.place audio")
    assert sounds.evaluate_all("all => all.map(one => new URL(one.src).search)") == ["?from=1.0", "?from=3.0"]
    sounds.nth(0).evaluate("sound => sound.play()")
    assert becomes(page, "document.querySelectorAll('audio')[0].currentTime > 0")
    assert sounds.nth(0).evaluate("sound => sound.duration") == pytest.approx(5.0, abs=0.05)
    sounds.nth(0).evaluate("sound => { sound.currentTime = 2 }")
    assert becomes(page, "document.querySelectorAll('audio')[0].currentTime > 2")
    sounds.nth(1).evaluate("sound => sound.play()")
    assert becomes(page, "document.querySelectorAll('audio')[1].currentTime > 0")
    assert becomes(page, "document.querySelectorAll('audio')[0].paused"), "one at a time"


def test_kept_captured_again_and_asked_each_with_who_and_why(screens, noticed, box, desk):
    page = screens.staff()
    page.goto(noticed)
    page.get_by_role("radio", name="Keep it").check()
    page.get_by_role("button", name="Note it").click()
    assert says(page, "Write in a few words why") and page.get_by_role("radio", name="Keep it").is_checked()
    page.get_by_label("Why, in a few words").fill("Tried twice, the same both times")
    page.get_by_role("button", name="Note it").click()
    assert says(page, "Kept · Maren") and says(page, "“Tried twice, the same both times”")
    page.get_by_role("radio", name="Capture again").check()
    page.get_by_label("Why, in a few words").fill("the plug was loose")
    page.keyboard.press("Enter")
    assert says(page, "To be captured again · Maren") and says(page, "“the plug was loose”")
    page.get_by_text("What was decided before").click()
    assert says(page, "Tried twice")
    page.get_by_role("button", name="Take this back").click()
    assert becomes(page, "document.querySelectorAll('#decision [role=status]').length === 0")

    theirs = screens.visitor(box)
    theirs.goto(noticed)
    assert theirs.locator("input[name=said]").evaluate_all("all => all.map(one => one.value)") == ["ask"]
    theirs.get_by_role("radio", name="Ask staff").check()
    theirs.get_by_label("Why, in a few words").fill("Is that uncle Wen?")
    theirs.keyboard.press("Enter")
    assert says(theirs, "Asked · the visitor")
    page.goto("/today")
    page.locator(".eye", has_text="Is that uncle Wen?").get_by_role("link", name="Go there").click()
    assert says(page, "Asked · the visitor") and page.url.endswith("/captures/1")
    page.goto(f"{noticed}?lang=zh-Hans")
    assert says(page, "Is that uncle Wen?") and page.locator("html[lang=zh-Hans]").count() == 1
    assert said(box) == [
        ("accept", "Maren", "Tried twice, the same both times"), ("again", "Maren", "the plug was loose"),
        ("", "Maren", ""), ("ask", "visitor", "Is that uncle Wen?"),
    ]  # fmt: skip
