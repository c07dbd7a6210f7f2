"""A machine is down: its visits, each with where it could go; or all planned anew, the others kept as promised."""

from __future__ import annotations

import datetime as dt
import time
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import Slot, bookings_between, hit_by_downtime, slot_of, visitor_of
from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.places import set_down, station, stations
from takeup.lab.port import rows
from takeup.lab.schema import DOWN
from takeup.lab.visits import NotFree, move
from takeup.plan.opening import Booking, Lab
from takeup.plan.schedule import Schedule, plan_schedule
from takeup.plan.schedule_places import Request, Window
from takeup.tables.loader import load_rows
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.booking import day_given, offers, tell_pages
from takeup.web.booking_words import page_words, why_said
from takeup.web.pages import form, page

OFFERED = 3
PLAN_DAYS = 14  # how far from their day visits may be moved when all are planned anew
PLAN_S = 10.0  # somebody waits at the screen; the best found by then is shown


@page("/visits/down")
def down(ask: Ask) -> Answer:
    return _list(ask)


def _list(ask: Ask, *, plan: bool = False, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        since = here(zone_of(db))
        places = {place["id"]: place for place in stations(db)}
        hit = hit_by_downtime(db, since[0])
        proposal = _proposal(ask, db, hit, since, places) if plan and hit else {}
        for visit in hit:
            visit["offers"] = _offers(db, visit, places[visit["station_id"]]["kind"], since)
        downs = rows(db, DOWN, DOWN.c.last >= since[0].isoformat(), order=DOWN.c.first)
    facts = page_words(ask) | {
        "hit": hit,
        "places": places,
        "downs": downs,
        "today": since[0].isoformat(),
        "proposal": proposal,
        "sentence": sentence,
        "given": ask.given,
    }
    return Shown(template="down.html", facts=facts, status=status)


def _offers(db: sa.Connection, visit: dict[str, Any], kind: str, since: tuple[dt.date, int]) -> list[Booking]:
    """Where a visit could go: the same day first, at the same time if that can be, then the days after it."""
    slot = slot_of(visit)
    begins = since if slot.day <= since[0] else (slot.day, 0)
    about: dict[str, Any] = {"person_id": visit["person_id"], "since": begins, "but": visit["id"]}
    same_day = offers(db, kind, slot.end - slot.start, day=begins[0], **about)
    same_day.sort(key=lambda one: (abs(one.start - slot.start), one.start))
    later = [one for one in offers(db, kind, slot.end - slot.start, day=None, **about) if one.day > begins[0]]
    return [*same_day, *later][:OFFERED]


@form("/visits/down")
def goes_down(ask: Ask) -> Answer:
    """A station does not run from a day to a day; nothing is moved yet."""
    with ask.desk.lab.writing() as db:
        now = here(zone_of(db))[0]
        place = station(db, ask.given.get("station", ""))
        first = day_given(ask, "first", now) or now
        last = day_given(ask, "last", now) or first
        if place is not None and first <= last:
            set_down(db, place["id"], first.isoformat(), last.isoformat(), ask.text("why"))
    if place is None or first > last:
        return _list(
            ask, sentence=ask.words("Choose a station, and a last day that is not before the first."), status=400
        )
    tell_pages(ask, place["id"])
    return SeeOther(url="/visits/down")


@form("/visits/down/plan", once=False)
def planned(ask: Ask) -> Answer:
    """Where all of them could go, shown before anything is moved."""
    return _list(ask, plan=True)


@form("/visits/down/move")
def all_moved(ask: Ask) -> Answer:
    """Move every visit as the plan showed it: all of them, or none when one of the times was taken meanwhile."""
    moves = [_move_given(ask, text) for text in ask.lists.get("move", [])[:500]]
    if not moves:
        raise Refused(ask.words("There was nothing to move."))
    try:
        with ask.desk.lab.writing() as db:
            for number, version, slot in moves:
                move(db, number, version, slot, why="down")
    except NotFree as no:
        with ask.desk.lab.reading() as db:
            said = why_said(ask, no.why, stations(db))
        return _list(ask, sentence=ask.words("Nothing was moved: %(why)s", why=said), status=409)
    tell_pages(ask, *(slot.station_id for _, _, slot in moves))
    return SeeOther(url="/visits/down")


def _move_given(ask: Ask, text: str) -> tuple[int, int, Slot]:
    try:
        number, version, station_id, day, start, end = text[:200].split("|")
        slot = Slot(station_id=station_id, day=dt.date.fromisoformat(day), start=int(start), end=int(end))
        if not (0 <= slot.start < slot.end <= 1440 and 0 < int(number) < 10**9 and 0 < int(version) < 10**9):
            raise ValueError(text)
        return int(number), int(version), slot
    except ValueError:
        raise Refused(ask.words("This is no plan of this page: plan once more.")) from None


def _proposal(
    ask: Ask,
    db: sa.Connection,
    hit: list[dict[str, Any]],
    since: tuple[dt.date, int],
    places: dict[str, dict[str, Any]],
) -> dict[int, Any]:
    """Where each could go, by the number of the visit: a booking, or the sentence why not."""
    now, minute = since
    last = max(dt.date.fromisoformat(visit["day"]) for visit in hit) + dt.timedelta(days=PLAN_DAYS)
    lab = lab_of(db, now, last)
    requests = [
        Request(
            visitor=visitor_of(visit["person_id"], visit["id"]),
            kind=places[visit["station_id"]]["kind"],
            minutes=visit["to_min"] - visit["from_min"],
            can=tuple(_windows(lab, dt.date.fromisoformat(visit["day"]), last, now, minute)),
            asked=dt.datetime.fromisoformat(visit["made_at"]).replace(tzinfo=None),
        )
        for visit in hit
    ]
    ends = time.monotonic() + min(PLAN_S, load_rows().value("booking.search.seconds"))
    promised = bookings_between(db, now, last, but=tuple(visit["id"] for visit in hit))
    made = plan_schedule(requests, lab, now, last, promised=promised, seconds_left=lambda: ends - time.monotonic())
    return _by_visit(ask, hit, requests, made, places)


def _windows(lab: Lab, day: dt.date, last: dt.date, now: dt.date, minute: int) -> list[Window]:
    """Any time from the visit's own day on: nobody has been asked yet when else they can."""
    first = max(day, now)
    days = [
        first + dt.timedelta(days=n) for n in range((min(last, first + dt.timedelta(days=PLAN_DAYS)) - first).days + 1)
    ]
    return [Window(day=one, start=minute if one == now else 0, end=1440) for one in days]


def _by_visit(
    ask: Ask, hit: list[dict[str, Any]], requests: list[Request], made: Schedule, places: dict[str, dict[str, Any]]
) -> dict[int, Any]:
    left: list[Booking] = list(made.bookings)
    whys = {id(one.request): one.why for one in made.unplaced}
    told: dict[int, Any] = {}
    for visit, request in zip(hit, requests, strict=True):
        if why := whys.get(id(request)):
            told[visit["id"]] = {"why": why_said(ask, why, places.values())}
            continue
        fits = next(
            one
            for one in left
            if one.visitor == request.visitor
            and one.minutes == request.minutes
            and places[one.station]["kind"] == request.kind
        )
        left.remove(fits)
        told[visit["id"]] = {"to": fits}
    return told
