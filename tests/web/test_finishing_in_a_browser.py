"""Finish in a real browser: a corner dragged and moved by keys, a quarter turn, undone; a back paired; copies made."""

from __future__ import annotations

import pytest
from make.handing import do_work
from make.looked_at import BED_PX, stands

from web.browsing import MARKS, awake, becomes, faults_of, says

pytestmark = MARKS


def middle_of(page, selector):
    one = page.locator(selector).bounding_box()
    return one["x"] + one["width"] / 2, one["y"] + one["height"] / 2


def test_corners_turns_and_backs_then_copies(screens, scan, box, desk, by_hand):
    """The glass is 300 pixels wide: so many of the screen's are one of the scan's. The red print's first corner lies at
    40, 30; dragged by 30 and 15 of the scan's pixels, then one to the right and ten down by keys: 71, 55."""
    page = screens.staff(viewport={"width": 1280, "height": 1000})
    page.goto(scan)
    assert awake(page) and faults_of(page) == []
    assert becomes(page, "document.querySelector('.glass image').getBBox().width > 0")
    scale = page.locator(".glass image").bounding_box()["width"] / BED_PX[0]
    corner = ".glass g[data-number='1'] .corner >> nth=0"
    x, y = middle_of(page, corner)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 10 * scale, y + 5 * scale)
    page.mouse.move(x + 30 * scale, y + 15 * scale)
    page.mouse.up()
    assert says(page, "Moved and not kept yet.")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    page.get_by_role("button", name="Keep these corners").click()
    assert becomes(page, "!document.querySelector('[data-moved]').textContent") and awake(page)
    assert stands(box).pictures[0].corners[0] == pytest.approx((71, 55), abs=1.0)
    page.get_by_role("button", name="Take the last change back").click()
    assert becomes(page, "document.querySelector('[name=x1_0]').value === '40.0'") and awake(page)

    page.locator(corner).focus()
    page.keyboard.press("r")
    assert becomes(page, "document.querySelector('[name=turn1]').value === '1'") and awake(page)
    assert becomes(
        page, "document.querySelector('#p1 .cut').naturalHeight > document.querySelector('#p1 .cut').naturalWidth"
    )
    assert becomes(page, "document.activeElement.closest('g')?.dataset.number === '1'"), (
        "the focus stays at the picture"
    )
    page.keyboard.press("Shift+R")
    assert becomes(page, "document.querySelector('[name=turn1]').value === '0'") and awake(page)
    page.locator("[name=back2]").select_option(label="Back of p1-1")
    page.get_by_role("button", name="Keep these corners").click()
    assert becomes(page, "document.querySelector('.note') === null") and awake(page)
    assert (stands(box).pictures[1].back_of, stands(box).pictures[0].turn) == ("p1-1", 0)

    page.get_by_role("link", name="Finish").click()
    assert says(page, "One original can be finished")
    page.get_by_role("button", name="Finish them now").click()
    assert says(page, "It waits its turn.")
    assert do_work(desk) == ["finish"]
    assert says(page, "All that can be finished is finished"), "the page shows it by itself"
    assert says(page, "back of p1-1") and faults_of(page) == []
    assert becomes(page, "document.querySelector('.made img').naturalWidth > 0")
    page.get_by_role("link", name="On to who, when and where").click()
    assert says(page, "p1-1") and not page.get_by_text("p1-2").count(), "a back is described with its front"
