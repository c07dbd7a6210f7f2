"""A desk on a throwaway home, spoken to as a browser speaks: forms are read from the page and sent back whole."""

from __future__ import annotations

import re
import shutil
from html.parser import HTMLParser

import pytest
from anyio.from_thread import start_blocking_portal
from argon2 import PasswordHasher
from make.handing import finish_print
from make.looked_at import bed
from starlette.testclient import TestClient

from takeup.box.folder import look_into
from takeup.lab import secrets
from takeup.lab.boxes import new_slip_code, open_box
from takeup.lab.people import add_staff, set_password, staff_of
from takeup.lab.places import add_station
from takeup.lab.port import add, now
from takeup.lab.schema import PERSON
from takeup.lab.sessions import begin_session, box_of_code
from takeup.settings import Settings
from takeup.tasks.box_new import box_new
from takeup.web.app import make_app
from takeup.web.caller import COOKIE
from takeup.web.serve import open_desk
from web.browsing import WAIT_MS, Server, chromium

PASSWORD = "a rather long word"
REFUSED = re.compile(r"status of 4(00|03|09)\b")
ITEMS = "id,carrier,label,minutes\nk1,cassette,Aunt and uncle 1983,60\np1,print,Harbour,\nv1,vhs,Wedding,120\n"


class Forms(HTMLParser):
    """Every form of a page: its action and the fields a browser would send without anybody touching it."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.forms: list[tuple[str, dict[str, str]]] = []
        self._select = ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        about = {name: value or "" for name, value in attrs}
        if tag == "form":
            self.forms.append((about.get("action", ""), {}))
        if not self.forms:
            return
        fields = self.forms[-1][1]
        name = about.get("name", "")
        if tag == "input" and name and (about.get("type") not in ("checkbox", "radio") or "checked" in about):
            fields[name] = about.get("value", "on" if about.get("type") == "checkbox" else "")
        if tag == "textarea" and name:
            fields[name] = ""
        if tag == "select":
            self._select = name
        if tag == "option" and self._select and ("selected" in about or self._select not in fields):
            fields[self._select] = about.get("value", "")


class Person:
    """One browser at the desk."""

    def __init__(self, app, portal=None) -> None:
        self.client = TestClient(app, raise_server_exceptions=True, follow_redirects=False)
        self.client.portal = portal

    def look(self, url, **more):
        """The page at an address, redirects followed."""
        return self.client.get(url, follow_redirects=True, **more)

    def fields(self, url, action=None):
        """The fields of the page's form with that action (the first one when not told)."""
        html = self.look(url).text
        for found, fields in Forms(html).forms:
            if action is None or found == action:
                return found or url, fields
        raise AssertionError(f"{url} has no form {action}: {re.findall('<h1>.*?</h1>', html)}")

    def send(self, url, action=None, *, follow=True, **changed):
        """Fill the form of a page and send it."""
        where, fields = self.fields(url, action)
        return self.client.post(where, data=fields | changed, follow_redirects=follow)


@pytest.fixture(scope="session")
def staffed_home(tmp_path_factory):
    """A home with two accounts and three stations, made once and copied for each test."""
    home = tmp_path_factory.mktemp("staffed") / "home"
    made = open_desk(home, Settings())
    with made.lab.writing() as db:
        add_staff(db, "Maren")
        add_staff(db, "Ola", "helper")
        for name in ("Maren", "Ola"):
            set_password(db, staff_of(db, name)["id"], PASSWORD)
        add_station(db, "cassette-1", "cassette", "Cassette", "录音带", place=1)
        add_station(db, "video-1", "video", "Video 1", "录像 1", place=2)
        add_station(db, "flatbed-1", "flatbed", "Flatbed", "平板扫描", place=3)
    made.lab.close()
    return home


@pytest.fixture(autouse=True, scope="session")
def quick_hashing():
    """argon2 with its least work: what it costs on purpose would be paid at every signing in of every test."""
    kept, secrets.HASHER = secrets.HASHER, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    yield
    secrets.HASHER = kept


@pytest.fixture
def desk(tmp_path, monkeypatch, staffed_home):
    monkeypatch.setenv("TAKEUP_SETTINGS", "")
    shutil.copytree(staffed_home, tmp_path / "home")
    made = open_desk(tmp_path / "home", Settings(lab="Harbour Street Library"))
    yield made
    made.workers.stop()
    made.lab.close()


@pytest.fixture
def app(desk):
    return make_app(desk)


@pytest.fixture(scope="session")
def portal():
    """The loop and threads that answer every request: without, a new loop and two new threads are made for each."""
    with start_blocking_portal() as kept:
        yield kept


@pytest.fixture
def somebody(app, portal):
    """Makes a new browser in which nobody is signed in."""
    return lambda: Person(app, portal)


@pytest.fixture
def maren(somebody):
    """The librarian, signed in."""
    person = somebody()
    assert person.send("/sign-in", name="Maren", password=PASSWORD, follow=False).status_code == 303
    return person


@pytest.fixture
def ola(somebody):
    """A helper with less reach, signed in."""
    person = somebody()
    assert person.send("/sign-in", name="Ola", password=PASSWORD, follow=False).status_code == 303
    return person


@pytest.fixture
def box(desk, tmp_path):
    """A visitor's box with three originals, on the disk and in the lab's book; with its slip's code."""
    with desk.lab.writing() as db:
        person = add(db, PERSON, name="Tan Marlow", contact="", lang="en", needs="", made_at=now(), forget_on="")
        row = open_box(db, person, "The Tan and Marlow family")
        row["code"] = new_slip_code(db, row["id"])
    items = tmp_path / "items.csv"
    items.write_text(ITEMS, "utf-8")
    box_new(desk.boxes / row["folder"], items, desk.settings, title=row["title"])
    row["path"] = desk.boxes / row["folder"]
    return row


@pytest.fixture
def scan(box, tmp_path):
    """The address of a bed scan with two prints."""
    box["stored"] = bed(look_into(box["path"], Settings()), tmp_path)
    return f"/boxes/{box['number']}/captures/1/pictures"


@pytest.fixture
def tan(somebody, box):
    """The visitor of that box, come in by the slip's code."""
    person = somebody()
    assert person.send("/code", code=box["code"], follow=False).status_code == 303
    return person


@pytest.fixture
def finished(box, tmp_path):
    """That box with a print captured from a station's folder (``station_file``), and its master and copy made."""
    finish_print(box, tmp_path / "station")
    return box


@pytest.fixture
def stick(tmp_path):
    """A folder that stands for a visitor's drive."""
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


# --- a real browser ---------------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def browser():
    """Chromium, started once for a module."""
    with chromium() as started:
        yield started


@pytest.fixture
def by_hand(desk):
    """Long work waits until the test does it (``make.handing.do_work``): no process, and nothing half done."""
    desk.workers.start = lambda: None


@pytest.fixture
def served(app, desk, request):
    """The address of the test's own desk on a port. Never kept for a second test: its desk is that of one test."""
    if "by_hand" in request.fixturenames:  # before the workers begin
        request.getfixturevalue("by_hand")
    server = Server(app, desk)
    yield server.url
    server.stop()


class Screens:
    """Browser windows of one test; what went wrong in any of them is kept in ``told``."""

    def __init__(self, browser, served, desk) -> None:
        self.browser, self.served, self.desk = browser, served, desk
        self.told: list[str] = []
        self.contexts: list = []

    def open(self, **more):
        """A window in which nobody has come in."""
        context = self.browser.new_context(**({"base_url": self.served, "locale": "en-GB"} | more))
        self.contexts.append(context)
        context.set_default_timeout(WAIT_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: self.told.append(str(error)))
        page.on("console", self._hear)
        return page

    def _hear(self, line):
        """A form sent back with a sentence (400, 403, 409) is what a story may ask for; the rest is not."""
        if line.type == "error" and not REFUSED.search(line.text):
            self.told.append(line.text)

    def staff(self, name="Maren", **more):
        """A window in which one of the staff is signed in already."""
        page = self.open(**more)
        with self.desk.lab.writing() as db:
            token = begin_session(db, "staff", staff_id=staff_of(db, name)["id"])
        page.context.add_cookies([{"name": COOKIE, "value": token, "url": self.served}])
        return page

    def visitor(self, box, **more):
        """A window in which the box's visitor has typed the slip's code already."""
        page = self.open(**more)
        with self.desk.lab.writing() as db:
            row = box_of_code(db, box["code"])
            token = begin_session(db, "visitor", box_id=row["id"], until=row["code_until"])
        page.context.add_cookies([{"name": COOKIE, "value": token, "url": self.served}])
        return page


@pytest.fixture
def screens(browser, served, desk):
    """Opens windows at the desk; at the end none may have said that something went wrong."""
    made = Screens(browser, served, desk)
    yield made
    for context in made.contexts:
        context.close()
    assert made.told == []
