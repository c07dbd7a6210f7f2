"""The stations for staff: which are heard, pairing, what is captured there now, and captures that nobody claims yet."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

from takeup.box.folder import look_into
from takeup.errors import TakeupError
from takeup.lab import live
from takeup.lab.boxes import box_numbered, open_boxes
from takeup.lab.people import note_wrong, tried_too_often
from takeup.lab.places import station, stations
from takeup.tasks.station_taking import picture_of
from takeup.web.ask import Answer, Ask, Document, Refused, SeeOther, Shown, Told
from takeup.web.entrance import too_often
from takeup.web.pages import form, page
from takeup.web.station_api import take_soon

QUIET_S = 20  # a station's takeup is heard every few seconds; after so long it is not there


@page("/stations")
def station_list(ask: Ask) -> Answer:
    return Shown(template="stations.html", facts=_facts(ask))


@form("/stations/pair", once=False)
def pair(ask: Ask) -> Answer:
    """A code for the station's takeup, shown once."""
    with ask.desk.lab.writing() as db:
        row = _station(ask, db)
        code = live.new_pair_code(db, row["id"])
    return Shown(template="stations.html", facts=_facts(ask) | {"code": code, "code_for": row["id"]})


@form("/stations/unpair")
def unpair(ask: Ask) -> Answer:
    with ask.desk.lab.writing() as db:
        live.unpair(db, _station(ask, db)["id"], ask.version)
    return SeeOther(url="/stations")


@form("/stations/for-whom")
def for_whom(ask: Ask) -> Answer:
    """Staff say whose a capture is."""
    number, _, item = ask.text("whose", most=200).partition("/")
    part = ask.text("part", most=20)
    with ask.desk.lab.reading() as db:
        capture = live.capture(db, ask.text("capture", most=40))
        box = box_numbered(db, number)
    if capture is None:
        raise Refused(ask.words("This capture is not here any more. Look at the page again."))
    if box is None or item not in _items(ask, box):
        raise Refused(ask.words("Choose the original that this capture was made from."))
    with ask.desk.lab.writing() as db:
        live.give_to(db, capture["id"], ask.version, box["id"], item, part)
    take_soon(ask.desk, capture["id"])
    return SeeOther(url="/stations")


@page("/boxes/{box}/live/{capture}.svg", door="box")
def picture(ask: Ask) -> Answer:
    """The picture of a capture from its station's report."""
    with ask.desk.lab.reading() as db:
        row = live.capture(db, ask.parts["capture"])
        box = box_numbered(db, ask.parts["box"])
    if row is None or box is None or row["box_id"] != box["id"]:
        raise Refused(ask.words("There is no such capture in this box."), status=404)
    svg = picture_of(row, ask.desk.boxes, box, ask.desk.settings, ask.lang)
    if not svg:
        raise Refused(ask.words("This capture is still coming in; its picture is there when it has ended."), status=404)
    return Document(body=svg, kind="image/svg+xml")


@page("/pair", door="all")
def pairing(ask: Ask) -> Answer:
    """Where a station's takeup fetches the token of the form it then sends."""
    return Shown(template="pair.html")


@form("/pair", door="all", once=False)
def paired(ask: Ask) -> Answer:
    """The code once, for the key."""
    station_id, code = ask.text("station", most=60), ask.text("code", most=100)
    keys = [f"pair-address:{ask.address}"]
    with ask.desk.lab.reading() as db:
        shut = tried_too_often(db, keys)
    if shut:
        return Told(facts={"why": too_often(ask)}, status=429)
    with ask.desk.lab.writing() as db:
        key = live.pair_by_code(db, station_id, code)
        if key is None:
            note_wrong(db, keys)
    if key is None:
        return Told(
            facts={"why": ask.words("This code pairs no such station now. Ask staff for a new one.")}, status=403
        )
    return Told(facts={"station": station_id, "key": key})


def _station(ask: Ask, db: Any) -> dict[str, Any]:
    row = station(db, ask.text("station", most=60))
    if row is None:
        raise Refused(ask.words("There is no such station."))
    return row


def _facts(ask: Ask) -> dict[str, Any]:
    with ask.desk.lab.reading() as db:
        places = stations(db)
        captures, orders, waiting = live.coming_in(db), live.orders_waiting(db), live.for_whom(db)
        boxes = open_boxes(db) if waiting else []
    for place in places:
        about = {"here": _here(place["heard_at"]), "captures": captures.get(place["id"], [])}
        place |= about | {"orders": orders.get(place["id"], 0)}
    whose = [(box, _items(ask, box)) for box in boxes]
    return {
        "places": places, "waiting": waiting, "whose": whose, "code": "", "code_for": "",
        "address": _address(ask),
    }  # fmt: skip


def _here(heard_at: str | None) -> bool:
    if not heard_at:
        return False
    return (datetime.now(UTC) - datetime.fromisoformat(heard_at)).total_seconds() < QUIET_S


def _items(ask: Ask, box: dict[str, Any]) -> dict[str, str]:
    """A box's originals by their id, with what is written on them."""
    try:
        originals = look_into(ask.desk.boxes / box["folder"], ask.desk.settings).originals()
    except (TakeupError, OSError):
        return {}
    return {original.id: original.label for original in originals}


def _address(ask: Ask) -> str:
    """The desk's address as this browser reached it, for the line to type at the station."""
    host = ask.headers.get("host", "")
    return f"http://{host}/" if re.fullmatch(r"[A-Za-z0-9.:\[\]-]{1,200}", host) else ""
