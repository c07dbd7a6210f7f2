"""The waiting list: who would like to come, what is free for them now, and offering a time that came free."""

from __future__ import annotations

import datetime as dt
from typing import Any

from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.persons import person_for
from takeup.lab.places import stations
from takeup.lab.port import one
from takeup.lab.schema import WAITING
from takeup.lab.visits import NotFree, book
from takeup.lab.waiting import all_waiting, starts_for, take_off, wait
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.booking import LONGEST_TEXT, PARTS_OF_DAY, day_given, slot_given, tell_pages
from takeup.web.booking_words import page_words, why_said
from takeup.web.pages import form, page

LOOKED_DAYS = 30
OFFERED = 3


@page("/visits/waiting")
def waiting(ask: Ask) -> Answer:
    return _list(ask)


def _list(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        since = here(zone_of(db))
        last = since[0] + dt.timedelta(days=LOOKED_DAYS)
        waits = [row | {"starts": starts_for(db, row, since, last, most=OFFERED)} for row in all_waiting(db)]
        places = stations(db)
        rules = lab_of(db, since[0], since[0]).rules
    facts = page_words(ask) | {
        "waits": waits,
        "places": {place["id"]: place for place in places},
        "kinds": list(dict.fromkeys(place["kind"] for place in places)),
        "lengths": list(range(rules.shortest, rules.longest + 1, rules.step)),
        "parts": list(PARTS_OF_DAY),
        "part_of": {(begins, ends): part for part, (begins, ends) in PARTS_OF_DAY.items()},
        "today": since[0].isoformat(),
        "looked_days": LOOKED_DAYS,
        "sentence": sentence,
        "given": ask.given,
    }
    return Shown(template="waiting.html", facts=facts, status=status)


@form("/visits/waiting")
def put_on(ask: Ask) -> Answer:
    """Somebody for whom nothing is free, or not when they can."""
    name, kind = ask.text("name", most=200), ask.given.get("kind", "")
    person = ask.number("person", high=10**9)
    minutes = ask.number("minutes", low=1, high=1440) or 0
    with ask.desk.lab.writing() as db:
        now = here(zone_of(db))[0]
        known = {place["kind"] for place in stations(db)}
        cannot = ""
        if not name and not person:
            cannot = ask.words("Who waits? Type a name. Nothing was written.")
        elif kind not in known or not minutes:
            cannot = ask.words("Choose what for, and how long. Nothing was written.")
        else:
            person_id = person_for(
                db, person_id=person, name=name, contact=ask.text("contact", most=200),
                needs=ask.text("needs", most=LONGEST_TEXT),
            )  # fmt: skip
            can = _can(ask, now)
            wait(
                db, person_id=person_id, kind=kind, minutes=minutes, can=can,
                brings=ask.text("brings", most=LONGEST_TEXT),
            )  # fmt: skip
    if cannot:
        return _list(ask, sentence=cannot, status=400)
    return SeeOther(url="/visits/waiting")


def _can(ask: Ask, now: dt.date) -> dict[str, Any]:
    """When they can come, as far as they said: first and last day, part of the day."""
    first, last = day_given(ask, "first", now), day_given(ask, "last", now)
    if first and last and last < first:
        first, last = last, first
    begins, ends = PARTS_OF_DAY.get(ask.given.get("part", "any"), PARTS_OF_DAY["any"])
    return {
        "first": first.isoformat() if first else "",
        "last": last.isoformat() if last else "",
        "from_min": begins,
        "to_min": ends,
    }


@form("/visits/waiting/book")
def off_and_booked(ask: Ask) -> Answer:
    """They said yes on the telephone: booked and off the list, both or neither."""
    number = ask.number("waiting") or 0
    try:
        with ask.desk.lab.writing() as db:
            row = one(db, WAITING, WAITING.c.id == number)
            if row is None:
                raise Refused(ask.words("Nobody waits under this number."), status=404)
            slot = slot_given(ask, row["minutes"])
            visit = book(db, slot, person_id=row["person_id"], by=ask.who.name, brings=row["brings"])
            take_off(db, number, ask.version or 0, visit_id=visit)
    except NotFree as no:
        with ask.desk.lab.reading() as db:
            said = why_said(ask, no.why, stations(db))
        return _list(ask, sentence=said, status=409)
    tell_pages(ask, slot.station_id)
    return SeeOther(url=f"/visits/{visit}")


@form("/visits/waiting/off", door="librarian")
def taken_off(ask: Ask) -> Answer:
    with ask.desk.lab.writing() as db:
        take_off(db, ask.number("waiting") or 0, ask.version or 0)
    return SeeOther(url="/visits/waiting")
