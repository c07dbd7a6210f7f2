"""Booking on the telephone: one form, what is free as buttons under it, the soonest first. Walk-ins: one press."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import Slot, bookings_between, visitor_of
from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.persons import find_persons, person_for
from takeup.lab.places import stations
from takeup.lab.visits import NotFree, book
from takeup.plan.booking import Wish
from takeup.plan.offers import free_starts
from takeup.plan.opening import Booking
from takeup.tables.loader import load_rows
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown, Told
from takeup.web.booking_words import page_words, why_said
from takeup.web.pages import form, page

LONGEST_TEXT = 2_000
PARTS_OF_DAY = {"any": (0, 1440), "morning": (0, 720), "afternoon": (720, 1440), "late": (900, 1440)}


@page("/visits/new")
def new(ask: Ask) -> Answer:
    """The form, with the soonest starts for the first kind already under it."""
    return _form(ask)


@form("/visits/find", once=False)
def found(ask: Ask) -> Answer:
    """The same form with what was typed, and what is free for it."""
    return _form(ask)


@form("/visits/people", once=False)
def people(ask: Ask) -> Answer:
    """Known people for what is being typed."""
    with ask.desk.lab.reading() as db:
        known = find_persons(db, ask.text("name", most=200))
    return Told(facts=[{name: row[name] for name in ("id", "name", "contact", "last")} for row in known])


@form("/visits/new")
def booked(ask: Ask) -> Answer:
    """Book the start whose button was pressed."""
    name = ask.text("name", most=200)
    person = ask.number("person", high=10**9)
    if not name and not person:
        return _form(ask, sentence=ask.words("Whose visit is it? Type a name, then press the start again."), status=400)
    try:
        with ask.desk.lab.writing() as db:
            slot = slot_given(ask, _minutes(ask))
            person_id = person_for(
                db, person_id=person, name=name, contact=ask.text("contact", most=200),
                lang=_language(ask), needs=ask.text("needs", most=LONGEST_TEXT),
            )  # fmt: skip
            brings = ask.text("brings", most=LONGEST_TEXT)
            number = book(db, slot, person_id=person_id, by=ask.who.name, brings=brings)
    except NotFree as no:
        return _form(ask, sentence=_why(ask, no), status=409)
    except Refused as no:
        return _form(ask, sentence=no.sentence, status=no.status)
    tell_pages(ask, slot.station_id)
    return SeeOther(url=f"/visits/{number}")


@form("/visits/walk-in")
def walked_in(ask: Ask) -> Answer:
    """Somebody stands here and a station is free: taken with one press, the name can follow."""
    try:
        with ask.desk.lab.writing() as db:
            slot = slot_given(ask, _minutes(ask))
            number = book(db, slot, person_id=None, by=ask.who.name, state="here")
    except NotFree as no:
        raise Refused(_why(ask, no), status=409) from no
    tell_pages(ask, slot.station_id)
    return SeeOther(url=f"/visits/{number}")


def _why(ask: Ask, no: NotFree) -> str:
    with ask.desk.lab.reading() as db:
        return why_said(ask, no.why, stations(db))


def _language(ask: Ask) -> str:
    lang = ask.given.get("person_lang", "")
    return lang if lang in ("en", "zh-Hans") else ""


def _minutes(ask: Ask) -> int:
    return ask.number("minutes", low=1, high=1440) or load_rows().value("booking.counter.usual_minutes")


def slot_given(ask: Ask, minutes: int) -> Slot:
    """The place that a button carries: ``station|day|minute``.

    Raises
    ------
    Refused
        When it is no such thing: nobody pressed a button of ours.
    """
    parts = ask.given.get("start", "")[:100].split("|")
    try:
        station_id, day, start = parts[0], dt.date.fromisoformat(parts[1]), int(parts[2])
    except (IndexError, ValueError):
        raise Refused(ask.words("Press one of the free starts.")) from None
    if not 0 <= start < 1440:
        raise Refused(ask.words("Press one of the free starts."))
    return Slot(station_id=station_id, day=day, start=start, end=start + minutes)


def day_given(ask: Ask, name: str, now: dt.date) -> dt.date | None:
    """A day as it was chosen; None for none, or one that is out of all reach."""
    text = ask.text(name, most=20)
    try:
        day = dt.date.fromisoformat(text) if text else None
    except ValueError:
        return None
    return day if day and abs((day - now).days) < 3660 else None


def offers(
    db: sa.Connection,
    kind: str,
    minutes: int,
    *,
    day: dt.date | None,
    since: tuple[dt.date, int],
    person_id: int | None = None,
    between: tuple[int, int] = (0, 1440),
    but: int | None = None,
    most: int | None = None,
) -> list[Booking]:
    """Free starts, one station for each: all of the day asked for, else the soonest of several days."""
    counter = load_rows().section("booking.counter")
    first, minute = since
    begins = max(first, day or first)
    last = begins if day else begins + dt.timedelta(days=counter["search_days"])
    wish = Wish(
        kind=kind, day=begins, start=minute if begins == first else 0, minutes=minutes,
        visitor=visitor_of(person_id) if person_id else "",
    )  # fmt: skip
    told: list[Booking] = []
    on_day: dict[dt.date, list[int]] = {}
    for one in free_starts(
        lab_of(db, begins, last), bookings_between(db, begins, last, but=but), wish, last, between=between
    ):
        if told and (told[-1].day, told[-1].start) == (one.day, one.start):
            continue
        there = on_day.setdefault(one.day, [])
        near = bool(there) and one.start < there[-1] + counter["apart_minutes"]
        if day is None and (near or len(there) >= counter["offered_a_day"]):
            continue
        there.append(one.start)
        told.append(one)
        if day is None and len(told) >= (most or counter["offered"]):
            break
    return told


def _form(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        now, minute = here(zone_of(db))
        places = stations(db)
        kinds = list(dict.fromkeys(place["kind"] for place in places))
        rules = lab_of(db, now, now).rules
        wanted = _wanted(ask, now, kinds, rules)
        person = wanted["person"]
        starts: list[Booking] = []
        instead: list[Booking] = []
        if wanted["kind"]:
            about: dict[str, Any] = {
                "person_id": person, "since": (now, minute), "between": PARTS_OF_DAY[wanted["part"]]
            }  # fmt: skip
            starts = offers(db, wanted["kind"], wanted["minutes"], day=wanted["date"], **about)
            if not starts and wanted["date"]:
                instead = offers(db, wanted["kind"], wanted["minutes"], day=None, **about)
        known = find_persons(db, wanted["name"]) if wanted["name"] else []
    lengths = range(rules.shortest, rules.longest + 1, rules.step)
    facts = page_words(ask) | {
        "kinds": kinds,
        "lengths": list(lengths),
        "parts": list(PARTS_OF_DAY),
        "wanted": wanted,
        "starts": starts,
        "instead": instead,
        "known": known,
        "places": {place["id"]: place for place in places},
        "today": now.isoformat(),
        "sentence": sentence,
        "search_days": load_rows().value("booking.counter.search_days"),
    }
    return Shown(template="book.html", facts=facts, status=status)


def _wanted(ask: Ask, now: dt.date, kinds: list[str], rules: Any) -> dict[str, Any]:
    """What was typed or chosen so far; what makes no sense falls back to the usual, nothing is refused here."""
    given = ask.given
    kind = given.get("kind", "")
    minutes = _whole(given.get("minutes", ""), load_rows().value("booking.counter.usual_minutes"))
    date = day_given(ask, "day", now)
    texts = {name: given.get(name, "")[:LONGEST_TEXT] for name in ("name", "contact", "brings", "needs")}
    part = given.get("part", "any")
    return texts | {
        "kind": kind if kind in kinds else (kinds[0] if kinds else ""),
        "minutes": max(rules.shortest, min(minutes, rules.longest)),
        "date": date if date and date >= now else None,
        "day": date.isoformat() if date and date >= now else "",
        "part": part if part in PARTS_OF_DAY else "any",
        "person": _whole(given.get("person", ""), 0) or None,
        "person_lang": _language(ask),
    }


def _whole(text: str, otherwise: int) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else otherwise


def tell_pages(ask: Ask, *station_ids: str) -> None:
    """Every open page of the day looks again."""
    for station_id in dict.fromkeys(station_ids):
        ask.desk.wire.tell(station_id, "visit", {})
