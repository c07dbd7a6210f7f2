"""What everyday copies are like in this lab, and the drives it lends or sells."""

from __future__ import annotations

from typing import Any

from takeup.errors import NotPossible
from takeup.lab.settings import keep_setting, setting
from takeup.plan.copies import Profile, plan_profile
from takeup.plan.drives import read_drives
from takeup.plan.mending import NONE, SCAN_WORDS, WORDS, mends_offered
from takeup.plan.paging import FORMS, PageForm, page_form_of, plan_page_form
from takeup.plan.storage import copy_bytes_per_second
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.copying import forms_said
from takeup.web.pages import form, page
from takeup.words.sentences import say

MOST_LINES = 4_000  # signs


@page("/lab/copies")
def copies(ask: Ask) -> Answer:
    return _shown(ask)


def _shown(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        (about, version), (drives, drives_version) = setting(db, "copies"), setting(db, "drives")
    rows = load_rows()
    mend = ask.desk.settings.mend if about["mend"] is None else about["mend"]
    word = ask.desk.settings.video_copy if about.get("video") is None else about["video"]
    chosen = _profile(word, rows)
    pages = ask.desk.settings.page_copy if about.get("pages") is None else about["pages"]
    facts: dict[str, Any] = {
        "words": mends_offered("sound"),
        "scan_words": mends_offered("scan"),
        "forms": forms_said(ask, chosen),
        "form": chosen.name,
        "own": ask.given.get("own", ""),
        "page_forms": FORMS,
        "page": _page_form(pages),
        "mended": {word.strip() for word in mend.split(",")},
        "version": version,
        "drives": ask.given.get("drives", "\n".join(one["name"] for one in drives)),
        "drives_version": drives_version,
        "sentence": sentence,
        "hour": _hours(chosen, rows),
        "loudness": rows.value("formats.sound.copy.loudness_lufs"),
        "peak": rows.value("formats.sound.copy.peak_dbtp"),
    }
    return Shown(template="lab-copies.html", facts=facts, status=status)


def _bytes_an_hour(about: dict[str, Any]) -> dict[str, float]:
    """What an hour takes as kept master and as everyday copy."""
    plain = about.get("rate_hz", 0) * about.get("bits", 0) / 8 * about.get("channels", 0) * 3600
    master = about.get("master_likely_bytes_per_hour", plain)
    return {"master": master, "copy": about["copy_bits_per_second"] / 8 * 3600}


def _hours(chosen: Profile, rows: Rows) -> dict[str, dict[str, float]]:
    hours = {kind: _bytes_an_hour(rows.section(f"storage.{kind}")) for kind in ("sound", "video")}
    return hours | {"video": hours["video"] | {"copy": 3600 * copy_bytes_per_second(chosen, rows)}}


def _profile(word: str, rows: Rows) -> Profile:
    """The form in force; one that the settings file spells wrongly is told at the work itself."""
    try:
        return plan_profile(word, rows)
    except NotPossible:
        return plan_profile("", rows)


def _page_form(word: str) -> PageForm:
    """As with videos, a form that the settings file spells wrongly is told at the work itself."""
    try:
        return plan_page_form(word)
    except NotPossible:
        return plan_page_form("")


@form("/lab/copies", door="librarian")
def copies_kept(ask: Ask) -> Answer:
    """What is mended in copies, what form they and pages take, or which drives there are."""
    if ask.given.get("what") == "drives":
        try:
            drives = read_drives(ask.text("drives", most=MOST_LINES))
        except ValueError as error:
            line = str(error)[:100]
            sentence = ask.words("This line names no size, as in 64 GB: %(line)s. Nothing was changed.", line=line)
            return _shown(ask, sentence=sentence, status=400)
        with ask.desk.lab.writing() as db:
            keep_setting(db, "drives", drives, ask.version or 0)
        return SeeOther(url="/lab/copies")
    if ask.given.get("what") == "video":
        return _form_kept(ask)
    if ask.given.get("what") == "pages":
        return _pages_kept(ask)
    if ask.given.get("what") != "mend":
        raise Refused(ask.words("There is no such form."))
    chosen = [word for word in (*WORDS, *SCAN_WORDS) if word in ask.lists.get("mend", [])]
    with ask.desk.lab.writing() as db:
        about = setting(db, "copies")[0] | {"mend": ",".join(chosen) or NONE}
        keep_setting(db, "copies", about, ask.version or 0)
    return SeeOther(url="/lab/copies")


def _form_kept(ask: Ask) -> Answer:
    try:
        chosen = plan_profile(ask.text("own", most=20) or ask.text("form", most=20), load_rows())
    except NotPossible as fault:
        return _shown(ask, sentence=say("faults", fault.key, ask.lang, fault.facts), status=400)
    with ask.desk.lab.writing() as db:
        keep_setting(db, "copies", setting(db, "copies")[0] | {"video": chosen.name}, ask.version or 0)
    return SeeOther(url="/lab/copies")


def _pages_kept(ask: Ask) -> Answer:
    try:
        chosen = page_form_of(ask.text("form", most=20), ask.given.get("blanks", ""))
    except NotPossible as fault:
        return _shown(ask, sentence=say("faults", fault.key, ask.lang, fault.facts), status=400)
    with ask.desk.lab.writing() as db:
        keep_setting(db, "copies", setting(db, "copies")[0] | {"pages": chosen.word}, ask.version or 0)
    return SeeOther(url="/lab/copies")
