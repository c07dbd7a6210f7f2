"""A visit's beginning: who it is, the agreement, the own drive, how many originals came in; and how many go home."""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.errors import NotPossible
from takeup.lab.agreements import agreement_of, agreement_text, note_agreement, person_of_box
from takeup.lab.book import visits_between
from takeup.lab.boxes import end_slip_code
from takeup.lab.hours import here, zone_of
from takeup.lab.persons import keep_until_after
from takeup.lab.places import stations
from takeup.lab.port import Stale, change, one
from takeup.lab.schema import BOX, PERSON, VISIT
from takeup.lab.settings import setting
from takeup.lab.visits import NotFree, come
from takeup.tasks.agree import agree
from takeup.tasks.box_shelf import shelf_of
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.web.speech import LANGUAGES
from takeup.words.sentences import say

DRIVES = ("yes", "buys", "later")
MOST_ORIGINALS = 10_000


@page("/boxes/{box}/check-in")
def check_in(ask: Ask) -> Answer:
    return _shown(ask, box_of(ask))


def _shown(ask: Ask, row: dict[str, Any], sentence: str = "", status: int = 200) -> Answer:
    folder_of(ask, row)
    shelf = shelf_of(ask.desk.boxes / row["folder"], ask.desk.settings)
    with ask.desk.lab.reading() as db:
        today, _ = here(zone_of(db))
        person = person_of_box(db, row)
        whose = VISIT.c.box_id == row["id"]
        if row["person_id"]:
            whose = sa.or_(whose, VISIT.c.person_id == row["person_id"])
        facts = {
            "box": row,
            "person": person,
            "agreement": agreement_of(db, row["id"]),
            "age": setting(db, "adult_age")[0],
            "visits": visits_between(db, today, today + dt.timedelta(days=60), whose),
            "named": {place["id"]: place for place in stations(db)},
            "today": today.isoformat(),
            "counted": shelf.pieces,
            "box_agreed": shelf.agreed,
        }
    more = {"drives": DRIVES, "languages_of": LANGUAGES, "sentence": sentence, "given": ask.given if sentence else {}}
    return Shown(template="check-in.html", facts=facts | more, status=status)


@form("/boxes/{box}/check-in/person")
def person_changed(ask: Ask) -> Answer:
    """Name, contact, language, needs; whether an adult is needed."""
    row = box_of(ask)
    try:
        name, contact, needs = ask.text("name", most=100), ask.text("contact", most=100), ask.text("needs", most=500)
        title = ask.text("title", most=100)
        if not name:
            raise Refused(ask.words("Please write the visitor's name; it is deleted after the lab's set time."))
    except Refused as no:
        return _shown(ask, row, no.sentence, 400)
    lang = ask.given.get("lang", "")
    values = {"name": name, "contact": contact, "needs": needs, "minor": ask.given.get("minor") == "yes"}
    if lang in LANGUAGES:
        values["lang"] = lang
    try:
        with ask.desk.lab.writing() as db:
            if row["person_id"] is None or ask.version is None:
                raise Stale("person")
            change(db, PERSON, row["person_id"], ask.version, **values)
            keep_until_after(db, row["person_id"], here(zone_of(db))[0])
            if title and title != row["title"]:
                change(db, BOX, row["id"], None, title=title)
    except Stale:
        return _changed_meanwhile(ask)
    return SeeOther(url=f"/boxes/{row['number']}/check-in#agreement")


@form("/boxes/{box}/check-in/brought")
def brought(ask: Ask) -> Answer:
    """The own drive, and how many originals were counted into the box."""
    row = box_of(ask)
    drive = ask.given.get("own_drive", "")
    facts = dict(row["facts"]) | ({"own_drive": drive} if drive in DRIVES else {})
    return _counted(ask, row, "originals_in", "items", facts=facts)


@form("/boxes/{box}/check-in/home")
def going_home(ask: Ask) -> Answer:
    """Counted again at the door: as many as came in, or it is said before anybody leaves."""
    return _counted(ask, box_of(ask), "originals_out", "check-in#home", over=ask.given.get("end") == "yes")


def _counted(ask: Ask, row: dict[str, Any], name: str, then: str, *, over: bool = False, **values: Any) -> Answer:
    """Keep a count of originals and what else the form said; ``over``: the slip's code ends with it."""
    try:
        count = ask.number(name, high=MOST_ORIGINALS)
    except Refused:
        return _shown(ask, row, _whole_number(ask), 400)
    try:
        with ask.desk.lab.writing() as db:
            change(db, BOX, row["id"], _version(ask), **values | {name: count or 0})
            if over:
                end_slip_code(db, row["id"])
    except Stale:
        return _changed_meanwhile(ask)
    return SeeOther(url=f"/boxes/{row['number']}/{then}")


@form("/boxes/{box}/check-in/here")
def is_here(ask: Ask) -> Answer:
    """A booked visit begins."""
    row = box_of(ask)
    visit = ask.number("visit")
    try:
        with ask.desk.lab.writing() as db:
            booked = one(db, VISIT, VISIT.c.id == (visit or 0))
            if booked is None or (booked["person_id"], booked["box_id"]) == (None, None):
                raise Refused(ask.words("There is no such visit."), status=404)
            if booked["person_id"] != row["person_id"] and booked["box_id"] != row["id"]:
                raise Refused(ask.words("There is no such visit."), status=404)
            come(db, booked["id"], ask.version)
            change(db, VISIT, booked["id"], None, box_id=row["id"])
    except NotFree as no:
        return _shown(ask, row, say("whys", no.why.key, ask.lang, no.why.facts), 409)
    return SeeOther(url=f"/boxes/{row['number']}/check-in")


@page("/boxes/{box}/check-in/person")
@page("/boxes/{box}/check-in/brought")
@page("/boxes/{box}/check-in/home")
@page("/boxes/{box}/check-in/here")
def back_to_check_in(ask: Ask) -> Answer:
    """An address of a form, opened by hand or by a change of language: to the page that has the form."""
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/check-in")


@page("/boxes/{box}/agree", door="box")
def agreement(ask: Ask) -> Answer:
    """The agreement, to be read and signed on this screen in the visitor's language."""
    return _agreement(ask, box_of(ask))


def _agreement(ask: Ask, row: dict[str, Any], sentence: str = "", status: int = 200) -> Answer:
    shelf = shelf_of(folder_of(ask, row), ask.desk.settings)
    with ask.desk.lab.reading() as db:
        form_, paragraphs = agreement_text(db, ask.lang)
        person = person_of_box(db, row)
        facts = {
            "form": form_,
            "paragraphs": paragraphs,
            "standing": agreement_of(db, row["id"]),
            "age": setting(db, "adult_age")[0],
            "minor": bool(person and person["minor"]),
        }
    more = {"box": row, "sentence": sentence, "given": ask.given, "box_agreed": shelf.agreed}
    return Shown(template="agree.html", facts=facts | more, status=status)


@form("/boxes/{box}/agree", door="box")
def agreed(ask: Ask) -> Answer:
    """Signed: version, language, date and an adult for a minor go into the box; nothing else of the person."""
    row = box_of(ask)
    folder = folder_of(ask, row)
    age, signs = ask.given.get("age", ""), ask.given.get("agree") == "yes"
    with ask.desk.lab.reading() as db:
        form_, _ = agreement_text(db, ask.lang)
        low = setting(db, "adult_age")[0]
        person = person_of_box(db, row)
    if form_ != ask.given.get("form", ""):
        sentence = ask.words("The text was changed while it was open. Please read it once more.")
        return _agreement(ask, row, sentence, 409)
    if not signs:
        return _agreement(ask, row, ask.words("Please tick that you have read it and agree, or go back."), 400)
    if age not in ("adult", "with-adult") or (age == "adult" and person and person["minor"]):
        sentence = ask.words("Visitors under %(age)d come with an adult, who signs for them.", age=low)
        return _agreement(ask, row, sentence, 400)
    try:
        agree(folder, form_, ask.lang, adult_for_minor=age == "with-adult", settings=settings_of(ask))
    except NotPossible as fault:
        return _agreement(ask, row, say("faults", fault.key, ask.lang, fault.facts), 400)
    with ask.desk.lab.writing() as db:
        who = ask.who.name if ask.who.kind == "staff" else "visitor"
        note_agreement(db, row, form=form_, lang=ask.lang, adult_for_minor=age == "with-adult", who=who)
    back = "/mine" if ask.who.kind == "visitor" else f"/boxes/{row['number']}/check-in#agreement"
    return SeeOther(url=back)


def _changed_meanwhile(ask: Ask) -> Answer:
    """What was typed stays in the form, beside what stands now."""
    sentence = ask.words(
        "Somebody changed this while you had it open. Nothing was overwritten: what you typed is still here; look, "
        "then send it again."
    )
    return _shown(ask, box_of(ask), sentence, 409)


def _version(ask: Ask) -> int:
    if ask.version is None:
        raise Stale("box")
    return ask.version


def _whole_number(ask: Ask) -> str:
    return ask.words("Please write how many originals as a whole number, for example 7.")
