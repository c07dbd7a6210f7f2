"""Finish a box: put it in line, see how far it is and what was made."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from takeup.lab.port import rows
from takeup.lab.schema import JOB
from takeup.lab.settings import setting
from takeup.tables.loader import load_rows
from takeup.tasks import excerpt
from takeup.tasks.box_show import box_show, held
from takeup.tasks.check import medium_of
from takeup.tasks.looking import box_at
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown, Told
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say
from takeup.work.workers import ask_for

SHOWN_KINDS = {".jpg": "image/jpeg", ".mp4": "video/mp4", ".m4a": "audio/mp4", ".pdf": "application/pdf"}
SURE_SHARE, SURE_S = 0.04, 5.0  # before that nobody can say how long it takes


@page("/boxes/{box}/finish", door="box")
def finish(ask: Ask) -> Answer:
    row = box_of(ask)
    folder = folder_of(ask, row)
    _, standing = box_show(folder, settings_of(ask))
    waiting = [
        one for one in standing.items if one.done["checked"] and not one.done["finished"] and one.verdict != "redo"
    ]
    again = [one for one in standing.items if one.verdict == "redo" and not one.done["finished"]]
    made: dict[str, list[dict[str, Any]]] = {}
    for entry in made_of(ask, row):
        made.setdefault(entry["item"], []).append(entry)
    carriers = {one.original.id: one.original.carrier for one in standing.items}
    facts = {
        "box": row, "waiting": waiting, "again": again, "made": made, "job": job_of(ask, row, "finish"),
        "choices": {item for item in made if item in carriers and medium_of(carriers[item], load_rows()) != "film"},
        "held": lambda hold: held(hold, ask.lang), "labels": {one.original.id: one.original for one in standing.items},
    }  # fmt: skip
    return Shown(template="finish.html", facts=facts)


@form("/boxes/{box}/finish", door="box")
def finish_asked(ask: Ask) -> Answer:
    row = box_of(ask)
    folder_of(ask, row)
    by = ask.who.name if ask.who.kind == "staff" else "visitor"
    with ask.desk.lab.writing() as db:
        ask_for(db, "finish", row["id"], asked_of_lab(setting(db, "copies")[0]), by)
    ask.desk.workers.wake()
    return SeeOther(url=f"/boxes/{row['number']}/finish")


def asked_of_lab(about: dict[str, Any]) -> dict[str, str]:
    """How this lab makes everyday copies, in the words of the work; its settings file holds where it never chose."""
    told = {
        "mend_unless_told": about["mend"], "copies_unless_told": about.get("video"),
        "pages_unless_told": about.get("pages"),
    }  # fmt: skip
    return {name: word for name, word in told.items() if word is not None}


@page("/boxes/{box}/work/{kind}", door="box")
def work_now(ask: Ask) -> Answer:
    """How far the last piece of work of a kind is, for the page's script."""
    return Told(facts=job_of(ask, box_of(ask), ask.parts["kind"]) or {"state": ""})


def job_of(ask: Ask, row: dict[str, Any], kind: str) -> dict[str, Any] | None:
    """The last piece of work of a kind in a box: its state, how far it is, how long it may still take, what it said."""
    with ask.desk.lab.reading() as db:
        found = rows(db, JOB, JOB.c.kind == kind, JOB.c.box_id == row["id"], order=JOB.c.id)
    if not found:
        return None
    job = found[-1]
    done, total = job["progress"].get("done") or 0, job["progress"].get("total") or 0
    share = min(1.0, done / total) if total else 0.0
    return {
        "id": job["id"], "state": job["state"], "share": round(share, 3), "item": job["progress"].get("what", ""),
        "left_min": _minutes_left(job, share), "ended_at": job["ended_at"], "made": job["answer"].get("made", 0),
        "files": job["answer"].get("files", 0), "why": _why(ask, job),
        "skipped": [[item, _said(ask, why, facts)] for item, why, facts in job["answer"].get("skipped", [])],
    }  # fmt: skip


def _minutes_left(job: dict[str, Any], share: float) -> int | None:
    if job["state"] != "running" or not job["begun_at"] or share < SURE_SHARE:
        return None
    begun = datetime.fromisoformat(job["begun_at"])
    spent = (datetime.now(UTC) - begun.replace(tzinfo=begun.tzinfo or UTC)).total_seconds()
    return max(1, round(spent * (1 - share) / share / 60)) if spent >= SURE_S else None


def _why(ask: Ask, job: dict[str, Any]) -> str:
    """Why it stopped, in words."""
    fault = job["answer"].get("fault") if job["state"] == "stopped" else None
    if fault is None:
        return (
            ask.words("It stopped, and nobody knows why. Nothing was lost: begin it once more.")
            if job["state"] == "stopped"
            else ""
        )
    return say("faults", fault["key"], ask.lang, fault["facts"])


def _said(ask: Ask, why: str, facts: dict[str, Any]) -> str:
    try:
        return say("whys", why, ask.lang, facts)
    except KeyError:
        return ask.words("It could not be made; staff find out why.")


def made_of(ask: Ask, row: dict[str, Any]) -> list[dict[str, Any]]:
    """The finished files that are there, each with its number for addresses."""
    box = box_at(folder_of(ask, row), settings_of(ask))
    return [
        {"number": at, "item": fact.item} | fact.facts | {"name": fact.facts["path"].rsplit("/", 1)[-1]}
        for at, fact in enumerate(box.record.latest("made"), 1)
        if not fact.facts.get("gone")
    ]


def made_file(ask: Ask) -> tuple[dict[str, Any], dict[str, Any], Any]:
    """The finished file that an address names: its box, its entry, its path."""
    row = box_of(ask)
    entry = next((one for one in made_of(ask, row) if str(one["number"]) == ask.parts["n"]), None)
    path = box_at(folder_of(ask, row), settings_of(ask)).path(entry["path"]) if entry else None
    if entry is None or path is None or not path.is_file():
        raise Refused(ask.words("This file is not there any more."), status=404)
    return row, entry, path


@page("/boxes/{box}/made/{n}/small", door="box")
def made_small(ask: Ask) -> Answer:
    """A finished picture, small."""
    row, entry, path = made_file(ask)
    if path.suffix.lower() == ".mp4":
        at_s = entry["settings"].get("poster_s") or (entry.get("seconds") or 0) / 3
        made = excerpt.poster_of(ask.desk.home, row["number"], path, entry["sha256"], at_s)
    elif path.suffix.lower() in (".jpg", ".tif"):
        made = excerpt.small_of(ask.desk.home, row["number"], path, entry["sha256"])
    else:
        raise Refused(ask.words("This file has no picture."), status=404)
    return Served(path=made, kind="image/jpeg")


@page("/boxes/{box}/made/{n}/copy", door="box")
def made_copy(ask: Ask) -> Answer:
    """An everyday copy, to see or hear whole."""
    _, entry, path = made_file(ask)
    kind = SHOWN_KINDS.get(path.suffix.lower())
    if kind is None or entry["role"] == "master":
        raise Refused(ask.words("This file has no picture."), status=404)
    return Served(path=path, kind=kind)
