"""A capture on its way into a box: what was found so far, each place to hear or see as soon as it has come here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from takeup.errors import Unreadable
from takeup.lab import live
from takeup.lab.boxes import box_numbered
from takeup.tasks import arriving, excerpt, looking
from takeup.tasks.arriving import Arriving, can_be_played
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown
from takeup.web.boxes import folder_of, settings_of
from takeup.web.pages import page


@page("/boxes/{box}/coming/{capture}", door="box")
def coming(ask: Ask) -> Answer:
    """What was found, place by place; once it is in the box, the capture's own page."""
    box, row = _coming(ask)
    return _stored(ask, box, row) or _shown(ask, row, f"/boxes/{box['number']}/coming/{row['id']}", box)


@page("/boxes/{box}/coming/{capture}/play", door="box")
def play(ask: Ask) -> Answer:
    box, row = _coming(ask)
    return played(ask, row, box["number"], moment_asked(ask, "from"))


@page("/stations/coming/{capture}")
def coming_for_nobody(ask: Ask) -> Answer:
    """The same of one that nobody claimed yet: hearing it may tell whose it is."""
    row = _row(ask)
    box = _box_of(ask, row)
    if box is not None:
        return SeeOther(url=f"/boxes/{box['number']}/coming/{row['id']}")
    return _shown(ask, row, f"/stations/coming/{row['id']}", None)


@page("/stations/coming/{capture}/play")
def play_for_nobody(ask: Ask) -> Answer:
    return played(ask, _row(ask), "", moment_asked(ask, "from"))


def come_of(ask: Ask, row: dict[str, Any]) -> Arriving | None:
    """What has come of a capture, by the disk and by what its station last told."""
    told = ask.desk.wire.levels.get(row["station_id"]) or {}
    return arriving.arriving(ask.desk.home, row, told if told.get("capture") == row["id"] else {})


def played(
    ask: Ask,
    row: dict[str, Any],
    box: str,
    from_s: float,
    *,
    seconds: float = excerpt.PIECE_S,
    sound_only: bool = False,
) -> Answer:
    """A few seconds of what has come.

    Raises
    ------
    Refused
        404 when that stretch is still at the station: one sentence.
    """
    come = come_of(ask, row)
    if come is not None and sound_only:
        come = replace(come, medium="sound")
    if come is None or come.medium == "scan":
        raise Refused(later(ask), status=404)
    try:
        made = arriving.piece_of(ask.desk.home, box, come, from_s, seconds)
    except Unreadable:
        raise Refused(later(ask), status=404) from None
    return Served(path=made, kind=excerpt.KINDS[made.suffix])


def later(ask: Ask) -> str:
    return ask.words("This place is still at the station. It can be played as soon as it has come here.")


def moment_asked(ask: Ask, name: str) -> float:
    """The time within a capture that was asked for [s].

    Raises
    ------
    Refused
        404 when it is none.
    """
    try:
        at_s = float(ask.text(name, most=20) or 0)
    except ValueError:
        at_s = -1.0
    if not 0 <= at_s < 10**6:
        raise Refused(ask.words("This is no time within the capture."), status=404)
    return at_s


def coming_to(ask: Ask, box: dict[str, Any]) -> list[dict[str, Any]]:
    """The captures of a box that are not in it yet, the newest first."""
    with ask.desk.lab.reading() as db:
        return live.coming_to(db, box["id"])


def _shown(ask: Ask, row: dict[str, Any], here: str, box: dict[str, Any] | None) -> Answer:
    with ask.desk.lab.reading() as db:
        found = live.findings_of(db, row["id"])
    come = come_of(ask, row)
    places = [
        one | {
            "at_s": one["finding"].get("from_s"),
            "says": (one.get("words") or {}).get(ask.lang) or {},
            "playable": can_be_played(come, one["finding"].get("from_s")),
        }
        for one in found
        if one["finding"]["verdict"] in ("look", "redo")
    ]  # fmt: skip
    places.sort(key=lambda one: (one["finding"]["verdict"] != "redo", one["at_s"] or 0.0))
    facts = {
        "box": box, "capture": row, "here": here, "places": places, "come": come, "before_s": excerpt.BEFORE_S,
        "medium": come.medium if come else "", "later": later(ask),
    }  # fmt: skip
    return Shown(template="coming.html", facts=facts)


def _stored(ask: Ask, box: dict[str, Any], row: dict[str, Any]) -> Answer | None:
    if row["state"] != "taken" or not row["stored"]:
        return None
    found = looking.looks(folder_of(ask, box), settings_of(ask))
    look = next((one for one in found if one.stored == row["stored"]), None)
    return SeeOther(url=f"/boxes/{box['number']}/captures" + (f"/{look.number}" if look else ""))


def _coming(ask: Ask) -> tuple[dict[str, Any], dict[str, Any]]:
    """The box and its capture that the address names."""
    row = _row(ask)
    with ask.desk.lab.reading() as db:
        box = box_numbered(db, ask.parts["box"])
    if box is None or row["box_id"] != box["id"]:
        raise Refused(ask.words("There is no such capture in this box."), status=404)
    return box, row


def _row(ask: Ask) -> dict[str, Any]:
    with ask.desk.lab.reading() as db:
        row = live.capture(db, ask.parts["capture"])
    if row is None or row["state"] == "lost":
        raise Refused(ask.words("This capture is not here any more. Look at the page again."), status=404)
    return row


def _box_of(ask: Ask, row: dict[str, Any]) -> dict[str, Any] | None:
    with ask.desk.lab.reading() as db:
        return live.box_of_capture(db, row)
