"""Hand over in a real browser: tried, packed, copied, read back, the slip, a sister's drive, then clearing."""

from __future__ import annotations

import re

from make.handing import do_work

from web.browsing import MARKS, becomes, faults_of, says

pytestmark = MARKS


def work_is_done(page, desk, kind):
    """The work in line is done, and the page shows by itself what became of it."""
    assert becomes(page, "document.querySelector('[data-busy]') !== null")
    assert do_work(desk) == [kind]
    return becomes(page, "document.querySelector('[data-busy]') === null")


def try_drive(page, desk, folder):
    page.get_by_label("Or write its folder").fill(str(folder))
    page.get_by_label("A folder on this computer's own disk is meant").check()
    page.get_by_role("button", name=re.compile("^Try")).click()
    assert says(page, "The drive is being tried") and says(page, str(folder))
    assert work_is_done(page, desk, "drive")
    assert page.inner_text("#drive h3") == str(folder) and "May be written" in page.inner_text("#drive")


def copy(page, desk, folder):
    step = page.locator("#copy")
    assert "reads every byte back" in step.inner_text() and str(folder) in step.inner_text()
    step.get_by_role("button", name="Copy and read back").click()
    assert says(page, "The parcel is being copied and read back")
    assert not list(folder.iterdir()), "nothing is written before its turn"
    assert work_is_done(page, desk, "deliver")
    assert str(folder) in page.inner_text("#receipts")
    assert list(folder.rglob("open-me.html"))


def test_from_the_drive_to_the_cleared_station(screens, finished, stick, desk, by_hand, tmp_path):
    sister = tmp_path / "sister"
    sister.mkdir()
    page = screens.staff()
    page.goto(f"/boxes/{finished['number']}/hand-over")
    assert says(page, "Writes trial files to the drive, reads them back")
    assert "not packed yet" in page.inner_text("#copy") and "No receipt covers this box yet" in page.inner_text(
        "#clear"
    )
    try_drive(page, desk, stick)
    assert "fingerprint of every file. No capture is touched" in page.inner_text("#pack")
    page.locator("#pack").get_by_role("button", name="Pack the parcel").click()
    assert says(page, "The parcel is being packed")
    assert work_is_done(page, desk, "pack")
    assert "Packed on" in page.inner_text("#pack")
    copy(page, desk, stick)
    page.get_by_role("link", name="The slip to print").click()
    assert says(page, str(stick)) and says(page, finished["number"])
    page.go_back()

    try_drive(page, desk, sister)
    copy(page, desk, sister)
    assert page.locator("#receipts li").count() == 2

    clear = page.locator("#clear")
    assert "must be unchanged" in clear.inner_text() and str(finished["station_file"]) in clear.inner_text()
    clear.get_by_role("checkbox").check()
    clear.get_by_role("button", name="Remove this file from its station").click()
    assert says(page, "The stations are being cleared") and finished["station_file"].exists()
    assert work_is_done(page, desk, "clear")
    assert "One file is cleared." in clear.inner_text() and not finished["station_file"].exists()
    assert faults_of(page) == []
