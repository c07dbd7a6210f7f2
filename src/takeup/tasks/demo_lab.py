"""An invented lab's week, so that every page of the desk has something to show. All names and places are made up."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from takeup.lab.people import add_staff, set_password, staff_of
from takeup.lab.places import add_station
from takeup.lab.port import Lab, add, now, one
from takeup.lab.schema import BOX, PERSON, SETTING
from takeup.lab.secrets import digest, new_code, new_password
from takeup.settings import Settings
from takeup.tasks.demo_boxes import fill_boxes
from takeup.tasks.demo_for_whom import fill_for_whom
from takeup.tasks.demo_gifts import fill_gifts
from takeup.tasks.demo_station import fill_station
from takeup.tasks.demo_visits import fill_visits

STATIONS = (
    ("video-1", "video", "Video 1", "录像 1"),
    ("cassette-1", "cassette", "Cassette", "录音带"),
    ("flatbed-1", "flatbed", "Flatbed", "平板扫描"),
    ("film-1", "film", "Film", "电影胶片"),
    ("microfilm-1", "microfilm", "Microfilm", "缩微胶片"),
)


def is_demo(lab: Lab) -> bool:
    """Whether this home was filled by us."""
    with lab.reading() as db:
        return one(db, SETTING, SETTING.c.key == "demo") is not None


def told_again(lab: Lab) -> dict[str, Any]:
    """The account and the codes of a demo home."""
    with lab.reading() as db:
        row = one(db, SETTING, SETTING.c.key == "demo")
    return dict(row["value"]) if row else {}


def fill(lab: Lab, home: Path, settings: Settings) -> dict[str, Any]:
    """Fill an empty home; the account and codes, which the home keeps so as to tell them again (it is a demo).

    The captures are not made here: that takes a while, and is work for the desk once it is open.
    """
    password, codes = new_password(), [new_code(), new_code()]
    until = (datetime.now().astimezone() + timedelta(days=7)).isoformat(timespec="milliseconds")
    told = {"staff": {"name": "librarian", "password": password}, "visitor_codes": codes}
    with lab.writing() as db:
        add_staff(db, "librarian")
        account = staff_of(db, "librarian")
        set_password(db, account["id"], password)
        for place, (station_id, kind, en, zh) in enumerate(STATIONS):
            add_station(db, station_id, kind, en, zh, place=place)
        for n, code in enumerate(codes):
            person = add(db, PERSON, name=f"Visitor {n + 1}", lang="en", made_at=now(), forget_on="")
            add(db, BOX, number=f"{42 + n:04d}", folder=f"{42 + n:04d}", person_id=person, title=f"Box {42 + n:04d}",
                code_sha256=digest(code), code_until=until, opened_at=now())  # fmt: skip
    fill_boxes(lab, home, settings)
    fill_visits(lab)
    fill_station(lab, home, settings)
    fill_for_whom(lab, home)
    fill_gifts(lab, home, settings)
    with lab.writing() as db:  # last: a home that was cut off while it was filled is no demo
        add(db, SETTING, key="demo", value=told)
    return told
