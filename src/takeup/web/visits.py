"""The lab's week, one visit, and what becomes of it: came, gone, late, did not come, cancelled, moved."""

from __future__ import annotations

import datetime as dt
from typing import Any

from takeup.lab.book import bookings_between, gap_of, visits_between
from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.persons import no_shows_of, person_for
from takeup.lab.places import stations
from takeup.lab.port import one
from takeup.lab.schema import PERSON, VISIT
from takeup.lab.visits import NotFree, cancel, come, late, leave, move, name_walk_in, no_show, not_come, note
from takeup.lab.waiting import count_waiting, whom_it_fits
from takeup.plan.booking import what_fits
from takeup.plan.opening import Gap, open_spans
from takeup.tables.loader import load_rows
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.booking import LONGEST_TEXT, day_given, offers, slot_given, tell_pages
from takeup.web.booking_words import page_words, why_said
from takeup.web.pages import form, page

DAYS = 7


@page("/visits")
def visits(ask: Ask) -> Answer:
    """A week: who comes to which station on which day, and what is free."""
    with ask.desk.lab.reading() as db:
        now, minute = here(zone_of(db))
        first = day_given(ask, "week", now) or now
        first -= dt.timedelta(days=first.weekday())
        last = first + dt.timedelta(days=DAYS - 1)
        lab, bookings = lab_of(db, first, last), bookings_between(db, first, last)
        found = visits_between(db, first, last)
        free: dict[tuple[str, str], list[Gap]] = {}
        for kind in dict.fromkeys(station.kind for station in lab.stations):
            since = (max(first, now), minute if first <= now else 0)
            left = (last - since[0]).days + 1
            for gap in what_fits(kind, lab.rules.shortest, lab, bookings, since, days=max(0, left), most=10_000):
                free.setdefault((gap.station, gap.day.isoformat()), []).append(gap)
        facts = {"stations": stations(db), "waits": count_waiting(db)}
    days = [first + dt.timedelta(days=n) for n in range(DAYS)]
    down = {(station.id, day.isoformat()) for station in lab.stations for day in days if day in station.down}
    cells: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for visit in found:
        cells.setdefault((visit["station_id"], visit["day"]), []).append(visit)
    return Shown(
        template="visits.html",
        facts=facts
        | page_words(ask)
        | {
            "step": lab.rules.step,
            "days": [{"day": day.isoformat(), "open": open_spans(lab.week, day)} for day in days],
            "cells": cells,
            "free": free,
            "down": down,
            "today": now.isoformat(),
            "before": (first - dt.timedelta(days=DAYS)).isoformat(),
            "after": (first + dt.timedelta(days=DAYS)).isoformat(),
        },
    )


@page("/visits/{visit}")
def visit(ask: Ask) -> Answer:
    """One visit."""
    return shown_visit(ask, _number(ask))


def shown_visit(ask: Ask, number: int, *, sentence: str = "", status: int = 200) -> Answer:
    """A visit's page with everything that can be done with it."""
    with ask.desk.lab.reading() as db:
        row = one(db, VISIT, VISIT.c.id == number)
        if row is None:
            raise Refused(ask.words("There is no such visit."), status=404)
        person = one(db, PERSON, PERSON.c.id == row["person_id"]) if row["person_id"] else None
        now, minute = here(zone_of(db))
        places = stations(db)
        place = next(one_ for one_ in places if one_["id"] == row["station_id"])
        wanted = day_given(ask, "to", now) if ask.given.get("to") else None
        moves = []
        if row["state"] in ("booked", "no-show"):
            moves = offers(
                db, place["kind"], row["to_min"] - row["from_min"], day=wanted, person_id=row["person_id"],
                since=(now, minute), but=number,
            )  # fmt: skip
        gap = gap_of(db, row) if row["state"] in ("no-show", "cancelled", "done") else None
        fits = whom_it_fits(db, gap) if gap else []
        missed = no_shows_of(db, row["person_id"])
        rules = lab_of(db, now, now).rules
        boxed = [v for v in visits_between(db, *[dt.date.fromisoformat(row["day"])] * 2) if v["id"] == number]
    facts = page_words(ask) | {
        "visit": row,
        "person": person,
        "box": boxed[0]["number"] if boxed else None,
        "place": place,
        "places": {one_["id"]: one_ for one_ in places},
        "moves": moves,
        "gap": gap,
        "fits": fits,
        "missed": missed,
        "sentence": sentence,
        "lengths": list(range(rules.shortest, rules.longest + 1, rules.step)),
        "past": row["day"] < now.isoformat(),
        "wanted": wanted.isoformat() if wanted else "",
        "today": now.isoformat(),
        "late_step": load_rows().value("booking.no_show.after_minutes"),
        "given": ask.given,
    }
    return Shown(template="visit.html", facts=facts, status=status)


def _number(ask: Ask) -> int:
    text = ask.parts.get("visit", "")
    if not (text.isascii() and text.isdigit() and len(text) < 12):
        raise Refused(ask.words("There is no such visit."), status=404)
    return int(text)


@form("/visits/{visit}/state")
def state_changed(ask: Ask) -> Answer:
    """Came, gone home, comes later, did not come, or a slip of the finger taken back."""
    number, what, version = _number(ask), ask.given.get("what", ""), ask.version or 0
    back = ask.given.get("back", "")
    try:
        with ask.desk.lab.writing() as db:
            row = one(db, VISIT, VISIT.c.id == number)
            if row is None:
                raise Refused(ask.words("There is no such visit."), status=404)
            gap = None
            if what == "came":
                come(db, number, version)
            elif what == "gone":
                leave(db, number, version)
            elif what == "late":
                late(db, number, version, row["late_min"] + load_rows().value("booking.no_show.after_minutes"))
            elif what == "no-show":
                gap = no_show(db, number, version)
            elif what == "back":
                not_come(db, number, version)
            else:
                raise Refused(ask.words("Choose one of the buttons."))
            fits = bool(gap and whom_it_fits(db, gap))
    except NotFree as no:
        return _cannot(ask, number, no)
    tell_pages(ask, row["station_id"])
    return SeeOther(url=back if back == "/today" and not fits else f"/visits/{number}")


@form("/visits/{visit}/cancel", door="librarian")
def cancelled(ask: Ask) -> Answer:
    """The visit will not be. Only a librarian may take one out of the book."""
    number = _number(ask)
    with ask.desk.lab.writing() as db:
        row = one(db, VISIT, VISIT.c.id == number)
        if row is None:
            raise Refused(ask.words("There is no such visit."), status=404)
        cancel(db, number, ask.version or 0, why=ask.text("why", most=LONGEST_TEXT))
    tell_pages(ask, row["station_id"])
    return SeeOther(url=f"/visits/{number}")


@form("/visits/{visit}/move")
def moved(ask: Ask) -> Answer:
    """To another start, day or like station."""
    number = _number(ask)
    try:
        with ask.desk.lab.writing() as db:
            row = one(db, VISIT, VISIT.c.id == number)
            if row is None:
                raise Refused(ask.words("There is no such visit."), status=404)
            minutes = ask.number("minutes", low=1, high=1440) or row["to_min"] - row["from_min"]
            slot = slot_given(ask, minutes)
            same_start = slot.day.isoformat() == row["day"] and slot.start == row["from_min"]
            move(db, number, ask.version or 0, slot, why=ask.text("why", most=LONGEST_TEXT), keep_here=same_start)
    except NotFree as no:
        return _cannot(ask, number, no)
    tell_pages(ask, row["station_id"], slot.station_id)
    back = ask.given.get("back", "")
    return SeeOther(url=back if back == "/visits/down" else f"/visits/{number}")


@form("/visits/{visit}/who")
def who_it_is(ask: Ask) -> Answer:
    """Who the walk-in is, or what somebody brings."""
    number = _number(ask)
    name, brings = ask.text("name", most=200), ask.text("brings", most=LONGEST_TEXT)
    try:
        with ask.desk.lab.writing() as db:
            row = one(db, VISIT, VISIT.c.id == number)
            if row is None:
                raise Refused(ask.words("There is no such visit."), status=404)
            version = ask.version or 0
            if row["person_id"] is None and name:
                person = person_for(db, person_id=None, name=name, contact=ask.text("contact", most=200), lang=ask.lang)
                name_walk_in(db, number, version, person)
                version += 1
            note(db, number, version, brings=brings)
    except NotFree as no:
        return _cannot(ask, number, no)
    tell_pages(ask, row["station_id"])
    return SeeOther(url=f"/visits/{number}")


def _cannot(ask: Ask, number: int, no: NotFree) -> Answer:
    with ask.desk.lab.reading() as db:
        said = why_said(ask, no.why, stations(db))
    return shown_visit(ask, number, sentence=said, status=409)
