"""Say who, when and where: a contact sheet for many pictures at once, or one picture after another by key."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from urllib.parse import quote

from takeup.lab.port import now
from takeup.plan.tagging import Told
from takeup.tasks import excerpt, looking
from takeup.tasks.backs_read import suggested_reading
from takeup.tasks.describe import note_descriptions
from takeup.tasks.tagged import told_of
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown
from takeup.web.ask import Told as Answered
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.captures import known_words
from takeup.web.finishing import job_of, made_file, made_of
from takeup.web.pages import form, page
from takeup.web.typed import date_of, shown_date, typed_words
from takeup.work.workers import ask_for

LISTS = ("people", "keywords")
PICTURED = (".jpg", ".mp4")
MOST_IDS = 2000


@page("/boxes/{box}/describe", door="box")
def describe(ask: Ask) -> Answer:
    row = box_of(ask)
    things = _things(ask, row)
    wanted = ask.text("id", most=60)
    known = [one["id"] for one in things]
    if wanted not in known:  # an original whose scan was cut meanwhile: the first of its pictures
        wanted = next((id_ for id_ in known if wanted and id_.startswith(f"{wanted}-")), wanted)
    if wanted and wanted not in known:
        raise Refused(ask.words("This box has nothing called %(id)s.", id=wanted), status=404)
    return _shown(ask, row, things, only=wanted)


def _shown(ask: Ask, row: dict[str, Any], things: list[dict[str, Any]], *, only: str = "", **more: Any) -> Answer:
    ids = [one["id"] for one in things]
    one = next((one for one in things if one["id"] == only), None)
    at = ids.index(only) if one else 0
    given = dict(more.pop("given", {}) or (_fields(one["told"], ask) if one else {}))
    done = ask.text("done", most=6)
    facts = {
        "box": row, "things": things, "one": one, "given": given, "chosen": more.pop("chosen", []), "only": only,
        "before": ids[at - 1] if one and at else "", "after": ids[at + 1] if one and at + 1 < len(ids) else "",
        "place_in": (at + 1, len(ids)), "known": known_words(_told(ask, row)),
        "left": sum(not thing["said"] for thing in things),
        "done": int(done) if done.isdigit() else 0, "job": job_of(ask, row, "describe"), "sentence": "", "choices": (),
        "seen": "", "asked_at": now(),
    }  # fmt: skip
    status = more.pop("status", 200)
    return Shown(template="describe.html", facts=facts | more, status=status)


def _told(ask: Ask, row: dict[str, Any]) -> dict[str, Told]:
    return told_of(looking.box_at(folder_of(ask, row), settings_of(ask)))


def _fields(told: Told | None, ask: Ask) -> dict[str, str]:
    """A description as a form holds it."""
    known = asdict(told) if told else {}
    return {name: "; ".join(value) if name in LISTS else value for name, value in known.items()}


def _things(ask: Ask, row: dict[str, Any]) -> list[dict[str, Any]]:
    """Everything of a box that can be described, in its order: originals, and the pictures cut from their scans."""
    box = looking.box_at(folder_of(ask, row), settings_of(ask))
    told = told_of(box)
    copies = [entry for entry in made_of(ask, row) if entry["role"] == "copy"]
    taken = {fact.item for fact in box.record.latest("taken")}
    things = []
    for original in box.originals():
        mine = [entry for entry in copies if entry["item"] == original.id]
        pictures = [one for one in mine if one.get("picture") and not one["settings"].get("back_of")]
        for entry in pictures or [next((one for one in mine if _pictured(one)), None)]:
            id_ = entry["picture"] if pictures and entry else original.id
            about = {"captured": original.id in taken, "backs": _backs(id_, mine, told)}
            things.append(_thing(id_, original, entry, told, ask) | about)
    return things


def _thing(id_: str, original: Any, entry: dict[str, Any] | None, told: dict[str, Told], ask: Ask) -> dict[str, Any]:
    mine = told.get(id_)
    inherited = mine is None and id_ != original.id and original.id in told
    known = mine or told.get(original.id)
    said = [known.title, ", ".join(known.people), shown_date(known.date, ask.lang), known.place] if known else []
    return {
        "id": id_, "label": original.label, "carrier": original.carrier, "told": mine, "inherited": inherited,
        "said": [one for one in said if one], "made": entry["number"] if entry and _pictured(entry) else None,
    }  # fmt: skip


def _backs(id_: str, made: list[dict[str, Any]], told: dict[str, Told]) -> list[dict[str, Any]]:
    """The backs of a picture: id, number of the finished copy, what somebody read on it."""
    return [
        {"id": one["picture"], "made": one["number"], "read": told.get(one["picture"], Told()).description}
        for one in made
        if one["settings"].get("back_of") == id_ and one.get("picture") and _pictured(one)
    ]


def _pictured(entry: dict[str, Any]) -> bool:
    return entry["name"].lower().endswith(PICTURED)


@form("/boxes/{box}/describe", door="box")
def described(ask: Ask) -> Answer:
    """Keep what was typed: for one thing all its fields, for many those that were filled."""
    row = box_of(ask)
    things = _things(ask, row)
    known = [one["id"] for one in things]
    only = ask.text("only", most=60)
    chosen = [only] if only else [id_ for id_ in ask.lists.get("id", [])[:MOST_IDS] if id_ in known]
    again: dict[str, Any] = {"only": only, "chosen": chosen, "given": ask.given}
    try:
        told = typed_words(ask)
        if not chosen or not set(chosen) <= set(known):
            raise Refused(ask.words("Choose at least one picture or original first."))
        if not told and not only:
            raise Refused(ask.words("Write at least one thing about what you chose."))
    except Refused as no:
        return _shown(ask, row, things, sentence=no.sentence, status=no.status, **again)
    found = date_of(ask)
    same = bool(only) and told.get("date") == _date_of(things, only)
    if not found.settled and not same:
        return _shown(ask, row, things, sentence=found.sentence, choices=found.choices, seen=found.seen, **again)
    if "date" in told and not same:
        told["date"] = found.date
    whole = {name: told.get(name, [] if name in LISTS else "") for name in asdict(Told())} if only else told
    said = dict.fromkeys(chosen, whole) | (_readings(ask, things, only) if only else {})
    taken = note_descriptions(folder_of(ask, row), settings_of(ask), said)
    write_later(ask, row, taken)
    return SeeOther(url=_next(row, known, only, ask, len(set(taken) & set(chosen))))


def _readings(ask: Ask, things: list[dict[str, Any]], only: str) -> dict[str, dict[str, str]]:
    """What was typed as read on the backs of a picture, where it changed."""
    (thing,) = (one for one in things if one["id"] == only)
    typed = {one["id"]: ask.text(f"back-{one['id']}", most=5000) for one in thing["backs"]}
    return {one["id"]: {"description": typed[one["id"]]} for one in thing["backs"] if typed[one["id"]] != one["read"]}


@page("/boxes/{box}/made/{n}/reading", door="box")
def reading(ask: Ask) -> Answer:
    """What can be read on a back, as a suggestion."""
    row, entry, path = made_file(ask)
    original = next(
        one for one in looking.box_at(folder_of(ask, row), settings_of(ask)).originals() if one.id == entry["item"]
    )
    if not entry["settings"].get("back_of") or not _pictured(entry):
        raise Refused(ask.words("There is no picture of this."), status=404)
    return Answered(facts={"text": suggested_reading(path, original, settings_of(ask))})


def _date_of(things: list[dict[str, Any]], id_: str) -> str:
    told = next((one["told"] for one in things if one["id"] == id_), None)
    return told.date if told else ""


def _next(row: dict[str, Any], known: list[str], only: str, ask: Ask, taken: int) -> str:
    here = f"/boxes/{row['number']}/describe"
    if only and ask.given.get("then") == "next" and (at := known.index(only)) + 1 < len(known):
        return f"{here}?id={quote(known[at + 1])}&done={taken}"
    return f"{here}?done={taken}"


def write_later(ask: Ask, row: dict[str, Any], ids: list[str]) -> None:
    """The finished files are given their words by the workers; the box knows them at once."""
    if not ids or not made_of(ask, row):
        return
    with ask.desk.lab.writing() as db:
        ask_for(db, "describe", row["id"], {"ids": ids}, ask.who.name or "visitor")
    ask.desk.workers.wake()


@page("/boxes/{box}/still/{id}", door="box")
def still(ask: Ask) -> Answer:
    """A small picture of a tape or film that is not finished yet."""
    row = box_of(ask)
    found = looking.looks(folder_of(ask, row), settings_of(ask))
    mine = [one for one in found if one.original.id == ask.parts["id"] and one.path.is_file()]
    if not mine or mine[0].medium == "sound":
        raise Refused(ask.words("There is no picture of this."), status=404)
    look = mine[-1]
    if look.medium == "scan":
        made = excerpt.glass_of(ask.desk.home, row["number"], look.path, look.sha256)
    else:
        at_s = ((look.report.seconds if look.report else None) or 0.0) / 3
        made = excerpt.poster_of(ask.desk.home, row["number"], look.path, look.sha256, at_s)
    return Served(path=made, kind="image/jpeg")
