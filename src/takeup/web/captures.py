"""A box's captures: the picture of each, what was found and where, a few seconds to hear or see, what was measured."""

from __future__ import annotations

from typing import Any

from takeup.lab.port import now
from takeup.streams import worst
from takeup.tasks import excerpt, looking
from takeup.tasks.arrange import arrangement_of
from takeup.tasks.chapters import written_clock
from takeup.tasks.looking import Look
from takeup.tasks.tagged import told_of
from takeup.web.ask import Answer, Ask, Document, Refused, Served, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.coming import coming_to, moment_asked
from takeup.web.pages import page
from takeup.words.dates import said_of
from takeup.words.edtf import read_date

SAME_SECOND_S = 1.0


@page("/boxes/{box}/captures", door="box")
def captures(ask: Ask) -> Answer:
    """All of them, by original."""
    row = box_of(ask)
    found = looking.looks(folder_of(ask, row), settings_of(ask))
    items: dict[str, list[Look]] = {}
    for look in found:
        items.setdefault(look.original.id, []).append(look)
    wanted = ask.text("show", most=10)
    left = [look for look in found if needs_eyes(look)]
    facts = {"box": row, "items": items, "all": len(found), "left": left, "only_left": wanted == "left"}
    return Shown(template="captures.html", facts=facts | {"needs_eyes": needs_eyes, "coming": coming_to(ask, row)})


def needs_eyes(look: Look) -> bool:
    """Whether somebody is still to say what becomes of it: nobody decided, or somebody asked."""
    if look.decision is not None:
        return look.decision.said == "ask"
    return look.report is not None and look.report.verdict != "good"


@page("/boxes/{box}/captures/{n}", door="box")
def capture(ask: Ask) -> Answer:
    return shown(ask)


def shown(ask: Ask, *, sentence: str = "", given: Any = None, status: int = 200, **more: Any) -> Answer:
    """One capture's page; with what was typed, where a form could not be taken."""
    row = box_of(ask)
    found = looking.looks(folder_of(ask, row), settings_of(ask))
    look = numbered(ask, found)
    places = looking.seen_in(look.report, ask.lang) if look.report else []
    at = found.index(look)
    near = {"before": found[at - 1] if at else None, "after": found[at + 1] if at + 1 < len(found) else None}
    told = told_of(looking.box_at(folder_of(ask, row), settings_of(ask)))
    facts = {
        "box": row, "look": look, "places": places, "sentence": sentence, "near": near,
        "given": given or _piece(ask, look),
        "figures": looking.figures(look.report, ask.lang) if look.report else [],
        "verdict_now": worst([look.report.verdict]) if look.report else "none",
        "has_history": bool(look.report and look.report.medium == "sound" and look.report.trace.level),
        "earlier": next((one for one in found if one.stored == look.repeats), None),
        "is_there": look.path.is_file(), "before_s": excerpt.BEFORE_S, "known": known_words(told),
        "said_date": lambda text: said_of(text, ask.lang), "date_read": lambda text: read_date(text) is not None,
        "taken_at": now(), "choices": (), "seen": "",
    }  # fmt: skip
    return Shown(template="capture.html", facts=facts | more, status=status)


def _piece(ask: Ask, look: Look) -> dict[str, str]:
    """The form filled with the piece that is to be changed; empty for a new one."""
    asked = ask.given.get("piece", "")
    one = next((one for one in look.chapters if str(one.number) == asked), None)
    if one is None:
        return {}
    told = {
        "title": one.told.title,
        "people": "; ".join(one.told.people),
        "date": one.told.date,
        "place": one.told.place,
    }
    return told | {"from": written_clock(one.from_s), "to": written_clock(one.to_s), "piece": asked}


def known_words(told: Any) -> dict[str, list[str]]:
    """What was typed before in this box, to be offered: each word once, the latest first."""
    words: dict[str, list[str]] = {}
    for name in ("people", "place", "event", "keywords", "date", "creator"):
        values = [value for one in told.values() for value in _each(getattr(one, name))]
        words[name] = list(dict.fromkeys(reversed([value for value in values if value])))[:200]
    return words


def _each(value: Any) -> list[str]:
    return [value] if isinstance(value, str) else list(value)


def numbered(ask: Ask, found: list[Look]) -> Look:
    """The capture that the address names.

    Raises
    ------
    Refused
        404: the box has no such capture.
    """
    text = ask.parts["n"]
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 0
    look = next((one for one in found if one.number == number), None)
    if look is None:
        raise Refused(ask.words("This box has no such capture."), status=404)
    return look


def look_of(ask: Ask) -> tuple[dict[str, Any], Look]:
    """The box and the capture that the address names."""
    row = box_of(ask)
    return row, numbered(ask, looking.looks(folder_of(ask, row), settings_of(ask)))


@page("/boxes/{box}/captures/{n}/picture.svg", door="box")
def picture(ask: Ask) -> Answer:
    """The whole of it: the thread, or the glass in miniature."""
    row, look = look_of(ask)
    if look.report is None or not look.path.is_file():
        return Document(body=EMPTY, kind="image/svg+xml")
    home, number = ask.desk.home, row["number"]
    if look.medium != "scan":
        name = f"thread-{ask.lang}-{len(look.report.findings)}-{_mark(look)}"
        made = excerpt.drawing_of(home, number, look.sha256, name, lambda: looking.thread_picture(look, ask.lang))
        return Served(path=made, kind="image/svg+xml")
    stands = arrangement_of(looking.box_at(folder_of(ask, row), settings_of(ask)), look.original.id, look.stored)
    glass = excerpt.glass_of(home, number, look.path, look.sha256)
    names = [stands.names[one.number] for one in stands.pictures]
    drawn = looking.bed_picture(look, glass, stands.size, names, ask.lang)
    return Document(body=drawn, kind="image/svg+xml")


EMPTY = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1120 60" width="1120" height="60">'
    '<path d="M0 30h1120" stroke="#7C818A" stroke-width="2" stroke-dasharray="2 8"/></svg>'
)


def _mark(look: Look) -> str:
    told = "-".join(f"{one.number}.{one.from_s:.0f}.{one.to_s:.0f}" for one in look.chapters)
    return str(sum(ord(sign) * (at + 1) for at, sign in enumerate(told)) % 10**9)


@page("/boxes/{box}/captures/{n}/history.svg", door="box")
def history(ask: Ask) -> Answer:
    """Levels, noise and tones over the time of a sound."""
    row, look = look_of(ask)
    drawn = looking.history_picture(look, ask.lang)
    return Document(body=drawn or EMPTY, kind="image/svg+xml")


@page("/boxes/{box}/captures/{n}/play", door="box")
def play(ask: Ask) -> Answer:
    """A few seconds from a place on: sound, a small film, or stills side by side; a still where one is wanted."""
    row, look = look_of(ask)
    at_s = moment_asked(ask, "from")
    if look.medium == "scan" or not look.path.is_file():
        raise Refused(ask.words("There is nothing to play here."), status=404)
    if ask.given.get("still") and look.medium != "sound":
        made = excerpt.poster_of(ask.desk.home, row["number"], look.path, look.sha256, at_s)
    else:
        made = excerpt.piece_of(ask.desk.home, row["number"], look.path, look.sha256, look.medium, at_s)
    return Served(path=made, kind=excerpt.KINDS[made.suffix])
