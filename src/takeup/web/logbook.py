"""The logbook: one quick form, one list, a page per station; the opening list that is ticked each morning."""

from __future__ import annotations

from datetime import date
from typing import Any

from takeup.lab.boxes import box_numbered
from takeup.lab.logbook import KINDS, counts_that_differ, done_with, last_cleaned, log_lines, stock, write_log
from takeup.lab.places import station, stations
from takeup.lab.settings import setting
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.pages import form, page

MOST_TEXT = 2_000


@page("/logbook")
def logbook(ask: Ask) -> Answer:
    kind = ask.text("kind", most=20)
    return _shown(ask, kind=kind if kind in KINDS else "")


@page("/logbook/{station}")
def station_logbook(ask: Ask) -> Answer:
    """One station's own page of the logbook."""
    with ask.desk.lab.reading() as db:
        if station(db, ask.parts["station"]) is None:
            raise Refused(ask.words("There is no such station."), status=404)
    return _shown(ask, station_id=ask.parts["station"])


def _shown(ask: Ask, *, kind: str = "", station_id: str = "", sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        places = stations(db)
        opening, _ = setting(db, "opening_list")
        facts: dict[str, Any] = {
            "lines": log_lines(db, kind=kind, station_id=station_id),
            "open_lines": log_lines(db, only_open=True, station_id=station_id),
            "stock": sorted(stock(db).items()),
            "cleaned": last_cleaned(db),
            "differ": counts_that_differ(db),
            "places": places,
            "opening": opening.get(ask.lang, []),
            "ticked": _ticked(log_lines(db, kind="opening")),
        }
    named = {place["id"]: place["name_zh"] if ask.lang == "zh-Hans" else place["name_en"] for place in places}
    more = {
        "kinds": KINDS,
        "kind": kind,
        "station_id": station_id,
        "named": named,
        "sentence": sentence,
        "given": ask.given,
    }
    return Shown(template="logbook.html", facts=facts | more, status=status)


def _ticked(lines: list[dict[str, Any]]) -> dict[int, str]:
    """Which lines of the opening list were ticked today, and by whom."""
    today = date.today().isoformat()
    return {line["facts"]["nth"]: line["who"] for line in lines if line["facts"].get("day") == today}


@form("/logbook")
def written(ask: Ask) -> Answer:
    kind, text = ask.given.get("kind", ""), ask.text("text", most=MOST_TEXT)
    count, what = ask.number("count", low=-10_000, high=10_000), ask.text("what", most=80)
    facts = {"what": what, "count": count or 0} if kind == "consumable" else {}
    with ask.desk.lab.writing() as db:
        place = station(db, ask.given.get("station", "")) if ask.given.get("station") else None
        box = box_numbered(db, ask.text("box", most=20)) if ask.given.get("box") else None
        sentence = _cannot(ask, kind, text, facts, place, box)
        if not sentence:
            write_log(
                db, kind, text, who=ask.who.name, station_id=place["id"] if place else None,
                box_id=box["id"] if box else None, facts=facts, still_open=kind in ("incident", "lost"),
            )  # fmt: skip
    if sentence:
        return _shown(ask, kind="", sentence=sentence, status=400)
    return SeeOther(url=f"/logbook/{place['id']}" if place and ask.given.get("back") == "station" else "/logbook")


def _cannot(ask: Ask, kind: str, text: str, facts: dict[str, Any], place: Any, box: Any) -> str:
    if kind not in KINDS:
        return ask.words("Choose what kind of line it is. Nothing was written.")
    if not text and not facts.get("what"):
        return ask.words("Write a few words on what happened. Nothing was written.")
    if ask.given.get("station") and place is None:
        return ask.words("There is no such station. Nothing was written.")
    if ask.given.get("box") and box is None:
        return ask.words("There is no box with that number. Nothing was written.")
    if kind == "consumable" and not (facts.get("what") and facts.get("count")):
        return ask.words("Say what it is and how many came (or went, with a minus). Nothing was written.")
    return ""


@form("/logbook/opening")
def opened(ask: Ask) -> Answer:
    """One line of the opening list is done for today."""
    nth = ask.number("nth", low=0, high=200)
    with ask.desk.lab.writing() as db:
        wanted, _ = setting(db, "opening_list")
        lines = wanted.get("en", [])
        if nth is None or nth >= len(lines):
            raise Refused(ask.words("The opening list has no such line. Nothing was written."))
        today = date.today().isoformat()
        if nth not in _ticked(log_lines(db, kind="opening")):
            write_log(db, "opening", lines[nth], who=ask.who.name, facts={"nth": nth, "day": today})
    return SeeOther(url="/logbook")


@form("/logbook/done")
def seen_to(ask: Ask) -> Answer:
    number = ask.number("line", low=1)
    if number is None:
        raise Refused(ask.words("There is no such line."))
    with ask.desk.lab.writing() as db:
        done_with(db, number, ask.version, ask.who.name)
    return SeeOther(url="/logbook")
