"""The librarian's day on one screen: who comes when to which station, what is ready, what needs her eyes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

from takeup.lab.asked import answer
from takeup.lab.boxes import open_boxes
from takeup.lab.day import copying_stopped, day_of, questions
from takeup.lab.hours import here, zone_of
from takeup.lab.live import note_event
from takeup.lab.port import one
from takeup.lab.schema import ASKED
from takeup.lab.waiting import count_waiting
from takeup.tables.loader import load_rows
from takeup.tasks.box_home import home_of, room_for
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.booking_words import page_words, station_name
from takeup.web.pages import form, page
from takeup.words.sentences import load_sentences, say

GRAIN = 5  # minutes of one column of the chart (static/today.css)
EYES_MOST = 5  # more do not fit one screen; the rest is one press away
DOOR_MOST = 5


@page("/today")
def today(ask: Ask) -> Answer:
    """The day, or the one that the address names."""
    with ask.desk.lab.reading() as db:
        now, minute = here(zone_of(db))
        day = _day(ask.given.get("day", ""), now)
        facts = day_of(db, day.isoformat())
        waits = count_waiting(db)
        boxes, stopped = open_boxes(db), copying_stopped(db)
    near = {"before": (day - dt.timedelta(days=1)).isoformat(), "after": (day + dt.timedelta(days=1)).isoformat()}
    eyes = eyes_of(ask, facts["asked"])
    return Shown(
        template="today.html",
        facts=facts
        | near
        | page_words(ask)
        | _chart(facts)
        | {
            "minute": minute,
            "ready": ready_of(ask, boxes, stopped),
            "eyes": eyes[:EYES_MOST],
            "more_eyes": len(eyes) - EYES_MOST,
            "door": _door(facts) if day == now else [],
            "counts": Counter(visit["shows"] for visit in facts["visits"]),
            "waits": waits,
            "walk_in": load_rows().value("booking.counter.walk_in_minutes"),
            "late_step": load_rows().value("booking.no_show.after_minutes"),
        },
    )


def ready_of(ask: Ask, boxes: list[dict[str, Any]], stopped: dict[int, str]) -> list[dict[str, Any]]:
    """Boxes that can go home, or could but for the drive: by each box's own record, what went wrong first."""
    found = []
    for box in boxes:
        folder = ask.desk.boxes / box["folder"]
        home, how, needed = home_of(folder, ask.desk.settings), "", None
        free = box["facts"].get("drive_free_bytes")
        if free is not None:
            needed = room_for(folder, ask.desk.settings)
        if box["id"] in stopped and (home.how != "read-back" or stopped[box["id"]] > home.at):
            how = "stopped"
        elif home.how != "read-back" and free is not None and (needed or 0) > free:
            how = "too-small"
        if how := how or home.how:
            found.append({"number": box["number"], "how": how, "ended_at": home.at, "needed": needed, "free": free})
    order = ("stopped", "too-small", "read-back", "packed")
    return sorted(found, key=lambda one: order.index(one["how"]))


def _day(text: str, now: dt.date) -> dt.date:
    try:
        day = dt.date.fromisoformat(text) if text else now
    except ValueError:
        return now
    return day if abs((day - now).days) < 3660 else now


def _chart(facts: dict[str, Any]) -> dict[str, Any]:
    """Where things lie in the chart: columns of five minutes from the first full hour on."""
    first, last = facts["hours"]

    def column(minute: int) -> int:
        return max(0, min(minute - first * 60, (last - first) * 60)) // GRAIN

    now = facts["now"]
    return {
        "column": column,
        "span": last - first,
        "now_column": column(now) if now is not None and first * 60 <= now <= last * 60 else None,
    }


def _door(facts: dict[str, Any]) -> list[dict[str, Any]]:
    """Who to look out for at the door: late, here past their time, coming within the hour, here."""
    minute, soon = facts["now"], load_rows().value("booking.counter.soon_minutes")
    ranks = []
    for visit in facts["visits"]:
        if visit["shows"] == "late":
            rank = 0 if visit["overdue"] else 1
        elif visit["shows"] == "here":
            rank = 2 if minute >= visit["to_min"] else 4
        elif visit["shows"] == "booked" and visit["from_min"] <= minute + soon:
            rank = 3
        else:
            continue
        ranks.append((rank, visit["from_min"], visit["id"], visit))
    return [visit for *_, visit in sorted(ranks, key=lambda one: one[:3])][:DOOR_MOST]


@page("/today/eyes")
def all_eyes(ask: Ask) -> Answer:
    """Everything that waits for a person."""
    with ask.desk.lab.reading() as db:
        found = questions(db)
    return Shown(template="eyes.html", facts=page_words(ask) | {"eyes": eyes_of(ask, found)})


@form("/today/answered")
def answered(ask: Ask) -> Answer:
    """A bell that was answered, a drive that was read, a speck that was wiped away."""
    number, said = ask.number("asked") or 0, ask.given.get("said", "")
    if said not in ("done", "go-on", "again", "ask", "accept"):
        raise Refused(ask.words("Choose one of the answers."))
    with ask.desk.lab.writing() as db:
        row = one(db, ASKED, ASKED.c.id == number)
        if row is None:
            raise Refused(ask.words("There is no such question."), status=404)
        answer(db, number, ask.version or 0, said=said, who=ask.who.name, why=ask.text("why"))
        facts = {"asked": number, "key": row["key"], "answer": said, "kind": row["kind"]}
        seq = note_event(db, row["station_id"], "answer", facts) if row["station_id"] else None
    ask.desk.wire.tell(row["station_id"] or "", "answer", facts, seq)
    return SeeOther(url="/today/eyes" if ask.given.get("back") == "eyes" else "/today")


def eyes_of(ask: Ask, found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Each question with what it is about, its sentence, where it is answered."""
    return [
        row
        | {
            "about": " ".join(part for part in (row["number"], row["item"], row["part"]) if part),
            "place": station_name(row, ask.lang) if row["station_id"] else "",
            "sentence": sentence_of(ask, row),
            "medium": row["facts"].get("medium", ""),
            "where": _where(row),
        }
        for row in found
    ]


def sentence_of(ask: Ask, row: dict[str, Any]) -> str:
    """What happened, in the reader's language: as it was worded when it came, or by its kind."""
    facts = row["facts"]
    if row["kind"] == "bell":
        about = facts.get("finding") or {}
        why = (about.get("words") or {}).get(ask.lang, {}).get("why", "") if isinstance(about, dict) else ""
        return why or ask.words("Somebody rang the bell.")
    worded = (facts.get("words") or {}).get(ask.lang)
    if isinstance(worded, dict):
        return str(worded.get("why", ""))
    if isinstance(worded, str):
        return worded
    finding = facts.get("finding") or facts
    says = finding.get("says") or finding.get("name") or ""
    if says and (says in load_sentences("findings") or says.split(".")[0] in load_sentences("findings")):
        return say("findings", says, ask.lang, finding.get("facts", {}))
    if row["kind"] == "capture":
        why = str(facts.get("why") or "")
        return ask.words("Asked: “%(why)s”", why=why) if why else ask.words("Asked to be looked at together.")
    if row["kind"] == "gift":
        return ask.words("A gift waits for a decision.")
    if row["kind"] == "drive":
        return ask.words("A drive was copied to and not read back yet.")
    if row["kind"] == "drift":
        return ask.words("This station measures other than it used to.")
    return str(facts.get("text", "")) or ask.words("This waits for a decision.")


def _where(row: dict[str, Any]) -> str:
    """The page on which it is decided; empty: it is answered here."""
    if row["kind"] == "gift":
        return "/gifts"
    if row["kind"] == "capture" and row["number"]:
        return str(row["facts"].get("url") or f"/boxes/{row['number']}/captures")
    if row["kind"] == "finding" and row["number"]:
        coming = f"/coming/{row['capture_id']}" if row.get("capture_id") else "/captures"
        return f"/boxes/{row['number']}{coming}"
    if row["kind"] == "drive" and row["number"]:
        return f"/boxes/{row['number']}"
    return ""
