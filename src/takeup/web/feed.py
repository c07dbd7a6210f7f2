"""The lab's visits for any calendar program (RFC 5545), under a long address that staff can renew."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import slot_of
from takeup.lab.hours import here, moment_of, zone_of
from takeup.lab.places import station, stations
from takeup.lab.schema import BOX, PERSON, VISIT
from takeup.lab.secrets import new_token, same
from takeup.lab.settings import keep_setting, setting
from takeup.pages.calendar_feed import CalendarVisit, calendar_feed
from takeup.web.ask import Answer, Ask, Document, Refused, SeeOther, Shown
from takeup.web.booking_words import page_words, station_name
from takeup.web.pages import form, page

PAST_DAYS, COMING_DAYS = 31, 366
KIND = "text/calendar; charset=utf-8"


@page("/visits/feed")
def feed(ask: Ask) -> Answer:
    """The addresses to give to a calendar program."""
    with ask.desk.lab.reading() as db:
        value, version = setting(db, "feed")
        places = stations(db)
    host = ask.headers.get("host", "")
    return Shown(
        template="feed.html",
        facts=page_words(ask) | {"feed": value, "feed_version": version, "places": places, "host": host},
    )


@form("/visits/feed", door="librarian")
def feed_kept(ask: Ask) -> Answer:
    """A new address (the old one shows nothing from then on), or whether names stand in the feed."""
    with ask.desk.lab.writing() as db:
        value, _ = setting(db, "feed")
        what = ask.given.get("what", "")
        if what == "renew":
            value = value | {"token": new_token()}
        elif what == "end":
            value = value | {"token": ""}
        elif what == "names":
            value = value | {"names": ask.given.get("names") == "on"}
        else:
            raise Refused(ask.words("Choose one of the buttons."))
        keep_setting(db, "feed", value, ask.version or 0)
    return SeeOther(url="/visits/feed")


@page("/calendar/{token}/{which}", door="all")
def calendar(ask: Ask) -> Answer:
    """The feed itself: ``lab.ics`` for the whole lab, ``STATION.ics`` for one."""
    which = ask.parts["which"].removesuffix(".ics")
    with ask.desk.lab.reading() as db:
        value, _ = setting(db, "feed")
        place = station(db, which) if which != "lab" else None
        if not value["token"] or not same(ask.parts["token"], value["token"]) or (which != "lab" and place is None):
            raise Refused(ask.words("There is no such page."), status=404)
        lang = ask.desk.settings.lang
        visits = _visits(ask, db, place, lang, names=bool(value["names"]))
    lab = ask.desk.settings.lab
    name = f"{lab}: {station_name(place, lang)}" if place else lab
    return Document(body=calendar_feed(visits, name=name, made=dt.datetime.now(dt.UTC)), kind=KIND)


def _visits(
    ask: Ask, db: sa.Connection, place: dict[str, Any] | None, lang: str, *, names: bool
) -> list[CalendarVisit]:
    zone = zone_of(db)
    today, _ = here(zone)
    places = {one["id"]: station_name(one, lang) for one in stations(db)}
    first, last = today - dt.timedelta(days=PAST_DAYS), today + dt.timedelta(days=COMING_DAYS)
    asked = (
        sa.select(VISIT, BOX.c.number, PERSON.c.name)
        .outerjoin(BOX, BOX.c.id == VISIT.c.box_id)
        .outerjoin(PERSON, PERSON.c.id == VISIT.c.person_id)
        .where(VISIT.c.day.between(first.isoformat(), last.isoformat()))
        .order_by(VISIT.c.day, VISIT.c.from_min, VISIT.c.id)
    )
    if place:
        asked = asked.where(VISIT.c.station_id == place["id"])
    found = []
    for row in db.execute(asked).mappings():
        slot = slot_of(dict(row))
        parts = [places[slot.station_id], row["number"] or "", (row["name"] or "") if names else ""]
        found.append(
            CalendarVisit(
                uid=f"visit-{row['id']}@{_desk_id(row['made_at'])}.takeup",
                start=moment_of(zone, slot.day, slot.start),
                end=moment_of(zone, slot.day, slot.end),
                summary=" · ".join(part for part in parts if part),
                changed=dt.datetime.fromisoformat(row["changed_at"] or row["made_at"]),
                place=ask.desk.settings.lab,
                sequence=row["version"] - 1,
                cancelled=row["state"] in ("cancelled", "no-show"),
            )
        )
    return found


def _desk_id(made_at: str) -> str:
    """Keeps visits of two desks with the same number apart: the moment of booking never changes."""
    return "".join(sign for sign in made_at[:23] if sign.isdigit())
