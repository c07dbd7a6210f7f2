"""Visits of the invented lab's week: who is here, late, gone, who did not come, a machine down, people who wait."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.asked import ask_somebody
from takeup.lab.book import Slot
from takeup.lab.hours import WEEKDAYS, here, lab_of, moment_of, zone_of
from takeup.lab.logbook import write_log
from takeup.lab.places import set_down, stations
from takeup.lab.port import Lab, add, change, now, one, rows
from takeup.lab.schema import BOX, PERSON, VISIT
from takeup.lab.settings import keep_setting, setting
from takeup.lab.visits import NotFree, book, no_show
from takeup.lab.waiting import wait
from takeup.plan.opening import step_begun

BY = "librarian"
OPEN_HOURS = (10, 20)
PEOPLE = (  # invented, in no town that is
    ("Wilma Oduya", "0770 010 011", "en", ""),
    ("林小舟", "0770 010 012", "zh-Hans", ""),
    ("Teo Marchetti", "0770 010 013", "en", "wheelchair"),
    ("Ji-won Abara", "jiwon@abara.example", "en", ""),
    ("Noor Haven", "0770 010 015", "en", "large print"),
    ("Bao Lindqvist", "0770 010 016", "zh-Hans", "a helper"),
    ("Pia Castellan", "0770 010 017", "en", ""),
    ("Ezra Winterbourne", "0770 010 018", "en", ""),
)
TODAY = (  # station kind, minutes from the present step, length, what becomes of it, what they bring
    ("video", -240, 120, "done", "v1, v2: two birthdays"),
    ("video", -60, 150, "here", "one T-120, speed unknown"),
    ("video", 150, 120, "booked", "three short tapes"),
    ("cassette", -180, 90, "done", "k1 to k3"),
    ("cassette", -60, 120, "here", "two C90s"),
    ("flatbed", -240, 150, "done", "about 120 prints"),
    ("flatbed", -30, 180, "booked", "letters, 3 albums"),
    ("film", 60, 120, "booked", "four 50 ft reels"),
    ("film", 210, 90, "booked", "one reel, 1962"),
    ("microfilm", -210, 120, "no-show", "12 reels"),
    ("microfilm", 30, 120, "booked", "1 reel, 1931"),
)
COMING = (  # days from today, station kind, minutes from opening, length, what they bring
    (1, "video", 0, 120, "wedding tapes"),
    (1, "film", 60, 120, "six reels"),
    (1, "flatbed", 150, 180, "an album"),
    (2, "cassette", 30, 120, "letters on tape"),
    (2, "video", 120, 240, "four tapes"),
    (3, "microfilm", 0, 180, "parish register"),
    (3, "flatbed", 60, 120, "negatives"),
    (5, "video", 90, 120, "one tape"),
)
PAST = ((-1, "video", 60, 120), (-1, "flatbed", 0, 240), (-2, "cassette", 120, 90), (-3, "film", 60, 180))


def fill_visits(lab: Lab) -> None:
    """Fill the calendar around the present moment; the lab of the demo is open whenever it is looked at."""
    with lab.writing() as db:
        day, minute = here(zone_of(db))
        _keep_hours(db, minute)
        places = {row["kind"]: row["id"] for row in reversed(stations(db))}
        week = lab_of(db, day, day).week
        at = step_begun(week, day, minute, setting(db, "rules")[0]["step_minutes"])
        guests = _guests(db)
        _past(db, places, guests, day)
        for number, (kind, offset, minutes, state, brings) in enumerate(TODAY):
            if kind in places:
                _today(db, places[kind], day, at + offset, minutes, state, brings, guests[number % len(guests)])
        opens = min(start for start, _ in week.hours[day.weekday()])
        for number, (days, kind, offset, minutes, brings) in enumerate(COMING):
            if kind in places:
                slot = _slot(places[kind], day + dt.timedelta(days=days), opens + offset, minutes)
                _book(db, slot, guests[(number + 3) % len(guests)], brings)
        _around(db, places, guests, day)


def _keep_hours(db: sa.Connection, minute: int) -> None:
    first, last = OPEN_HOURS
    hour = minute // 60
    if not first + 2 <= hour < last - 2:
        first, last = max(0, hour - 5), min(24, hour + 5)
    hours = [[f"{first:02d}:00", f"{last:02d}:00"]]
    keep_setting(db, "opening", dict.fromkeys(WEEKDAYS, hours), setting(db, "opening")[1])
    rules, version = setting(db, "rules")
    keep_setting(db, "rules", rules | {"turn_round_minutes": 30, "starts_per_step": 2}, version)


def _guests(db: sa.Connection) -> list[int]:
    """Those whose boxes stand here already, then others who have none yet."""
    asked = sa.select(BOX.c.person_id).where(BOX.c.person_id.is_not(None), BOX.c.closed_at.is_(None)).order_by(BOX.c.id)
    with_boxes = list(dict.fromkeys(db.execute(asked).scalars()))
    others = [
        add(db, PERSON, name=name, contact=contact, lang=lang, needs=needs, made_at=now(), forget_on="")
        for name, contact, lang, needs in PEOPLE
    ]
    return [*with_boxes, *others]


def _slot(station_id: str, day: dt.date, start: int, minutes: int) -> Slot:
    return Slot(station_id=station_id, day=day, start=start, end=start + minutes)


def _book(db: sa.Connection, slot: Slot, person_id: int, brings: str) -> int | None:
    """Book where the rules allow it; an invented visit that has no room is left out."""
    try:
        with db.begin_nested():
            return book(db, slot, person_id=person_id, by=BY, brings=brings, today=min(slot.day, here(zone_of(db))[0]))
    except NotFree:
        return None


def _today(
    db: sa.Connection, station_id: str, day: dt.date, start: int, minutes: int, state: str, brings: str, person_id: int
) -> None:
    number = _book(db, _slot(station_id, day, start, minutes), person_id, brings)
    if number is None or state == "booked":
        return
    if state == "no-show":
        no_show(db, number, None)
        return
    zone = zone_of(db)
    came = moment_of(zone, day, start + 4).isoformat(timespec="milliseconds")
    left = moment_of(zone, day, start + minutes - 6).isoformat(timespec="milliseconds") if state == "done" else None
    change(db, VISIT, number, None, state=state, came_at=came, left_at=left)


def _past(db: sa.Connection, places: dict[str, str], guests: list[int], today: dt.date) -> None:
    opens = int(setting(db, "opening")[0]["mon"][0][0][:2]) * 60
    for number, (days, kind, offset, minutes) in enumerate(PAST):
        if kind not in places:
            continue
        slot = _slot(places[kind], today + dt.timedelta(days=days), opens + offset, minutes)
        if visit := _book(db, slot, guests[-1 - number % len(guests)], ""):
            came = moment_of(zone_of(db), slot.day, slot.start).isoformat(timespec="milliseconds")
            left = moment_of(zone_of(db), slot.day, slot.end - 5).isoformat(timespec="milliseconds")
            change(db, VISIT, visit, None, state="done", came_at=came, left_at=left)


def _around(db: sa.Connection, places: dict[str, str], guests: list[int], day: dt.date) -> None:
    """A machine that went down after its visits were booked, people who wait, things left behind, a bell."""
    if "film" in places:
        first, last = (day + dt.timedelta(days=days) for days in (-1, 2))
        set_down(db, places["film"], first.isoformat(), last.isoformat(), "gate lamp")
    known = {row["id"]: row for row in rows(db, PERSON)}
    for number, (kind, minutes, can) in enumerate(
        (("video", 60, {}), ("flatbed", 120, {"from_min": 720}), ("microfilm", 60, {"to_min": 720}))
    ):
        if kind in places and guests[-1 - number] in known:
            wait(db, person_id=guests[-1 - number], kind=kind, minutes=minutes, can=can)
    write_log(db, "lost", "SD card, film station, Saturday", who=BY, station_id=places.get("film"), still_open=True)
    write_log(db, "lost", "a red umbrella by the door", who=BY, still_open=True)
    about: dict[str, Any] = {
        "words": {
            "en": {"why": "The same speck was in the last 14 scans, at the lower left of the glass.",
                   "do": "Clean the glass before the next bed."},
            "zh-Hans": {"why": "最近 14 次扫描在玻璃左下方都有同一个斑点。", "do": "下一次扫描前请清洁玻璃。"},
        }
    }  # fmt: skip
    if "flatbed" in places:
        ask_somebody(db, places["flatbed"], "drift", f"demo/{day}", facts=about)
    if "video" in places:
        seat = one(db, VISIT, VISIT.c.station_id == places["video"], VISIT.c.state == "here")
        ask_somebody(db, places["video"], "bell", f"demo/{day}", box_id=seat["box_id"] if seat else None)
