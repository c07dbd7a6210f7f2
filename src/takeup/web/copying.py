"""How the copies of one original are made: what is put right in them, in what form. Its owner may choose."""

from __future__ import annotations

from typing import Any

from takeup.errors import NotPossible
from takeup.lab.settings import setting
from takeup.plan.copies import Profile, named_profiles, plan_profile, profile_facts, profile_key
from takeup.plan.mending import NONE, mends_offered
from takeup.plan.paging import FORMS, page_form_of, plan_page_form
from takeup.plan.scan_finishing import is_pages
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks import excerpt
from takeup.tasks.check import medium_of
from takeup.tasks.looking import box_at
from takeup.tasks.side_by_side import drawings
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.finishing import asked_of_lab, job_of, made_of
from takeup.web.pages import form, page
from takeup.words.sentences import say
from takeup.work.workers import ask_for

AS_LAB = "lab"


@page("/boxes/{box}/finish/{item}", door="box")
def copying(ask: Ask) -> Answer:
    return _shown(ask)


def _shown(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    row, original = box_of(ask), _original(ask)
    kind = _kind_of(original)
    copies = [one for one in made_of(ask, row) if one["item"] == original.id and one["role"] in ("copy", "page")]
    settings = [one["settings"] for one in copies]
    facts: dict[str, Any] = {
        "box": row, "original": original, "kind": kind, "sentence": sentence, "job": job_of(ask, row, "finish"),
        "copies": [one | {"told": _told(ask, one), "asked": _asked(one)} for one in copies],
        "words": _words(original, kind),
        "trial": _trial(ask, copies, _words(original, kind)), "lab": AS_LAB,
    }  # fmt: skip
    if kind == "video":
        chosen = next((one["form"] for one in settings if one.get("form_asked")), AS_LAB)
        facts |= {"forms": forms_said(ask), "form": chosen}
    if kind == "pages":
        chosen = next((one["page_form"] for one in settings if one.get("page_form_asked")), "")
        facts |= {"page_forms": FORMS, "page": plan_page_form(chosen), "page_asked": bool(chosen)}
    return Shown(template="copying.html", facts=facts, status=status)


def _original(ask: Ask) -> Original:
    found = {one.id: one for one in box_at(folder_of(ask, box_of(ask)), settings_of(ask)).originals()}
    if ask.parts["item"] not in found:
        raise Refused(ask.words("This box has nothing called %(id)s.", id=ask.parts["item"]), status=404)
    return found[ask.parts["item"]]


def _kind_of(original: Original) -> str:
    """``sound``, ``video``, ``film``, ``pictures``, ``pages`` or "": what its copies can be made like."""
    try:
        medium = medium_of(original.carrier, load_rows())
    except NotPossible:
        return ""  # no station plays it: nothing is made of it, nothing is to be chosen
    return ("pages" if is_pages(original) else "pictures") if medium == "scan" else medium


def _words(original: Original, kind: str) -> tuple[str, ...]:
    return mends_offered("scan" if kind == "pictures" else kind, original.carrier)


def _asked(made: dict[str, Any]) -> list[str]:
    return list(made["settings"].get("mend_asked", ()))


def _told(ask: Ask, made: dict[str, Any]) -> list[str]:
    """What was put right in a copy, and what was asked for and was not."""
    return [say("notes", key, ask.lang, facts) for key, facts in made.get("notes", ())]


def forms_said(ask: Ask, also: Profile | None = None) -> list[tuple[str, str]]:
    """Each form of video copies and what it costs; one more that is no usual one among them."""
    table = load_rows()
    profiles = [plan_profile(name, table) for name in named_profiles(table)]
    profiles += [] if also is None or also in profiles else [also]
    return [(one.name, say("answers", profile_key(one), ask.lang, profile_facts(one))) for one in profiles]


def _trial(ask: Ask, copies: list[dict[str, Any]], words: tuple[str, ...]) -> dict[str, Any] | None:
    """Which copy is tried out with what, by the address's question part."""
    names = [one["name"] for one in copies]
    mends = _mends(ask, words)
    return {"name": ask.given["name"], "mend": mends} if mends and ask.given.get("name") in names else None


def _mends(ask: Ask, words: tuple[str, ...]) -> list[str]:
    """Those ticked, in their fixed order."""
    given = ask.lists.get("mend", [])
    return [word for word in words if word in given]


@page("/boxes/{box}/finish/{item}/side", door="box")
def side(ask: Ask) -> Answer:
    """One picture before and after what is ticked, beside each other."""
    row, original = box_of(ask), _original(ask)
    made = [one for one in made_of(ask, row) if one["item"] == original.id and one["name"] == ask.given.get("name")]
    kind = _kind_of(original)
    mends = _mends(ask, _words(original, kind))
    if not made or not mends or kind != "pictures":
        raise Refused(ask.words("There is no picture of this."), status=404)
    (one,) = made
    folder, settings = folder_of(ask, row), settings_of(ask)

    def draw() -> str:
        name = one.get("picture") or one["name"].rsplit(".", 1)[0]
        return next(drawings(folder, settings, mend=",".join(mends), item=original.id, picture=name)).svg

    drawn = excerpt.drawing_of(ask.desk.home, row["number"], one["sha256"], f"side-{'-'.join(mends)}", draw)
    return Served(path=drawn, kind="image/svg+xml")


@form("/boxes/{box}/finish/{item}", door="box")
def copying_asked(ask: Ask) -> Answer:
    """Make the copies anew, as chosen."""
    row, original = box_of(ask), _original(ask)
    try:
        asked = _chosen(ask, original)
    except NotPossible as fault:
        return _shown(ask, sentence=say("faults", fault.key, ask.lang, fault.facts), status=400)
    by = ask.who.name if ask.who.kind == "staff" else "visitor"
    with ask.desk.lab.writing() as db:
        lab = asked_of_lab(setting(db, "copies")[0])
        ask_for(db, "finish", row["id"], lab | asked | {"item": original.id}, by)
    ask.desk.workers.wake()
    return SeeOther(url=f"/boxes/{row['number']}/finish")


def _chosen(ask: Ask, original: Original) -> dict[str, str]:
    """What the form asks of the work: words that ``takeup finish`` takes too.

    Raises
    ------
    NotPossible
        When a word is none.
    """
    kind = _kind_of(original)
    if kind == "pages":
        return {"pages": _page_word(ask)}
    if kind == "video":
        wanted = ask.text("form", most=20)
        return {"copies": wanted if wanted == AS_LAB else plan_profile(wanted, load_rows()).name}
    if kind in ("", "film"):
        raise Refused(ask.words("There is no such form."))
    mends = ",".join(_mends(ask, _words(original, kind))) or NONE
    about = {"mend": mends}
    picture = ask.text("picture", most=100)
    return about | {"picture": picture} if picture else about


def _page_word(ask: Ask) -> str:
    wanted = ask.text("form", most=20)
    return AS_LAB if wanted == AS_LAB else page_form_of(wanted, ask.given.get("blanks", "")).word
