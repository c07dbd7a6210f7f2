"""The station's own screen: paired once, opened by a visitor's slip, then steps, then one live page while capturing."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection

from takeup.errors import TakeupError
from takeup.lab.asked import answer, ask_somebody
from takeup.lab.live import note_event
from takeup.lab.people import note_wrong, tried_too_often
from takeup.lab.places import station
from takeup.lab.port import now, one
from takeup.lab.schema import ASKED, CAPTURE
from takeup.lab.sessions import begin_session
from takeup.lab.sittings import (
    begin_sitting,
    choose_original,
    end_sitting,
    go_to_step,
    newest_capture,
    sitting_now,
    spend_screen_code,
    station_of_screen_code,
    stay_longer,
    waiting_here,
)
from takeup.tasks.at_station import BEFORE_S, HEARD_S, listen, originals_here, parts_of
from takeup.tasks.guide import steps_at
from takeup.web.ask import Answer, Ask, Document, Refused, SeeOther, Shown
from takeup.web.coming import moment_asked, played
from takeup.web.entrance import box_given, code_keys, too_often
from takeup.web.pages import form, page
from takeup.web.station_state import look_of, state_of

ANSWERS = ("again", "go-on")
WIDEST_PX = 16_000


@page("/station", door="all")
def screen(ask: Ask) -> Answer:
    """What this screen shows now; how to pair it when it is nobody's."""
    if ask.who.kind != "screen":
        return Shown(template="station-pair.html", facts={"sentence": "", "code": ""})
    state = state_of(ask)
    if state["place"] is None:
        raise Refused(ask.words("This station is no longer there. Staff can pair the screen again."), status=404)
    return Shown(template="station.html", facts=state | {"sentence": ""})


@page("/station/now", door="screen")
def now_shown(ask: Ask) -> Answer:
    """The same without its frame, for the page's script."""
    state = state_of(ask)
    if state["place"] is None:
        raise Refused(ask.words("This station is no longer there. Staff can pair the screen again."), status=404)
    return Shown(template="station-now.html", facts=state | {"sentence": ""})


@page("/station/size.css", door="screen")
def size(ask: Ask) -> Answer:
    """One unit for all sizes: a millimetre of this station's screen."""
    with ask.desk.lab.reading() as db:
        place = station(db, ask.who.station_id or "")
    width_mm = max(100, int(place["screen_mm"] or 0)) if place else 530
    px = look_of(place)["px"] if place else 0
    unit = f"{px / width_mm:.4f}px" if px else f"calc(100vw / {width_mm})"
    return Document(body=f":root {{ --mm: {unit}; }}\n", kind="text/css; charset=utf-8")


@form("/station/pair", door="all", once=False)
def paired(ask: Ask) -> Answer:
    typed, keys = ask.text("code", most=100), code_keys(ask)
    with ask.desk.lab.reading() as db:
        shut, place = tried_too_often(db, keys), station_of_screen_code(db, typed)
    if shut:
        return Shown(template="station-pair.html", facts={"sentence": too_often(ask), "code": ""}, status=429)
    if place is None:
        with ask.desk.lab.writing() as db:
            note_wrong(db, keys)
        sentence = ask.words("This code pairs nothing now. Staff can make a new one on the station's page.")
        return Shown(template="station-pair.html", facts={"sentence": sentence, "code": typed}, status=403)
    with ask.desk.lab.writing() as db:
        spend_screen_code(db, place["id"])
        token = begin_session(db, "screen", station_id=place["id"], lang=ask.lang)
    return SeeOther(url="/station", token=token)


@form("/station/begin", door="screen")
def begun(ask: Ask) -> Answer:
    """A visitor sits down: the slip's code opens this visitor's box here, and nothing else."""
    box, sentence, status = box_given(ask, ask.text("code", most=100))
    if box is None:
        return Shown(template="station.html", facts=state_of(ask) | {"sentence": sentence}, status=status)
    with ask.desk.lab.writing() as db:
        begin_sitting(db, ask.who.station_id or "", box)
        seq = note_event(db, ask.who.station_id or "", "sitting", {})
    ask.desk.wire.tell(ask.who.station_id or "", "sitting", {}, seq)
    return SeeOther(url="/station")


@form("/station/leave", door="screen")
def left(ask: Ask) -> Answer:
    with ask.desk.lab.writing() as db:
        end_sitting(db, ask.who.station_id or "")
        seq = note_event(db, ask.who.station_id or "", "sitting", {})
    ask.desk.wire.tell(ask.who.station_id or "", "sitting", {}, seq)
    return SeeOther(url="/station")


@form("/station/longer", door="screen")
def longer(ask: Ask) -> Answer:
    """Ten minutes more, by one button, when the time is nearly over."""
    with ask.desk.lab.writing() as db:
        sitting = sitting_now(db, ask.who.station_id or "")
        given = sitting is not None and stay_longer(db, sitting)
    if not given:
        raise Refused(ask.words("The time here cannot be made longer now. Please ask the librarian."), status=409)
    return SeeOther(url="/station")


@form("/station/choose", door="screen")
def chosen(ask: Ask) -> Answer:
    """It is this original, this side."""
    item, part = ask.text("item", most=60), ask.text("part", most=10)
    with ask.desk.lab.reading() as db:
        place, sitting = station(db, ask.who.station_id or ""), sitting_now(db, ask.who.station_id or "")
    if place is None or sitting is None:
        return SeeOther(url="/station")
    here = {one.id: one for one in originals_here(ask.desk.boxes / sitting["folder"], place["kind"], ask.desk.settings)}
    if item not in here or part not in (parts_of(here[item]) or [""]):
        raise Refused(ask.words("Choose one of the originals that this machine plays, and its side."))
    with ask.desk.lab.writing() as db:
        choose_original(db, sitting["id"], ask.version, item, part)
    return SeeOther(url="/station")


@form("/station/step", door="screen")
def stepped(ask: Ask) -> Answer:
    """Forward or back in the step list; behind the last step stands the live page."""
    to = ask.number("to", high=1000)
    with ask.desk.lab.reading() as db:
        sitting = sitting_now(db, ask.who.station_id or "")
    if sitting is None or to is None:
        return SeeOther(url="/station")
    with ask.desk.lab.writing() as db:
        go_to_step(db, sitting["id"], ask.version, to)
    view = "?view=steps" if ask.given.get("view") == "steps" and to < _steps_of(ask, sitting) else ""
    return SeeOther(url=f"/station{view}")


def _steps_of(ask: Ask, sitting: dict[str, Any]) -> int:
    with ask.desk.lab.reading() as db:
        place = station(db, ask.who.station_id or "")
        if place is None:
            return 0
        found = originals_here(ask.desk.boxes / sitting["folder"], place["kind"], ask.desk.settings)
        original = next((one for one in found if one.id == sitting["item"]), None)
        return len(steps_at(db, place["id"], original.carrier, ask.lang).steps) if original else 0


@form("/station/answer", door="screen")
def answered(ask: Ask) -> Answer:
    """What the visitor decides about a finding that waits; who and what is kept."""
    said, asked_id = ask.text("said", most=20), ask.number("asked") or 0
    if said not in ANSWERS:
        raise Refused(ask.words("Choose one of the buttons."))
    station_id = ask.who.station_id or ""
    with ask.desk.lab.writing() as db:
        sitting = sitting_now(db, station_id)
        mine = {row["id"] for row in waiting_here(db, station_id, sitting["box_id"] if sitting else None)}
        row = one(db, ASKED, ASKED.c.id == asked_id)
        if (
            sitting is None
            or row is None
            or row["kind"] != "finding"
            or (asked_id not in mine and not row["answered_at"])
        ):
            raise Refused(ask.words("This question is not for this screen."), status=403)
        if row["answered_at"]:
            return SeeOther(url="/station")  # answered meanwhile, here or at the desk: what was said first stands
        answer(db, asked_id, ask.version, said=said, who=f"visitor, box {sitting['number']}")
        if said == "again" and not _grows(db, station_id, sitting):
            choose_original(db, sitting["id"], None, sitting["item"], sitting["part"])
        seq = note_event(db, station_id, "answer", {"asked": asked_id, "said": said})
    ask.desk.wire.tell(station_id, "answer", {"asked": asked_id, "said": said}, seq)
    return SeeOther(url="/station")


def _grows(db: Connection, station_id: str, sitting: dict[str, Any]) -> bool:
    capture = newest_capture(db, station_id, sitting)
    return capture is not None and capture["state"] == "growing"


@form("/station/bell", door="screen")
def rung(ask: Ask) -> Answer:
    """Call the librarian; it stays until staff answer, and ringing twice is one call."""
    station_id, number = ask.who.station_id or "", None
    with ask.desk.lab.writing() as db:
        sitting = sitting_now(db, station_id)
        box_id = sitting["box_id"] if sitting else None
        standing = waiting_here(db, station_id, box_id)
        if not any(row["kind"] == "bell" for row in standing):
            about = [row["id"] for row in standing if row["kind"] == "finding"]
            number = ask_somebody(
                db, station_id, "bell", f"{station_id}/{now()}", facts={"about": about}, box_id=box_id,
                item=sitting["item"] if sitting else "",
            )  # fmt: skip
            seq = note_event(db, station_id, "bell", {"asked": number})
    if number:
        ask.desk.wire.tell(station_id, "bell", {"asked": number}, seq)
    return SeeOther(url="/station")


@page("/station/listen", door="screen")
def listened(ask: Ask) -> Answer:
    """Five seconds of a place, from two seconds before it, out of what has arrived here."""
    at_s = moment_asked(ask, "at")
    with ask.desk.lab.reading() as db:
        sitting = sitting_now(db, ask.who.station_id or "")
        capture = one(
            db, CAPTURE, CAPTURE.c.id == ask.text("capture", most=80), CAPTURE.c.station_id == ask.who.station_id,
            CAPTURE.c.box_id == (sitting["box_id"] if sitting else -1),
        )  # fmt: skip
    if sitting is None or capture is None:
        raise Refused(ask.words("This place cannot be heard on this screen."), status=403)
    if not capture["stored"]:
        from_s = max(0.0, at_s - BEFORE_S)
        return played(ask, capture, sitting["number"], from_s, seconds=HEARD_S, sound_only=True)
    path = (ask.desk.boxes / sitting["folder"] / capture["stored"]).resolve()
    if not path.is_relative_to(ask.desk.boxes.resolve()) or not path.is_file():
        raise Refused(ask.words("This place can be heard when the capture is stored in the box."), status=404)
    try:
        return Document(body=listen(path, at_s), kind="audio/wav")
    except TakeupError:
        raise Refused(ask.words("There is no sound to be heard at this place."), status=404) from None
