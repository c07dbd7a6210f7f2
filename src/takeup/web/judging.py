"""What people decide about a capture after looking at it; stretches of it that they describe."""

from __future__ import annotations

from typing import Any

from takeup.lab.asked import ask_somebody
from takeup.lab.port import change, now, rows
from takeup.lab.schema import ASKED
from takeup.tasks.chapters import drop_chapter, keep_chapter, read_clock
from takeup.tasks.judging import judge_capture
from takeup.tasks.looking import Look
from takeup.web.ask import Answer, Ask, Refused, SeeOther
from takeup.web.boxes import folder_of, settings_of
from takeup.web.captures import look_of, shown
from takeup.web.describing import write_later
from takeup.web.pages import form
from takeup.web.typed import date_of, typed_words

MOST_WHY = 1000


@form("/boxes/{box}/captures/{n}", door="box")
def decided(ask: Ask) -> Answer:
    """Accept, capture again, ask, or take the last word back. A visitor may ask; the rest is for staff."""
    row, look = look_of(ask)
    said = ask.given.get("said", "-")
    staff = ask.who.kind == "staff"
    taken_back = said == "" and (staff or (look.decision is not None and look.decision.said == "ask"))
    if not staff and said != "ask" and not taken_back:
        raise Refused(ask.words("Staff decide this; you can ask them to look."), status=403)
    try:
        why = " ".join(ask.text("why", most=MOST_WHY).split())
        if said == "-":
            raise Refused(ask.words("Choose one: keep it, capture again, or ask."))
        if not why and said == "accept" and look.report is not None and look.report.verdict == "redo":
            raise Refused(ask.words("Write in a few words why it is kept although it should be done again."))
    except Refused as no:
        return shown(ask, sentence=no.sentence, given=ask.given, status=no.status)
    who = ask.who.name if staff else "visitor"
    decision = judge_capture(
        folder_of(ask, row), settings_of(ask), item=look.original.id, stored=look.stored, said=said, why=why, who=who,
        version=ask.version,
    )  # fmt: skip
    _tell(ask, row, look, said, why, decision.seq, who)
    return SeeOther(url=f"/boxes/{row['number']}/captures/{look.number}#decision")


def _tell(ask: Ask, row: dict[str, Any], look: Look, said: str, why: str, seq: int, who: str) -> None:
    """A question waits where staff look for such; a decision answers those that waited."""
    mine = f"{row['number']}/{look.stored}/"
    with ask.desk.lab.writing() as db:
        if said == "ask":
            facts = {"file": look.name, "why": why, "url": f"/boxes/{row['number']}/captures/{look.number}"}
            ask_somebody(db, None, "capture", f"{mine}{seq}", facts=facts, box_id=row["id"], item=look.original.id)
            return
        for waiting in rows(db, ASKED, ASKED.c.kind == "capture", ASKED.c.answered_at.is_(None)):
            if waiting["key"].startswith(mine):
                change(db, ASKED, waiting["id"], None, answer=said or "done", why=why, who=who, answered_at=now())


@form("/boxes/{box}/captures/{n}/chapters", door="box")
def chapter_kept(ask: Ask) -> Answer:
    """Describe a stretch: from, to, and who, when, where; or take one away or back."""
    row, look = look_of(ask)
    folder, settings, item = folder_of(ask, row), settings_of(ask), look.original.id
    here = f"/boxes/{row['number']}/captures/{look.number}#chapters"
    if (number := ask.number("drop", high=10**6)) is not None:
        drop_chapter(folder, settings, item=item, number=number)
        write_later(ask, row, [item])
        return SeeOther(url=here.replace("#", f"?dropped={number}#"))
    if (number := ask.number("restore", high=10**6)) is not None:
        drop_chapter(folder, settings, item=item, number=number, gone=False)
        write_later(ask, row, [item])
        return SeeOther(url=here)
    if ask.given.get("take") == "recordings":
        for number, (from_s, to_s) in enumerate(look.proposed, 1):
            told = {"title": ask.words("Recording %(n)d", n=number)}
            keep_chapter(
                folder, settings, item=item, stored=look.stored, from_s=from_s, to_s=to_s, told=told, seconds=to_s
            )
        write_later(ask, row, [item])
        return SeeOther(url=here)
    try:
        from_s, to_s = read_clock(ask.text("from", most=20)), read_clock(ask.text("to", most=20))
        told = typed_words(ask)
        if from_s is None or to_s is None or to_s <= from_s:
            raise Refused(ask.words("Give a beginning and a later end, as minutes and seconds: 1:23."))
        if not any(told.values()):
            raise Refused(ask.words("Write at least one thing about this piece."))
    except Refused as no:
        return shown(ask, sentence=no.sentence, given=ask.given, status=no.status)
    found = date_of(ask)
    if not found.settled:
        return shown(
            ask, given=ask.given, choices=found.choices, seen=found.seen, sentence=found.sentence, status=found.status
        )
    number = ask.number("piece", high=10**6)
    before = next((one for one in look.chapters if one.number == number), None)
    if before is not None and before.told.description and "description" not in told:
        told["description"] = before.told.description  # what the form does not ask stays as it was
    keep_chapter(
        folder, settings, item=item, stored=look.stored, from_s=from_s, to_s=to_s, told=told | {"date": found.date},
        seconds=look.report.seconds if look.report else None, number=number if before is not None else None,
    )  # fmt: skip
    write_later(ask, row, [item])
    return SeeOther(url=here)
