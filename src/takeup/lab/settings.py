"""What the lab may change on a page: opening hours, closures, rules, times of keeping. One row a key, as JSON."""

from __future__ import annotations

import secrets
from typing import Any

import sqlalchemy as sa

from takeup.lab.port import Lab, Stale, add, change, one
from takeup.lab.schema import SETTING
from takeup.tables.loader import load_rows

FIRST: dict[str, Any] = {  # what stands until the lab says otherwise
    "opening": {day: [["10:00", "18:00"]] for day in ("tue", "wed", "thu", "fri", "sat")},
    "closed": [],
    "keep": {"person_days": 90, "code_hours": 12},
    "adult_age": 18,
    "copies": {
        "mend": None,
        "video": None,
    },  # words of plan/mending.py, plan/copies.py; None: as the settings file says
    "drives": [],  # what the lab lends or sells: {"name", "bytes"}
    "zone": "",  # the lab's time zone, as "Europe/Berlin"; empty: the one this computer keeps
    "feed": {"token": "", "names": False},  # the calendar feed's address, and whether names stand in it
    "opening_list": {
        "en": [
            "Switch on the machines and let them warm up",
            "Clean heads, rollers and glass; write it down",
            "Play the test tape, scan the empty glass",
            "Look for what was left behind",
            "Look at the day's visits; print the day sheet",
        ],
        "zh-Hans": [
            "打开机器预热",
            "清洁磁头、压带轮和扫描玻璃，并记下来",
            "播放测试带，空扫一次玻璃",
            "看看有没有遗留物品",
            "看今天的来访，打印当日单",
        ],
    },
}


def setting(db: sa.Connection, key: str) -> tuple[Any, int]:
    """A setting's value and version (0: the first one, nobody has changed it)."""
    row = one(db, SETTING, SETTING.c.key == key)
    return (row["value"], row["version"]) if row else (_first(key), 0)


def _first(key: str) -> Any:
    """The rules of booking are rows of a table (``booking.rules``); the rest stands here."""
    return load_rows().section("booking.rules") if key == "rules" else FIRST.get(key)


def keep_setting(db: sa.Connection, key: str, value: Any, version: int) -> None:
    """Change a setting.

    Raises
    ------
    Stale
        When somebody changed it since ``version``.
    """
    if version:
        change(db, SETTING, key, version, value=value)
    elif one(db, SETTING, SETTING.c.key == key):
        raise Stale("setting")
    else:
        add(db, SETTING, key=key, value=value)


def desk_secret(lab: Lab) -> bytes:
    """A secret of this desk, made once."""
    with lab.writing() as db:
        row = one(db, SETTING, SETTING.c.key == "secret")
        if row is None:
            row = {"value": secrets.token_hex(32)}
            db.execute(SETTING.insert().values(key="secret", value=row["value"]))
    return bytes.fromhex(row["value"])
