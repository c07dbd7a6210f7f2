"""Pictures of every page of the demo at three sizes and two languages, with what axe-core says: ``make pictures``.

Writes ``docs/desk/*.png`` (few colours, for a reader's eye) and prints every fault: a serious finding of axe-core, a
page wider than its screen, a message of the browser's console. Ends with status 1 when there is one.
"""

from __future__ import annotations

import functools
import io
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import sync_playwright

FOLDER = Path(__file__).parents[2] / "docs" / "desk"
SIZES = ((390, 844), (1280, 800), (1920, 1080))
LANGUAGES = ("en", "zh-Hans")
KEPT = {  # pages whose pictures are kept; the rest are only looked through by axe
    "/today": "day", "/visits": "week", "/visits/new": "book", "/boxes": "boxes", "/boxes/0042": "shelf",
    "/boxes/0042/items": "originals", "/boxes/0042/screening/s1": "screening", "/boxes/0042/plan": "plan",
    "/boxes/0042/captures/1": "capture", "/boxes/0042/describe": "describe", "/boxes/0042/hand-over": "hand-over",
    "/stations": "stations", "/gifts": "gifts", "/logbook": "logbook", "/mine": "mine", "/station": "station",
    "/care": "care",
}  # fmt: skip
MORE = (
    "/sign-in", "/code", "/copyright", "/password", "/boxes/new", "/boxes/0042/check-in", "/boxes/0042/slips",
    "/boxes/0042/captures", "/boxes/0042/gift", "/boxes/0042/interview",
    "/visits/waiting", "/visits/down", "/visits/feed", "/today/eyes", "/lab", "/lab/staff",
    "/lab/hours", "/lab/stations", "/lab/texts", "/lab/copies", "/lab/keeping", "/logbook/cassette-1",
    "/stations/cassette-1/screen", "/stations/cassette-1/steps",
)  # fmt: skip
SERIOUS = ("serious", "critical")


def main() -> int:
    """All pages, or those whose address begins with one of the words given."""
    wanted = tuple(sys.argv[1:]) or ("/",)
    with tempfile.TemporaryDirectory() as home:
        command = [sys.executable, "-m", "takeup", "desk", "--demo", "--home", home, "--port", "0", "--json"]
        desk = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            told = json.loads(desk.stdout.readline())
            faults = walk(told, wanted)
        finally:
            desk.send_signal(signal.SIGTERM)
            desk.wait(20)
    for fault in faults:
        print(fault)
    print(f"{len(faults)} faults")
    return 1 if faults else 0


def walk(told: dict, wanted: tuple[str, ...]) -> list[str]:
    """Look at the pages wanted."""
    faults: list[str] = []
    FOLDER.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"),
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        people = {who: browser.new_context() for who in ("staff", "visitor", "screen")}
        _come_in(people, told)
        _wait_for_captures(people["staff"], told["url"])
        for url in (*KEPT, *MORE):
            if not url.startswith(wanted):
                continue
            who = {"/mine": "visitor", "/station": "screen"}.get(url, "staff")
            page = people[who].new_page()
            page.on("console", functools.partial(_hear, faults, url))
            for lang in LANGUAGES:
                for width, height in SIZES:
                    page.set_viewport_size({"width": width, "height": height})
                    answer = page.goto(f"{told['url'].rstrip('/')}{url}?lang={lang}", wait_until="load")
                    if answer.status != 200:
                        faults.append(f"{url} {lang}: status {answer.status}")
                        break
                    page.wait_for_timeout(250)
                    wide = page.evaluate("document.documentElement.scrollWidth")
                    if wide > width:
                        faults.append(f"{url} {lang}: {wide} px wide on a screen of {width}")
                    if url in KEPT:
                        _keep(page.screenshot(), FOLDER / f"{KEPT[url]}-{lang}-{width}.png")
                    if width != 1920:
                        faults += [f"{url} {lang} {width}: {one}" for one in _axe(page)]
            page.close()
        browser.close()
    return faults


def _hear(faults: list[str], url: str, message) -> None:
    if message.type == "error":
        faults.append(f"{url}: {message.text}")


def _come_in(people: dict, told: dict) -> None:
    page = people["staff"].new_page()
    page.goto(f"{told['url']}sign-in?lang=en")
    page.fill("input[name=name]", told["staff"]["name"])
    page.fill("input[name=password]", told["staff"]["password"])
    page.click("main button")
    page.goto(f"{told['url']}stations/cassette-1/screen")
    page.click("form[action$='/screen/code'] button")
    code = page.inner_text("p.code")
    screen = people["screen"].new_page()
    screen.goto(f"{told['url']}station?lang=en")
    screen.fill("main input[name=code]", code)
    screen.click("form[action='/station/pair'] button")
    visitor = people["visitor"].new_page()
    visitor.goto(f"{told['url']}code?lang=en")
    visitor.fill("input[name=code]", told["visitor_codes"][1])
    visitor.click("main button")


def _wait_for_captures(staff, url: str) -> None:
    """The demo makes its captures while the desk is open already."""
    page = staff.new_page()
    end = time.monotonic() + 180
    while time.monotonic() < end:
        if page.goto(f"{url}boxes/0043/captures/1").status == 200:
            break
        page.wait_for_timeout(1000)
    page.close()


def _axe(page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found if one["impact"] in SERIOUS]


def _keep(raw: bytes, path: Path) -> None:
    """Written with 48 colours: a page has few, and a folder of them stays small."""
    with Image.open(io.BytesIO(raw)) as picture:
        picture.convert("RGB").quantize(48, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    raise SystemExit(main())
