"""A real browser at the desk: starting it, serving the desk to it, waiting until a page has become what it should."""

from __future__ import annotations

import shutil
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required"]  # fmt: skip
MARKS = [pytest.mark.browser, pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this computer")]
WAIT_MS = 30_000  # how long a driver's own waiting may take on a busy computer
SERIOUS = ("serious", "critical")


def in_a_browser(test):
    """Marks one test of a module whose others need no browser; a whole module says ``pytestmark = MARKS``."""
    for mark in MARKS:
        test = mark(test)
    return test


@contextmanager
def chromium():
    """The system's own Chromium, started. One module at a time: the driver keeps its loop on the tests' thread."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


class Server:
    """A desk's application on a port of this computer, until it is stopped."""

    def __init__(self, app, desk, port: int = 0) -> None:
        self.desk = desk
        config = uvicorn.Config(
            app, host="127.0.0.1", port=port, log_level="error", access_log=False, ws="none",
            timeout_graceful_shutdown=1,
        )  # fmt: skip
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        while not self.server.started:
            assert self.thread.is_alive()
            time.sleep(0.01)
        self.port = self.server.servers[0].sockets[0].getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"

    def stop(self) -> None:
        self.desk.wire.loop.call_soon_threadsafe(self.desk.wire.close)
        self.server.should_exit = True
        self.thread.join(20)
        assert not self.thread.is_alive()


def becomes(page, condition: str) -> bool:
    """Whether a condition comes true within 30 s, a page later if need be. Handed over whole: the pages' policy forbids
    what builds functions from text, as the driver's own waiting does."""
    from playwright.sync_api import Error

    asked = f"""async () => {{
        const end = performance.now() + 30000;
        while (!({condition})) {{
            if (performance.now() > end) return false;
            await new Promise(later => setTimeout(later, 20));
        }}
        return true;
    }}"""
    for _ in range(5):
        try:
            return page.evaluate(asked)
        except Error as gone:
            if "navigation" not in str(gone):
                raise
            page.wait_for_load_state()
    return False


def says(page, text: str) -> bool:
    """Whether a text is there to be read by and by."""
    return becomes(page, f"document.querySelector('main')?.innerText.includes({text!r})")


def awake(page) -> bool:
    """Whether the page's script runs by now: a key pressed before it does is heard by nobody."""
    return becomes(page, "document.documentElement.dataset.awake === 'yes'")


def faults_of(page, impacts: tuple[str, ...] = ()) -> list[str]:
    """What axe-core finds on a page; only that of the impacts named, all when none is."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found if not impacts or one["impact"] in impacts]


def serious(page) -> list[str]:
    """What axe-core finds that would shut somebody out."""
    return faults_of(page, SERIOUS)


def tab_to(page, selector: str, most: int = 80) -> bool:
    """Press Tab until what is meant has the focus, seen by its outline: whether it can be reached at all."""
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("wanted => document.activeElement.matches(wanted)", selector):
            return page.evaluate("getComputedStyle(document.activeElement).outlineStyle !== 'none'")
    return False
