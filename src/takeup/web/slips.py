"""What is printed for a visit: the visitor's slip with its code, and stickers for the originals; in their language."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.judge.sound_known import BORN_HERE
from takeup.lab.agreements import person_of_box
from takeup.lab.book import visits_between
from takeup.lab.boxes import end_slip_code, new_slip_code
from takeup.lab.hours import here, moment_of, zone_of
from takeup.lab.places import stations
from takeup.lab.port import now
from takeup.lab.schema import VISIT
from takeup.lab.settings import setting
from takeup.pages.qr import qr_data
from takeup.pages.slips import slip_address, stickers
from takeup.tasks.box_items import listed
from takeup.web import shapes
from takeup.web.ask import Answer, Ask, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.web.photos import origin_of
from takeup.web.speech import LANGUAGES, speaker
from takeup.words.sentences import say

DAYS_AHEAD = 90


@page("/boxes/{box}/slips")
def slips(ask: Ask) -> Answer:
    """What can be printed, and until when the slip's code is good."""
    row = box_of(ask)
    with ask.desk.lab.reading() as db:
        visits, lang = _visits(db, row), _language(db, row, ask)
        hours = setting(db, "keep")[0]["code_hours"]
    good = bool(row["code_until"] and row["code_until"] > now())
    count = len(listed(folder_of(ask, row), settings_of(ask)))
    facts = {"box": row, "visits": visits, "language": lang, "hours": hours, "good": good, "count": count}
    return Shown(template="slips.html", facts=facts | {"languages_of": LANGUAGES})


def _visits(db: sa.Connection, row: dict[str, Any]) -> list[dict[str, Any]]:
    """The visits still to come, of the box or its person."""
    today, minute = here(zone_of(db))
    whose = VISIT.c.box_id == row["id"]
    if row["person_id"]:
        whose = sa.or_(whose, VISIT.c.person_id == row["person_id"])
    found = visits_between(
        db, today, today + dt.timedelta(days=DAYS_AHEAD), whose, VISIT.c.state.in_(("booked", "here"))
    )
    named = {place["id"]: place for place in stations(db)}
    return [
        visit | {"station": named.get(visit["station_id"])}
        for visit in found
        if (visit["day"], visit["to_min"]) > (today.isoformat(), minute)
    ]


def _language(db: sa.Connection, row: dict[str, Any], ask: Ask) -> str:
    person = person_of_box(db, row)
    wanted = ask.given.get("slip_lang", "") or (person["lang"] if person else "")
    return wanted if wanted in LANGUAGES else ask.lang


@page("/boxes/{box}/slips/visit")
@page("/boxes/{box}/slips/end")
def back_to_slips(ask: Ask) -> Answer:
    """An address of a form, opened by hand or by a change of language: to the page that has the form."""
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/slips")


@form("/boxes/{box}/slips/visit")
def visit_slip(ask: Ask) -> Answer:
    """A new code, shown on the slip this once; an earlier one opens nothing any more."""
    row = box_of(ask)
    with ask.desk.lab.writing() as db:
        visits, lang = _visits(db, row), _language(db, row, ask)
        chosen = next((visit for visit in visits if str(visit["id"]) == ask.given.get("visit", "")), None)
        until = _end_of(db, chosen) if chosen else None
        code = new_slip_code(db, row["id"], until)
    row = box_of(ask)
    words = speaker(lang)
    facts = {
        "box": row,
        "visits": visits,
        "code": code,
        "qr": qr_data(slip_address(origin_of(ask), code)),
        "slip_lang": lang,
        "words": words,
        "said_day": lambda day: shapes.said_day(day, lang),
        "until": row["code_until"],
        "own_drive": row["facts"].get("own_drive", ""),
        "keep": say("cautions", "keep-originals", lang),
    }
    return Shown(template="slip-visit.html", facts=facts)


def _end_of(db: sa.Connection, visit: dict[str, Any]) -> str:
    """When the visit is over, as the tables keep moments."""
    day = dt.date.fromisoformat(visit["day"])
    return moment_of(zone_of(db), day, visit["to_min"]).astimezone(dt.UTC).isoformat(timespec="milliseconds")


@form("/boxes/{box}/slips/end")
def code_ended(ask: Ask) -> Answer:
    """The visit is over: the code opens nothing any more."""
    row = box_of(ask)
    with ask.desk.lab.writing() as db:
        end_slip_code(db, row["id"])
    return SeeOther(url=f"/boxes/{row['number']}/slips")


@page("/boxes/{box}/slips/labels")
def labels(ask: Ask) -> Answer:
    """A sheet of stickers, in the visitor's language: all originals, or those asked for (``?item=v1``)."""
    row = box_of(ask)
    lines = listed(folder_of(ask, row), settings_of(ask))
    wanted = {name.casefold() for name in ask.lists.get("item", [])}
    brought = [line.original for line in lines if line.original.carrier != BORN_HERE]  # a talk has no body
    chosen = [original for original in brought if not wanted or original.id.casefold() in wanted]
    with ask.desk.lab.reading() as db:
        lang = _language(db, row, ask)
    made = stickers(row["number"], chosen)
    named = {one.carrier: say("terms", f"carrier.{one.carrier}", lang) for one in made}
    facts = {"box": row, "stickers": made, "named": named, "slip_lang": lang, "words": speaker(lang)}
    return Shown(template="slip-labels.html", facts=facts | {"languages_of": LANGUAGES})
