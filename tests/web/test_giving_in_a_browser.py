"""A gift and an interview in a real browser: offered in plain words, declined with a reason, offered anew, accepted."""

from __future__ import annotations

from datetime import date

from takeup.lab.gifts import gifts_of
from takeup.settings import Settings
from takeup.tasks.interviews import interviews
from web.browsing import MARKS, faults_of, says, serious

pytestmark = MARKS
UNTIL = f"{date.today().year + 2}-07-01"


def offer(page, rights):
    page.get_by_role("radio", name="k1: Library too").check()
    page.locator(f"[name=rights][value={rights}]").check()
    page.locator("[name=published][value=no]").check()
    page.get_by_label("Whom one sees or hears").fill("Aunt Wen, Uncle Bo")
    page.locator("[name=people_agree][value=agree]").check()
    page.locator("[name=minors][value=none]").check()
    page.get_by_label("Closed until").fill(UNTIL)
    page.get_by_label("I have read this and sign it.").check()
    page.get_by_role("button", name="Offer it").click()
    assert says(page, "Thank you. The library looks at it")


def decide(page, answer, why=""):
    """From the day's list of what waits to the decision."""
    page.goto("/gifts")
    page.locator("ul.lines a", has_text="waits for a decision").click()
    assert says(page, "What the donor says")
    page.get_by_label("Reason (the donor reads it)").fill(why)
    page.get_by_role("button", name=answer, exact=True).click()


def test_a_gift_is_offered_declined_with_a_reason_offered_anew_and_accepted(screens, box, desk):
    theirs, page = screens.visitor(box), screens.staff()
    theirs.goto(f"/boxes/{box['number']}/gift")
    assert faults_of(theirs) == []
    theirs.get_by_role("button", name="Offer it").click()
    assert theirs.locator("form.stack :invalid").count() > 0, "nothing is sent before it is answered"
    offer(theirs, "other")

    decide(page, "Decline")
    assert says(page, "Please write the reason; the donor reads it.")
    said = page.locator("dl").inner_text()
    assert "Aunt Wen, Uncle Bo" in said and f"1 July {UNTIL[:4]}" in said and "somebody else" in said.lower()
    assert page.locator("ul.against li.stop").count() == 1 and serious(page) == []
    page.get_by_label("Reason (the donor reads it)").fill("Ask the photographer first, please.")
    page.get_by_role("button", name="Decline").click()
    assert says(page, "declined")

    theirs.reload()
    assert says(theirs, "Ask the photographer first, please.")
    offer(theirs, "mine")
    decide(page, "Accept")
    assert says(page, "accepted")
    theirs.reload()
    assert says(theirs, "The library keeps a copy") and says(theirs, "given already")
    with desk.lab.reading() as db:
        kept = {row["state"]: row for row in gifts_of(db, box["id"])}
    assert set(kept) == {"accepted", "declined"} and kept["accepted"]["embargo_until"] == UNTIL
    assert kept["accepted"]["release"] == "gift-0" and kept["declined"]["why"] == "Ask the photographer first, please."


def test_an_interviews_release_is_signed_by_each_who_speaks(screens, box):
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/interview")
    assert faults_of(page) == []
    page.get_by_label("What is told").fill("How the harbour froze")
    page.get_by_label("Name 1").fill("Old Tan")
    page.locator("[name=signed-1]").check()
    page.get_by_label("Name 2").fill("Ida Tan")
    page.get_by_label("Levels checked with each voice").check()
    page.get_by_role("button", name="Put it on the list").click()
    assert says(page, "i1: How the harbour froze") and says(page, "Ida Tan: has not signed yet")
    assert says(page, "The silence of the room was not recorded yet.")
    page.get_by_role("link", name="Change what is said of it").click()
    assert says(page, "Interview i1")
    page.get_by_role("link", name="简体中文").click()
    assert page.locator("[name=title]").input_value() == "How the harbour froze", "the same one, in the other language"
    page.get_by_role("link", name="English").click()
    page.locator("[name=signed-2]").check()
    page.get_by_label("Half a minute of the room's silence recorded").check()
    page.get_by_role("button", name="Keep the changes").click()
    assert says(page, "Ida Tan: ") and page.locator("#i-i1 .held").count() == 0
    told = interviews(box["path"], Settings())["i1"]
    assert [(one["name"], one["signed"]) for one in told["speakers"]] == [
        ("Old Tan", "release-0"),
        ("Ida Tan", "release-0"),
    ]
    page.goto(f"/boxes/{box['number']}")
    assert says(page, "How the harbour froze")
