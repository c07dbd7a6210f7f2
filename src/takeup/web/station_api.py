"""What a station's own takeup says to the desk (decision 0069): by its key, in JSON; pieces of captures as they are."""

from __future__ import annotations

import json
import threading
import time
from typing import Any

from takeup.files.pieces import PIECE_BYTES, add_piece, let_go, part_of
from takeup.lab import live
from takeup.lab.places import station
from takeup.lab.port import one
from takeup.lab.schema import BOX, ORDER
from takeup.tasks.clear import Ordered, remember_cleared
from takeup.tasks.station_taking import INCOMING, lies_here, received, take_in
from takeup.tasks.station_told import known_at, progress_for_pages, take_in_events
from takeup.tasks.watch_words import in_both, why_of
from takeup.web.ask import Answer, Ask, Desk, Refused, Told
from takeup.web.pages import form, page
from takeup.work.workers import ask_for

MOST_EVENTS = 16_000_000  # bytes of a batch: a report of many hours is in one event
MOST_NOW = 400_000
HEARD_EVERY_S = 5.0  # how often it is written down that a station was heard
ORDERS_EVERY_S = 2.0
_heard: dict[tuple[str, str], float] = {}
_looked: dict[tuple[str, str], float] = {}
_taking: dict[str, bool] = {}  # captures being taken into their boxes; True: asked for again meanwhile
_writing: dict[str, threading.Lock] = {}
_guard = threading.Lock()


@page("/station-api/hello", door="station")
def hello(ask: Ask) -> Answer:
    """Which station this key is for."""
    with ask.desk.lab.reading() as db:
        row = station(db, _station(ask)) or {}
    return Told(facts={"station": row.get("id"), "kind": row.get("kind", ""), "piece_bytes": PIECE_BYTES})


@page("/station-api/sitting", door="station")
def sitting(ask: Ask) -> Answer:
    """What lies on the machine now."""
    return Told(facts=known_at(ask.desk.lab, ask.desk.boxes, ask.desk.settings, _station(ask)))


@form("/station-api/events", door="station", most=MOST_EVENTS)
def events(ask: Ask) -> Answer:
    """Events in their order; the answer says up to which number everything is here."""
    sent = _sent(ask)
    try:
        upto, heard = take_in_events(ask.desk.lab, _station(ask), sent)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise Refused(ask.words("This is no batch of events.")) from error
    _tell(ask.desk, _station(ask), heard)
    for kind, facts, _ in heard:
        if kind == "begin":
            ask.desk.wire.outlines.begin(facts["capture"])
        if kind == "begin" and facts["anew"]:
            let_go(ask.desk.home / INCOMING, facts["capture"])
    _note_heard(ask)
    return Told(facts={"upto": upto})


@form("/station-api/now", door="station", most=MOST_NOW)
def now(ask: Ask) -> Answer:
    """Meters, handed through; also the sign that the station is there. The answer says how many orders wait."""
    sent = _sent(ask)
    try:
        moments = [progress_for_pages(one) for one in sent["captures"][:50]]
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise Refused(ask.words("This is no reading of meters.")) from error
    for facts, one_sent in zip(moments, sent["captures"]):
        if one_sent.get("outline"):
            ask.desk.wire.outlines.take_up(facts, one_sent["outline"])
        ask.desk.wire.tell(_station(ask), "progress", facts)
    _note_heard(ask)
    return Told(facts={"orders": _orders_waiting(ask)})


@page("/station-api/captures/{capture}", door="station")
def capture_stands(ask: Ask) -> Answer:
    """Where a capture stands, and how many proved bytes of it lie here."""
    row = _capture(ask)
    return Told(facts=_standing(ask, row))


@form("/station-api/captures/{capture}/pieces/{at}", door="station", most=PIECE_BYTES)
def piece(ask: Ask) -> Answer:
    """One piece, with its SHA-256 in the header ``x-piece-sha256``; it must join what lies here."""
    row = _capture(ask)
    at_text = ask.parts["at"]
    at = int(at_text) if at_text.isascii() and at_text.isdigit() and len(at_text) < 18 else -1
    with _lock(row["id"]):
        row = _capture(ask)
        here = received(ask.desk.home, row)
        if row["state"] not in ("whole", "moving") or at != here or here + len(ask.raw) > row["bytes"] or not ask.raw:
            return Told(facts=_standing(ask, row), status=409)
        part = part_of(ask.desk.home / INCOMING, row["id"])
        here = add_piece(part, at, ask.raw, ask.headers.get("x-piece-sha256", ""))
        with ask.desk.lab.writing() as db:
            live.note_received(db, row["id"], here)
    told = {"capture": row["id"], "received": here, "bytes": row["bytes"]}
    ask.desk.wire.tell(_station(ask), "moving", told)
    return Told(facts={"state": "moving", "received": here})


@form("/station-api/captures/{capture}/whole", door="station")
def all_here(ask: Ask) -> Answer:
    """Every piece was sent, or the lab has one shared disk: take it into its box. Asked again until it is there."""
    row = _capture(ask)
    take_soon(ask.desk, row["id"])
    return Told(facts=_standing(ask, row))


@page("/station-api/orders", door="station")
def orders(ask: Ask) -> Answer:
    """What the station is to remove of its own, each with the receipt that covers it."""
    told = []
    with ask.desk.lab.reading() as db:
        waiting = live.orders_for(db, _station(ask))[:50]
        boxes = {row["box_id"]: one(db, BOX, BOX.c.id == row["box_id"]) for row in waiting}
    for row in waiting:
        facts, box = row["facts"], boxes[row["box_id"]]
        try:
            receipt = (ask.desk.boxes / box["folder"] / facts["receipt"]).read_text("utf-8") if box else ""
        except (OSError, ValueError):
            continue  # without its receipt nothing is asked for
        told.append({"id": row["id"], "kind": row["kind"], "receipt_text": receipt} | facts)
    return Told(facts={"orders": told})


@form("/station-api/orders/{order}", door="station")
def order_done(ask: Ask) -> Answer:
    """What became of an order: ``removed``, or kept and ``why``."""
    sent, number = _sent(ask), ask.parts["order"]
    with ask.desk.lab.reading() as db:
        row = one(db, ORDER, ORDER.c.id == int(number)) if number.isascii() and number.isdigit() else None
        box = one(db, BOX, BOX.c.id == row["box_id"]) if row else None
    if row is None or box is None or row["station_id"] != _station(ask):
        raise Refused(ask.words("There is no such order for this station."), status=404)
    removed, why = bool(sent.get("removed")), str(sent.get("why", ""))[:40]
    if row["state"] == "waiting":
        told = Ordered(station=row["station_id"], **row["facts"])
        if removed or why == "gone":
            remember_cleared(ask.desk.boxes / box["folder"], ask.desk.settings, told, gone=not removed)
        what, names = ("cleared" if removed else "kept"), [told.path]
        facts = {
            "what": what,
            "names": names,
            "words": in_both(lambda lang: why_of("said", {"what": what, "names": names}, lang)),
        }
        with ask.desk.lab.writing() as db:
            live.order_done(db, row["id"], "done" if removed or why == "gone" else "kept", why)
            seq = live.note_event(db, row["station_id"], "said", facts)
        ask.desk.wire.tell(row["station_id"], "said", facts, seq)
    return Told(facts={"ok": True})


def take_soon(desk: Desk, capture_id: str) -> None:
    """Take a whole capture into its box on a thread of its own; at most one for each capture."""
    with _guard:
        if capture_id in _taking:
            _taking[capture_id] = True
            return
        _taking[capture_id] = False
    threading.Thread(target=_take, args=(desk, capture_id), daemon=True, name=f"take-{capture_id[:8]}").start()


def take_what_waits(desk: Desk) -> None:
    """When the desk starts: what had come whole, and was not in its box yet when it ended, goes there now."""
    with desk.lab.reading() as db:
        waiting = [row for rows in live.coming_in(db, most=1000).values() for row in rows]
    for row in waiting:
        if row["sha256"] and row["item"] and received(desk.home, row) == row["bytes"]:
            take_soon(desk, row["id"])


def _take(desk: Desk, capture_id: str) -> None:
    while True:
        try:
            with _lock(capture_id):
                outcome = take_in(desk.lab, desk.home, desk.settings, capture_id)
                with desk.lab.reading() as db:
                    row = live.capture(db, capture_id)
            if outcome.check_box_id is not None:
                with desk.lab.writing() as db:
                    ask_for(db, "check", outcome.check_box_id, {"item": outcome.check_item}, "desk")
                desk.workers.wake()
            _tell(desk, row["station_id"] if row else "", outcome.heard)
        finally:
            with _guard:
                again = _taking.pop(capture_id, False)
                if again:
                    _taking[capture_id] = False
        if not again:
            return


def _tell(desk: Desk, station_id: str, heard: Any) -> None:
    for kind, facts, seq in heard:
        desk.wire.tell(station_id, kind, facts, seq)


def _station(ask: Ask) -> str:
    return ask.who.station_id or ""


def _sent(ask: Ask) -> dict[str, Any]:
    try:
        sent = json.loads(ask.raw or b"{}")
        json.dumps(sent, allow_nan=False)  # pages could not read a number that is none
    except (ValueError, RecursionError) as error:
        raise Refused(ask.words("This is not what a station sends.")) from error
    if not isinstance(sent, dict):
        raise Refused(ask.words("This is not what a station sends."))
    return sent


def _capture(ask: Ask) -> dict[str, Any]:
    """The capture of the path, when it is this station's."""
    with ask.desk.lab.reading() as db:
        row = live.capture(db, ask.parts["capture"])
    if row is None or row["station_id"] != _station(ask):
        raise Refused(ask.words("This station has no such capture here."), status=404)
    return row


def _standing(ask: Ask, row: dict[str, Any]) -> dict[str, Any]:
    known = row["box_id"] is not None and bool(row["item"])
    shared = row["state"] in ("whole", "moving") and bool(row["sha256"]) and lies_here(ask.desk.home, row) is not None
    return {
        "state": row["state"], "received": received(ask.desk.home, row), "bytes": row["bytes"], "item": row["item"],
        "known": known, "shared": shared, "why": row["why"], "sha256": row["sha256"], "stored": row["stored"],
    }  # fmt: skip


def _lock(capture_id: str) -> threading.Lock:
    with _guard:
        if len(_writing) > 1000:
            for key in [key for key, lock in _writing.items() if not lock.locked()]:
                del _writing[key]
        return _writing.setdefault(capture_id, threading.Lock())


def _orders_waiting(ask: Ask) -> int:
    """How many orders wait for the station, looked up every other second."""
    key, moment = (str(ask.desk.home), _station(ask)), time.monotonic()
    if moment - _looked.get(key, -ORDERS_EVERY_S) < ORDERS_EVERY_S:
        return 0
    _looked[key] = moment
    with ask.desk.lab.reading() as db:
        return len(live.orders_for(db, _station(ask)))


def _note_heard(ask: Ask) -> None:
    key, moment = (str(ask.desk.home), _station(ask)), time.monotonic()
    if moment - _heard.get(key, -HEARD_EVERY_S) < HEARD_EVERY_S:
        return
    _heard[key] = moment
    with ask.desk.lab.writing() as db:
        at = live.heard(db, _station(ask))
    ask.desk.wire.tell(_station(ask), "here", {"heard_at": at})
