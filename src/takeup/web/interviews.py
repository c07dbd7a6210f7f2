"""An interview recorded in the lab: who speaks and asks, the release each signs, levels and room checked."""

from __future__ import annotations

from typing import Any

from takeup.errors import NotAllowedNow, NotPossible
from takeup.lab.gifts import text_in_force
from takeup.lab.hours import here, zone_of
from takeup.lab.live import coming_to, note_event
from takeup.lab.places import stations
from takeup.lab.settings import setting
from takeup.lab.sittings import sit_for, sitting_now
from takeup.tasks.box_items import listed
from takeup.tasks.guide import carriers_at
from takeup.tasks.interviews import CARRIER, interviews, keep_interview
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say

MOST_SPEAKERS = 6
TEXTS = {"title": 80, "language": 60, "place": 120, "date": 40, "interviewer": 100}


@page("/boxes/{box}/interview")
def interview(ask: Ask) -> Answer:
    """The interviews of a box and a form for another; ``?item=`` opens one that is there."""
    return _shown(ask, box_of(ask), ask.text("item", most=60))


def _shown(ask: Ask, row: dict[str, Any], item: str, sentence: str = "", status: int = 200) -> Answer:
    folder, settings = folder_of(ask, row), settings_of(ask)
    known = interviews(folder, settings)
    if item and item not in known:
        raise Refused(ask.words("This box has no such interview."), status=404)
    with ask.desk.lab.reading() as db:
        edition, paragraphs = text_in_force(db, "release", ask.lang)
        today = here(zone_of(db))[0].isoformat()
        places = _places(db)
        coming = {one["item"]: one for one in coming_to(db, row["id"])}
    captured = {line.original.id: line.captured for line in listed(folder, settings)}
    given = dict(ask.given) if sentence else _as_typed(known[item]) if item else {"date": today}
    facts = {
        "box": row, "known": known, "item": item, "seq": known[item]["seq"] if item else 0, "given": given,
        "edition": edition, "paragraphs": paragraphs, "captured": captured, "speakers": range(1, MOST_SPEAKERS + 1),
        "places": places, "coming": coming, "sentence": sentence, "signed": _signed(known.get(item)), "texts": TEXTS,
    }  # fmt: skip
    return Shown(template="interview.html", facts=facts, status=status)


def _as_typed(told: dict[str, Any]) -> dict[str, str]:
    fields = {name: told[name] for name in TEXTS}
    fields |= {name: "yes" if told[name] else "" for name in ("levels", "silence")}
    for n, speaker in enumerate(told["speakers"], 1):
        fields |= {f"speaker-{n}": speaker["name"], f"signed-{n}": "yes" if speaker["signed"] else ""}
    return fields


def _signed(told: dict[str, Any] | None) -> dict[str, dict[str, str]]:
    """Who has signed which edition on which day."""
    return {one["name"]: one for one in told["speakers"] if one["signed"]} if told else {}


@form("/boxes/{box}/interview")
def interview_kept(ask: Ask) -> Answer:
    """Keep it; a new one becomes an item of the box."""
    row = box_of(ask)
    folder, settings = folder_of(ask, row), settings_of(ask)
    item = ask.given.get("item", "")[:60]
    known = interviews(folder, settings).get(item)
    if item and known is None:
        raise Refused(ask.words("This box has no such interview."), status=404)
    try:
        if row["closed_at"] is not None:
            raise Refused(say("handing", "closed", ask.lang), status=409)
        told = _read(ask, known)
        seq = ask.number("seq") or 0
        kept = keep_interview(folder, settings, item, seq, told)
    except Refused as no:
        return _shown(ask, row, item, no.sentence, no.status)
    except NotAllowedNow as no:
        return _shown(ask, row, item, say("faults", no.key, ask.lang, no.facts), 409)
    except NotPossible as no:
        return _shown(ask, row, item, say("faults", no.key, ask.lang, no.facts), 400)
    return SeeOther(url=f"/boxes/{row['number']}/interview#i-{kept}")


@form("/boxes/{box}/interview/record")
def put_on(ask: Ask) -> Answer:
    """It is recorded now at this station: what is captured there from here on is this interview."""
    row = box_of(ask)
    item, station_id = ask.text("item", most=60), ask.text("station", most=60)
    known = interviews(folder_of(ask, row), settings_of(ask))
    with ask.desk.lab.reading() as db:
        places = {place["id"] for place in _places(db)}
    if row["closed_at"] is not None:
        raise Refused(say("handing", "closed", ask.lang), status=409)
    if item not in known or station_id not in places:
        raise Refused(ask.words("Choose the interview and a sound station that is in use."))
    with ask.desk.lab.writing() as db:
        sit_for(db, station_id, row["id"], item, setting(db, "keep")[0]["code_hours"])
        seq = note_event(db, station_id, "sitting", {})
    ask.desk.wire.tell(station_id, "sitting", {}, seq)
    return SeeOther(url=f"/boxes/{row['number']}/interview#i-{item}")


def _places(db: Any) -> list[dict[str, Any]]:
    """The stations at which an interview can be recorded, each with who sits there."""
    return [
        place | {"sitting": sitting_now(db, place["id"])}
        for place in stations(db)
        if CARRIER in carriers_at(place["kind"]) and place["state"] != "down"
    ]


def _read(ask: Ask, known: dict[str, Any] | None) -> dict[str, Any]:
    """The form, read whole.

    Raises
    ------
    Refused
        In words: no title, no speaker, the same one twice, a signature of a text that changed meanwhile.
    """
    told: dict[str, Any] = {name: " ".join(ask.text(name, most=most).split()) for name, most in TEXTS.items()}
    with ask.desk.lab.reading() as db:
        edition, _ = text_in_force(db, "release", ask.lang)
        today = here(zone_of(db))[0].isoformat()
    before, speakers = _signed(known), []
    for n in range(1, MOST_SPEAKERS + 1):
        name = " ".join(ask.text(f"speaker-{n}", most=100).replace(";", ",").split())
        if not name:
            continue
        signs = ask.given.get(f"signed-{n}") == "yes"
        if signs and name not in before and ask.given.get("edition") != edition:
            raise Refused(ask.words("The text was changed while it was open. Please read it once more."), status=409)
        new = {"name": name, "signed": edition, "lang": ask.lang, "on": today}
        speakers.append(before.get(name, new) if signs else {"name": name, "signed": "", "lang": "", "on": ""})
    if not told["title"]:
        raise Refused(ask.words("Please give the interview a title: what is told."))
    if not speakers:
        raise Refused(ask.words("Please write who speaks."))
    if len({one["name"].casefold() for one in speakers}) != len(speakers):
        raise Refused(ask.words("The same name stands there twice."))
    told["speakers"] = speakers
    told |= {name: ask.given.get(name) == "yes" for name in ("levels", "silence")}
    return told
