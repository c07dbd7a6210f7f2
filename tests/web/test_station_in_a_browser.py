"""A visit at a station in a real browser: paired, a slip, steps by key, a finding over the wire, sleep, a restart."""

from __future__ import annotations

import pytest

from takeup.lab.asked import ask_somebody
from takeup.lab.boxes import new_slip_code, open_box
from takeup.lab.live import keep_event, note_event
from takeup.lab.places import add_station
from takeup.lab.port import add, change, now, one
from takeup.lab.schema import ASKED, CAPTURE
from takeup.lab.sittings import code_for_screen, sitting_now
from takeup.settings import Settings
from takeup.tasks.box_new import box_new
from takeup.web.app import make_app
from takeup.web.serve import open_desk
from web.browsing import MARKS, Server, awake, becomes, says, serious

pytestmark = MARKS
WORDS = {
    "en": {"why": "The loudest moments from 4:10 on were cut off flat. This is certain.", "do": "Turn the input down."},
    "zh-Hans": {"why": "从 4:10 起，最响的地方被削平了。这一点可以确定。", "do": "请把输入调低。"},
}


class Served:
    """A desk on a port, that can be ended and started again on the same home."""

    def __init__(self, home) -> None:
        self.home, self.port = home, 0
        self.start()

    def start(self) -> None:
        self.desk = open_desk(self.home, Settings(lab="Harbour Street Library"))
        self.server = Server(make_app(self.desk), self.desk, self.port)
        self.port, self.url = self.server.port, self.server.url

    def stop(self) -> None:
        self.server.stop()
        self.desk.lab.close()


@pytest.fixture
def served(tmp_path, monkeypatch):
    monkeypatch.setenv("TAKEUP_SETTINGS", "")
    made = Served(tmp_path / "home")
    with made.desk.lab.writing() as db:
        add_station(db, "cassette-1", "cassette", "Cassette", "录音带", place=1)
        row = open_box(db, None, "A family")
        made.slip, made.box = new_slip_code(db, row["id"]), row
        made.code = code_for_screen(db, "cassette-1")
    items = tmp_path / "items.csv"
    items.write_text("id,carrier,label,minutes\nk1,cassette,Aunt and uncle 1983,60\nk2,cassette,Harbour,90\n", "utf-8")
    box_new(made.desk.boxes / row["folder"], items, Settings(), title="A family")
    yield made
    if made.server.thread.is_alive():
        made.stop()


def begin_capture(served) -> None:
    with served.desk.lab.writing() as db:
        sitting = sitting_now(db, "cassette-1")
        add(
            db, CAPTURE, id="0123456789", station_id="cassette-1", sitting_id=sitting["id"], box_id=sitting["box_id"],
            item="k1", part="a", name="k1-side-a.wav", state="growing", seconds=0.0, begun_at=now(), heard_at=now(),
            sha256="", verdict="", stored="", why="", facts={},
        )  # fmt: skip
        facts = {"capture": "0123456789", "item": "k1"}
        seq = note_event(db, "cassette-1", "begin", facts, capture_id="0123456789")
    served.desk.wire.tell("cassette-1", "begin", facts, seq)


def find(served, at_s: float, number: int) -> int:
    finding = {"name": "clipping", "verdict": "redo", "again": "helps", "from_s": at_s, "to_s": at_s + 1}
    key = f"0123456789/clipping/{at_s}"
    facts = {"capture": "0123456789", "key": key, "finding": finding, "words": WORDS}
    with served.desk.lab.writing() as db:
        facts["asked"] = ask_somebody(
            db, "cassette-1", "finding", key, verdict="redo", facts=facts, capture_id="0123456789",
            box_id=served.box["id"], item="k1",
        )  # fmt: skip
        seq = keep_event(db, "cassette-1", "test", number, "finding", facts, capture_id="0123456789")
    served.desk.wire.tell("cassette-1", "finding", facts, seq)
    return facts["asked"]


def test_a_visit_at_the_station(served, browser):
    context = browser.new_context(viewport={"width": 1920, "height": 1080}, locale="en-GB")
    page = context.new_page()
    told: list[str] = []
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on(
        "console", lambda line: told.append(line.text) if line.type == "error" and "ERR_" not in line.text else None
    )
    page.goto(f"{served.url}/station")
    assert says(page, "belongs to no station yet") and serious(page) == []
    page.fill("input[name=code]", served.code)
    page.keyboard.press("Enter")
    assert says(page, "Type the code on your slip") and serious(page) == []
    page.fill("#slip-code", served.slip)
    page.keyboard.press("Enter")
    assert says(page, "Which one is in front of you") and serious(page) == []
    page.click("button:has-text('k1, side A')")
    assert says(page, "Step 1 of 12") and serious(page) == []
    assert awake(page)
    page.keyboard.press("ArrowRight")
    assert says(page, "Step 2 of 12")
    assert awake(page)
    page.keyboard.press("ArrowLeft")
    assert says(page, "Step 1 of 12")

    begin_capture(served)  # whoever skips the steps is taken along when the recording begins
    assert says(page, "Nothing to do now") and serious(page) == []
    levels = {"left_dbfs": -20.0, "left_peak_dbfs": -9.0, "right_dbfs": -30.0, "right_peak_dbfs": -12.0}
    progress = {"capture": "0123456789", "seconds": 754.0, "bytes": 1, "levels": levels, "moments": [], "notice": None}
    served.desk.wire.tell("cassette-1", "progress", progress)
    assert becomes(page, "document.getElementById('clock').textContent === '12:34'")
    width = page.evaluate("document.querySelector('#meter-left .now-level').getAttribute('width')")
    assert float(width) == 200.0  # (-20 + 60) of 60 dB on 300 units
    areas = page.evaluate(
        "['left', 'right', 'hub'].map(n => document.querySelector(`.reels .${n}`).getAttribute('r') ** 2)"
    )
    assert (areas[0] - areas[2]) / (areas[1] - areas[2]) == pytest.approx((1800 - 754) / 754, rel=0.005)
    notice = {"name": "level-high", "words": {"en": {"why": "Hardly any room.", "do": "Turn it down."}, "zh-Hans": {}}}
    served.desk.wire.tell("cassette-1", "progress", progress | {"notice": notice})
    assert says(page, "Hardly any room.")
    served.desk.wire.tell("cassette-1", "progress", progress)
    assert says(page, "Nothing to do now")

    asked = find(served, 250.0, 1)
    assert says(page, "cut off flat") and serious(page) == []
    assert becomes(page, "document.getElementById('told').textContent.includes('cut off flat')")
    page.reload(wait_until="load")
    assert says(page, "cut off flat")

    served.stop()
    assert becomes(page, "!document.getElementById('away').hidden")
    served.start()
    assert becomes(page, "document.getElementById('away').hidden")
    assert says(page, "cut off flat")
    find(served, 300.0, 2)
    assert says(page, "1 more places ask")

    page.focus("button[value=go-on] >> nth=0")
    page.keyboard.press("Enter")
    assert becomes(page, "!document.querySelector('main')?.innerText.includes('1 more places')")
    with served.desk.lab.reading() as db:
        assert one(db, ASKED, ASKED.c.id == asked)["answer"] == "go-on"
    page.click("button.bell")
    assert says(page, "The librarian is called") and serious(page) == []
    with served.desk.lab.writing() as db:
        change(db, CAPTURE, "0123456789", None, state="whole", verdict="redo", seconds=1800.0)
        seq = note_event(db, "cassette-1", "end", {"capture": "0123456789"}, capture_id="0123456789")
    served.desk.wire.tell("cassette-1", "end", {"capture": "0123456789"}, seq)
    assert becomes(page, "document.getElementById('now').dataset.growing === '0'")
    page.goto(f"{served.url}/station?lang=zh-Hans")
    assert says(page, "从 4:10 起") and serious(page) == []
    assert told == []
    context.close()


def test_the_screen_works_without_scripts(served, browser):
    context = browser.new_context(java_script_enabled=False, locale="en-GB")
    page = context.new_page()
    page.goto(f"{served.url}/station")
    page.fill("input[name=code]", served.code)
    page.click("main button")
    page.fill("#slip-code", served.slip)
    page.click("section.start button")
    page.click("button:has-text('k1, side A')")
    page.click("#next")
    begin_capture(served)
    find(served, 250.0, 1)
    page.goto(f"{served.url}/station")
    assert "cut off flat" in page.inner_text("main")
    assert page.locator("noscript meta[http-equiv=refresh]").count() == 1 or "Show what is new" in page.content()
    page.click("button[value=go-on]")
    assert "Go on for now" not in page.inner_text("main")
    page.click("button.bell")
    assert "The librarian is called" in page.inner_text("main")
    page.click("form.leave button")
    assert "Type the code on your slip" in page.inner_text("main")
    context.close()
