"""Handing a box over: try the drive, pack, copy and read back, print the slip, clear, count out, close. One page.

Each step says what it will do before it does it; the work itself is the workers', so a page that is closed, a second
click or a restart of the desk changes nothing about it.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup.files.mounted import mounted_drives
from takeup.lab.boxes import end_slip_code
from takeup.lab.hours import here, zone_of
from takeup.lab.logbook import write_log
from takeup.lab.persons import keep_until_after
from takeup.lab.port import Stale, change, now, rows
from takeup.lab.schema import BOX, JOB, ORDER
from takeup.pages.receipt import HOWS
from takeup.plan.handing import Handing, against, left_s, missing, wants_reason
from takeup.tasks.clear import readable
from takeup.tasks.drive import is_own_disk
from takeup.tasks.handing import OnItsWay, needed_bytes, on_its_way, receipt_facts
from takeup.web.ask import Answer, Ask, Document, Refused, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say
from takeup.work.workers import ask_for

KINDS = ("drive", "pack", "deliver", "clear")
IN_LINE = ("waiting", "running")
MOST_ORIGINALS = 10_000
MOST_PATH = 1000


@page("/boxes/{box}/hand-over")
def hand_over(ask: Ask) -> Answer:
    return _shown(ask, box_of(ask))


@page("/boxes/{box}/hand-over/now")
def hand_over_now(ask: Ask) -> Answer:
    """Only how far the work is, for the page's script."""
    row = box_of(ask)
    jobs = _jobs(ask, row)
    return Shown(template="handover-now.html", facts={"box": row, "work": [one for one in jobs if one["in_line"]]})


def _shown(ask: Ask, row: dict[str, Any], sentence: str = "", status: int = 200, at: str = "") -> Answer:
    folder, settings = folder_of(ask, row), settings_of(ask)
    way, jobs = on_its_way(folder, settings), _jobs(ask, row)
    stands = _standing(ask, row, way, jobs)
    trials = [job for job in jobs if job["kind"] == "drive" and job["state"] == "done"]
    trial = trials[-1] if trials else None
    tried = trial["answer"][ask.lang] if trial else None
    if tried:
        tried = tried | {"pulled_out": not Path(tried["drive"]).is_dir()}
    going = _going(ask, row, way)
    with ask.desk.lab.reading() as db:
        orders = rows(db, ORDER, ORDER.c.box_id == row["id"], order=ORDER.c.id)
    facts = {
        "box": row, "way": way, "stands": stands, "work": [one for one in jobs if one["in_line"]],
        "last": {kind: next((job for job in reversed(jobs) if job["kind"] == kind), None) for kind in KINDS},
        "drives": mounted_drives(), "tried": tried, "needed": needed_bytes(folder, settings, way),
        "against": {step: _said(ask, step, stands, tried) for step in ("pack", "copy", "clear", "close")},
        "reasons": [
            say("handing", f"close-{key}", ask.lang, {"missing": missing(stands), "more": -missing(stands)})
            for key in wants_reason(stands)
        ],
        "going": going,
        "staying": [_kept(ask, one.file, one.why, one.facts) for one in way.outlook.staying],
        "seen": _seen(going), "orders": orders, "kept": _kept_last(ask, jobs),
        "order_why": {one["id"]: _kept(ask, one["facts"].get("path", ""), one["why"], {})[1] for one in orders},
        "sentence": sentence, "at": at, "given": ask.given if sentence else {},
    }  # fmt: skip
    return Shown(template="hand-over.html", facts=facts, status=status)


def _said(ask: Ask, step: str, stands: Handing, tried: dict[str, Any] | None) -> str:
    verdict = "" if tried is None or tried.get("pulled_out") else tried["verdict"]
    why = against(step, stands, tried=verdict)
    return say("handing", why.key, ask.lang, why.facts) if why else ""


def _going(ask: Ask, row: dict[str, Any], way: OnItsWay) -> list[tuple[str, str, int]]:
    """Files that clearing would remove now: station, path, bytes; what a station was already asked for is left out."""
    with ask.desk.lab.reading() as db:
        waiting = rows(db, ORDER, ORDER.c.box_id == row["id"], ORDER.c.state == "waiting")
    asked = {(one["station_id"], one["facts"].get("path")) for one in waiting}
    return sorted(
        (station, readable(Path(path)), size) for station, path, size in way.outlook.going
        if (station, path) not in asked
    )  # fmt: skip


def _standing(ask: Ask, row: dict[str, Any], way: OnItsWay, jobs: list[dict[str, Any]]) -> Handing:
    return Handing(
        made=way.made_files, packed=way.packed is not None, stale=way.stale,
        receipts=sum(one.whole for one in way.handed), going=len(_going(ask, row, way)),
        busy=any(one["in_line"] for one in jobs), originals_in=row["originals_in"],
        originals_out=row["originals_out"], closed=row["closed_at"] is not None,
    )  # fmt: skip


def _jobs(ask: Ask, row: dict[str, Any]) -> list[dict[str, Any]]:
    """Every piece of work of this page, the oldest first, with how far it is and how long it may still take."""
    with ask.desk.lab.reading() as db:
        found = rows(db, JOB, JOB.c.box_id == row["id"], JOB.c.kind.in_(KINDS), order=JOB.c.id)
    return [_told(ask, job) for job in found]


def _told(ask: Ask, job: dict[str, Any]) -> dict[str, Any]:
    done, total = job["progress"].get("done") or 0, job["progress"].get("total") or 0
    left = None
    if job["state"] == "running" and job["begun_at"]:
        begun = datetime.fromisoformat(job["begun_at"])
        left = left_s(done, total, (datetime.now(UTC) - begun.replace(tzinfo=begun.tzinfo or UTC)).total_seconds())
    fault = job["answer"].get("fault") if job["state"] == "stopped" else None
    why = say("faults", fault["key"], ask.lang, fault["facts"]) if fault else ""
    if job["state"] == "stopped" and not fault:
        why = ask.words("It stopped, and nobody knows why. Nothing was lost: begin it once more.")
    more = {"done": done, "total": total, "left_min": None if left is None else max(1, round(left / 60)), "why": why}
    return job | more | {"in_line": job["state"] in IN_LINE, "drive": str(job["asked"].get("drive", ""))}


def _kept(ask: Ask, file: Any, why: str, facts: dict[str, Any]) -> tuple[str, str]:
    try:
        said = say("answers", f"clear.kept.{why}", ask.lang, facts)
    except KeyError:
        said = why
    return readable(Path(file)), said


def _kept_last(ask: Ask, jobs: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """What the last clearing kept after it had read each file whole."""
    done = [job for job in jobs if job["kind"] == "clear" and job["state"] == "done"]
    return [_kept(ask, *one) for one in done[-1]["answer"].get("kept", [])] if done else []


def _seen(going: list[tuple[str, str, int]]) -> str:
    """The list that was shown, in short: only what somebody has seen is cleared."""
    return hashlib.sha256(json.dumps(going).encode()).hexdigest()[:24]


# --- the steps -------------------------------------------------------------------------------------------------------
def _put_in_line(ask: Ask, row: dict[str, Any], kind: str, asked: dict[str, Any], same: str = "") -> None:
    """Ask for a piece of work, once: what is in line already for this box (and drive) is not asked for again."""
    about = {"who": ask.who.name, "lang": ask.lang}
    with ask.desk.lab.writing() as db:
        line = rows(db, JOB, JOB.c.box_id == row["id"], JOB.c.kind == kind, JOB.c.state.in_(IN_LINE))
        if not any(not same or one["asked"].get(same) == asked[same] for one in line):
            ask_for(db, kind, row["id"], asked | about, ask.who.name)
    ask.desk.workers.wake()


def _drive_of(ask: Ask) -> Path:
    """The drive's folder: typed, else chosen among those plugged in.

    Raises
    ------
    Refused
        In words: nothing chosen, no whole path, the lab's own folder, the computer's own disk and that was not meant.
    """
    typed = ask.text("path", most=MOST_PATH) or ask.text("drive", most=MOST_PATH)
    if not typed:
        raise Refused(say("handing", "drive.none", ask.lang))
    folder = Path(typed)
    if not folder.is_absolute() or ".." in folder.parts or "\n" in typed:
        raise Refused(say("handing", "drive.not-whole-path", ask.lang))
    try:
        real, home = folder.resolve(), ask.desk.home.resolve()
        there = folder.is_dir()
    except (OSError, ValueError):
        there = False
    if not there:
        raise Refused(say("faults", "drive.not-there", ask.lang, {"path": typed}))
    if real == home or home in real.parents or real in home.parents:
        raise Refused(say("handing", "drive.home", ask.lang))
    if is_own_disk(folder) and ask.given.get("own") != "yes":
        raise Refused(say("handing", "drive.own-disk", ask.lang))
    return folder


@form("/boxes/{box}/hand-over/drive")
def drive_tried(ask: Ask) -> Answer:
    """Try the drive: can it be written, is its size true, how fast, which computers read it."""
    row = box_of(ask)
    try:
        folder = _drive_of(ask)
    except Refused as no:
        return _shown(ask, row, no.sentence, 400, "drive")
    box, settings = folder_of(ask, row), settings_of(ask)
    needed = needed_bytes(box, settings, on_its_way(box, settings))
    _put_in_line(ask, row, "drive", {"drive": str(folder), "needed": needed}, same="drive")
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#drive")


@form("/boxes/{box}/hand-over/pack")
def packed(ask: Ask) -> Answer:
    row = box_of(ask)
    if why := _against(ask, row, "pack"):
        return _shown(ask, row, why, 409, "pack")
    _put_in_line(ask, row, "pack", {"only_copies": ask.given.get("what") == "copies"})
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#pack")


@form("/boxes/{box}/hand-over/copy")
def copied(ask: Ask) -> Answer:
    """Copy and read back, onto the drive that was tried last and no other."""
    row = box_of(ask)
    drive = ask.text("drive", most=MOST_PATH)
    tried = [job for job in _jobs(ask, row) if job["kind"] == "drive" and job["state"] == "done"]
    same = tried[-1]["answer"]["en"] if tried and tried[-1]["drive"] == drive else None
    if why := _against(ask, row, "copy", same["verdict"] if same else ""):
        return _shown(ask, row, why, 409, "copy")
    _put_in_line(ask, row, "deliver", {"drive": drive}, same="drive")
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#copy")


@form("/boxes/{box}/hand-over/clear", door="librarian")
def cleared(ask: Ask) -> Answer:
    """Clear exactly what was shown; a list that changed meanwhile is shown again first."""
    row = box_of(ask)
    if why := _against(ask, row, "clear"):
        return _shown(ask, row, why, 409, "clear")
    if ask.given.get("looked") != "yes":
        sentence = ask.words("Please look at the list and tick that you have.")
        return _shown(ask, row, sentence, 400, "clear")
    if ask.given.get("seen") != _seen(_going(ask, row, on_its_way(folder_of(ask, row), settings_of(ask)))):
        sentence = ask.words("The list changed while you had it open. Nothing was removed: look at it once more.")
        return _shown(ask, row, sentence, 409, "clear")
    _put_in_line(ask, row, "clear", {})
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#clear")


def _against(ask: Ask, row: dict[str, Any], step: str, tried: str = "") -> str:
    way = on_its_way(folder_of(ask, row), settings_of(ask))
    why = against(step, _standing(ask, row, way, _jobs(ask, row)), tried=tried)
    return say("handing", why.key, ask.lang, why.facts) if why else ""


@form("/boxes/{box}/hand-over/count")
def counted(ask: Ask) -> Answer:
    """The originals are counted out."""
    row = box_of(ask)
    try:
        count = ask.number("originals_out", high=MOST_ORIGINALS)
        if count is None:
            raise Refused("")
    except Refused:
        sentence = ask.words("Please write how many originals as a whole number, for example 7.")
        return _shown(ask, row, sentence, 400, "count")
    if ask.version is None:
        raise Stale("box")
    try:
        with ask.desk.lab.writing() as db:
            change(db, BOX, row["id"], ask.version, originals_out=count)
    except Stale:
        return _meanwhile(ask, "count")
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#count")


@form("/boxes/{box}/hand-over/close")
def closed(ask: Ask) -> Answer:
    """The box is closed; its visitor is forgotten after the lab's set time, counted from today."""
    row = box_of(ask)
    why = ask.text("why", most=500)
    if stop := _against(ask, row, "close"):
        return _shown(ask, row, stop, 409, "close")
    way = on_its_way(folder_of(ask, row), settings_of(ask))
    stands = _standing(ask, row, way, [])
    if wants_reason(stands) and not why:
        sentence = ask.words("Please write why it is closed all the same.")
        return _shown(ask, row, sentence, 400, "close")
    try:
        with ask.desk.lab.writing() as db:
            if ask.version is None:
                raise Stale("box")
            facts = dict(row["facts"]) | {"closed_by": ask.who.name, "closed_why": why}
            change(db, BOX, row["id"], ask.version, closed_at=now(), facts=facts)
            end_slip_code(db, row["id"])
            if row["person_id"]:
                keep_until_after(db, row["person_id"], here(zone_of(db))[0])
            if missing(stands) > 0 and row["originals_out"]:
                left = ask.words(
                    "Box %(number)s: %(n)d originals stayed here.", number=row["number"], n=missing(stands)
                )
                write_log(db, "lost", f"{left} {why}".strip(), who=ask.who.name, box_id=row["id"], still_open=True)
    except Stale:
        return _meanwhile(ask, "close")
    return SeeOther(url=f"/boxes/{row['number']}/hand-over#close")


@form("/boxes/{box}/hand-over/reopen")
def reopened(ask: Ask) -> Answer:
    row = box_of(ask)
    if row["closed_at"] is not None:
        with ask.desk.lab.writing() as db:
            if ask.version is None:
                raise Stale("box")
            facts = dict(row["facts"]) | {"reopened_by": ask.who.name}
            change(db, BOX, row["id"], ask.version, closed_at=None, facts=facts)
    return SeeOther(url=f"/boxes/{row['number']}/hand-over")


def _meanwhile(ask: Ask, at: str) -> Answer:
    sentence = ask.words(
        "Somebody changed this while you had it open. Nothing was overwritten: what you typed is still here; look, "
        "then send it again."
    )
    return _shown(ask, box_of(ask), sentence, 409, at)


@page("/boxes/{box}/hand-over/drive")
@page("/boxes/{box}/hand-over/pack")
@page("/boxes/{box}/hand-over/copy")
@page("/boxes/{box}/hand-over/clear")
@page("/boxes/{box}/hand-over/count")
@page("/boxes/{box}/hand-over/close")
@page("/boxes/{box}/hand-over/reopen")
def back_to_hand_over(ask: Ask) -> Answer:
    """An address of a form, opened by hand or by a change of language: to the page that has the form."""
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/hand-over")


# --- the slip --------------------------------------------------------------------------------------------------------
@page("/boxes/{box}/receipts/{name}")
def receipt(ask: Ask) -> Answer:
    """The slip to print: what was copied and read back, from the receipt as it was written."""
    row, facts = _receipt(ask)
    key = f"slip.how-{facts.get('how')}"
    how = say("letter", key, ask.lang) if facts.get("how") in HOWS else facts.get("read_back_how", "")
    digest = facts["manifest_sha256"]
    groups = " ".join(digest[at : at + 8] for at in range(0, len(digest), 8))
    shown = {"box": row, "receipt": facts, "how": how, "digest": groups, "files": facts["contents"]}
    return Shown(template="receipt-slip.html", facts=shown)


@page("/boxes/{box}/receipts/{name}/whole")
def receipt_whole(ask: Ask) -> Answer:
    """The receipt's own page with every file, as it lies on the drive too, for saving."""
    _, facts = _receipt(ask)
    try:
        body = Path(facts["path"]).with_suffix(".html").read_bytes()
    except OSError as gone:
        raise Refused(ask.words("This file is not there any more."), status=404) from gone
    return Document(body=body, kind="text/html; charset=utf-8", name=f"{facts['receipt']}.html")


def _receipt(ask: Ask) -> tuple[dict[str, Any], dict[str, Any]]:
    row = box_of(ask)
    facts = receipt_facts(folder_of(ask, row), settings_of(ask), ask.parts["name"])
    if facts is None:
        raise Refused(ask.words("This box has no such receipt, or it is not whole any more."), status=404)
    return row, facts
