"""Boxes: the list of them, found by number, name or label; one box as a shelf of labels, where each original stands."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from takeup.lab.agreements import person_of_box
from takeup.lab.boxes import box_numbered, open_box, open_boxes
from takeup.lab.hours import here, zone_of
from takeup.lab.persons import keep_until_after, person_for
from takeup.lab.photos import photos_of
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.box_new import box_start
from takeup.tasks.box_shelf import Shelf, shelf_of
from takeup.tasks.box_show import box_show, show_answer
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.pages import form, page
from takeup.web.speech import LANGUAGES

STEPS = ("screened", "captured", "checked", "finished", "described", "packed", "delivered")
MOST_LISTED = 200


@page("/boxes")
def boxes(ask: Ask) -> Answer:
    """Open boxes, or those that what was typed finds."""
    wanted = ask.text("find", most=100)
    with ask.desk.lab.reading() as db:
        rows = open_boxes(db)
        closed = box_numbered(db, wanted.zfill(4)) if wanted.isdigit() else None
    if closed and closed["closed_at"] is not None:  # by its number a closed box is found too: it may be opened again
        return SeeOther(url=f"/boxes/{closed['number']}/hand-over")
    with ask.desk.lab.reading() as db:
        people = {row["person_id"]: person_of_box(db, row) for row in rows}
    found = []
    for row in rows:
        person, shelf = people[row["person_id"]], shelf_of(ask.desk.boxes / row["folder"], ask.desk.settings)
        if _fits(wanted, row, person, shelf):
            found.append(row | {"person": person, "shelf": shelf})
    if wanted and len(found) == 1 and found[0]["number"] in (wanted, wanted.zfill(4)):
        return SeeOther(url=f"/boxes/{found[0]['number']}")
    facts = {"boxes": found[:MOST_LISTED], "find": wanted, "more": max(0, len(found) - MOST_LISTED)}
    return Shown(template="boxes.html", facts=facts | {"all": len(rows)})


def _fits(wanted: str, row: dict[str, Any], person: dict[str, Any] | None, shelf: Shelf) -> bool:
    """Whether every word typed stands in the box's number, title, visitor's name or on its originals."""
    text = "\n".join((row["number"], row["title"], person["name"] if person else "", shelf.labels)).casefold()
    return all(word in text for word in wanted.casefold().split())


@page("/boxes/new")
def new_box(ask: Ask) -> Answer:
    return Shown(template="box-new.html", facts={"given": ask.given, "sentence": "", "languages_of": LANGUAGES})


@form("/boxes/new")
def box_made(ask: Ask) -> Answer:
    """A box for a visitor, known or new."""
    try:
        name, contact, title = ask.text("name", most=100), ask.text("contact", most=100), ask.text("title", most=100)
        if not name:
            raise Refused(ask.words("Please write the visitor's name; it is deleted after the lab's set time."))
        lang = ask.given.get("lang", "")
        needs = ask.text("needs", most=500)
    except Refused as no:
        facts = {"given": ask.given, "sentence": no.sentence, "languages_of": LANGUAGES}
        return Shown(template="box-new.html", facts=facts, status=400)
    person_id = ask.number("person")
    with ask.desk.lab.writing() as db:
        key = person_for(
            db, person_id=person_id, name=name, contact=contact, lang=lang if lang in LANGUAGES else "en", needs=needs
        )
        keep_until_after(db, key, here(zone_of(db))[0])
        row = open_box(db, key, title or name)
    box_start(ask.desk.boxes / row["folder"], settings_of(ask), title=row["title"])
    return SeeOther(url=f"/boxes/{row['number']}/check-in")


@page("/boxes/{box}", door="box")
def box(ask: Ask) -> Answer:
    """The shelf of labels."""
    row = box_of(ask)
    facts = shelf_facts(ask, row)
    with ask.desk.lab.reading() as db:
        person = person_of_box(db, row) if ask.who.kind == "staff" else None
    return Shown(template="box.html", facts=facts | {"person": person})


def shelf_facts(ask: Ask, row: dict[str, Any]) -> dict[str, Any]:
    """What a shelf of labels shows: each original with its picture, its steps, what is next, what holds it up."""
    folder = folder_of(ask, row)
    _, standing = box_show(folder, ask.desk.settings)
    answer = show_answer(folder, standing, ask.lang)
    rows = load_rows()
    with ask.desk.lab.reading() as db:
        pictures = {picture["item"]: picture["id"] for picture in photos_of(db, row["id"])}
    for item in answer["items"]:
        item["medium"] = rows.value(f"carriers.{item['carrier']}.medium")
        item["steps"] = sum(1 for step in STEPS if item[step])
        item["photo"] = pictures.get(item["id"])
    return {"box": row, "shelf": answer, "steps": len(STEPS)}


def box_of(ask: Ask) -> dict[str, Any]:
    """The box that the address names.

    Raises
    ------
    Refused
        404: no box has this number.
    """
    with ask.desk.lab.reading() as db:
        row = box_numbered(db, ask.parts["box"])
    if row is None:
        raise Refused(ask.words("There is no box with this number."), status=404)
    return row


def folder_of(ask: Ask, row: dict[str, Any]) -> Any:
    """The box's folder; one that has none yet (booked by phone) gets it now, empty."""
    folder = ask.desk.boxes / row["folder"]
    box_start(folder, settings_of(ask), title=row["title"])
    return folder


def settings_of(ask: Ask) -> Settings:
    """The lab's settings with the name of who works at this screen, for the box's record; never a long wait."""
    who = ask.who.name if ask.who.kind == "staff" else "visitor"
    return replace(ask.desk.settings, who=who, lang=ask.lang, wait_s=min(2.0, ask.desk.settings.wait_s))
