"""Describe in a real browser: many at once by keys, what was typed before is offered, a date is said back as typed."""

from __future__ import annotations

from takeup.box.folder import look_into
from takeup.settings import Settings
from takeup.tasks.tagged import told_of
from web.browsing import MARKS, awake, becomes, faults_of, says, tab_to

pytestmark = MARKS


def told(box):
    return told_of(look_into(box["path"], Settings()))


def offered(page, name):
    """What the browser offers while somebody types in a field."""
    return page.locator(f"aside [name={name}]").evaluate("field => [...field.list.options].map(one => one.value)")


def test_several_at_once_by_keys_with_a_date_as_people_say_it(screens, box):
    page = screens.visitor(box)
    page.goto(f"/boxes/{box['number']}/describe")
    assert awake(page) and faults_of(page) == []
    assert tab_to(page, "input[name=id]")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Space")
    assert becomes(page, "document.querySelector('[data-count]').textContent === '2 chosen'")
    page.get_by_label("Who is there").fill("Aunt Wen; Uncle Bo")
    page.get_by_label("When").fill("summer 1974")
    assert becomes(page, "document.querySelector('[data-meant]').textContent.includes('1974-22')")
    assert "summer 1974 → summer 1974" in page.inner_text("[data-meant]")
    page.keyboard.press("Control+Enter")
    assert says(page, "Kept for 2.") and says(page, "One is not described yet.")
    assert awake(page)
    assert {id_: (one.people, one.date) for id_, one in told(box).items()} == {
        "k1": (("Aunt Wen", "Uncle Bo"), "1974-22"), "p1": (("Aunt Wen", "Uncle Bo"), "1974-22"),
    }  # fmt: skip

    assert offered(page, "people") == ["Uncle Bo", "Aunt Wen"] or offered(page, "people") == ["Aunt Wen", "Uncle Bo"]
    page.get_by_role("link", name="Open it v1").click()
    assert says(page, "3 of 3") and awake(page)
    page.get_by_role("link", name="简体中文").click()
    assert becomes(page, "document.documentElement.lang === 'zh-Hans'")
    assert says(page, "第 3") and page.url.endswith("id=v1&lang=zh-Hans"), "the same original, in the other language"
    assert awake(page)
    page.locator("[name=date]").fill("大约1960年")
    assert becomes(page, "document.querySelector('[data-meant]').textContent.includes('1960~')")
    assert "约1960年" in page.inner_text("[data-meant]")
    page.keyboard.press("Control+Enter")
    assert becomes(page, "document.querySelector('.sheet') !== null") and says(page, "约1960年")
    assert says(page, "1974年夏天") and told(box)["v1"].date == "1960~"


def test_a_date_of_two_meanings_is_asked_back_before_it_is_kept(screens, box):
    page = screens.staff()
    page.goto(f"/boxes/{box['number']}/describe?id=k1")
    assert awake(page)
    page.get_by_label("When").fill("03/04/1974")
    assert becomes(page, "document.querySelectorAll('[data-meant] input[type=radio]').length === 3")
    page.locator("[data-meant] input[value='1974-04-03']").check()
    page.get_by_role("button", name="Keep, and the next").click()
    assert says(page, "2 of 3") and told(box)["k1"].date == "1974-04-03"
