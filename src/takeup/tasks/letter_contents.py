"""What a box's record tells, gathered for the letter: what is shown of each original, what was found, what lacks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from takeup.box.choosing import Choice, choose
from takeup.box.folder import Box
from takeup.judge.screening import judge_original
from takeup.pages.contents import (
    Captured,
    Contents,
    Described,
    Entry,
    Held,
    Lacking,
    Missing,
    Noticed,
    Said,
    Section,
    Shown,
)
from takeup.plan.parcel import Placed, part_of, shown_of, text_of
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.rows import Rows
from takeup.tasks.remembered import candidates_of
from takeup.tasks.reporting import report_from, sentences_of
from takeup.tasks.screen import worded
from takeup.words.sentences import LANGUAGES, say

SECTIONS: dict[str, Section] = {"sound": "listen", "video": "watch", "film": "watch"}
PAPERS = ("bag-info.txt", "bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt")
Smalls = Mapping[str, tuple[Held, Held | None]]  # by href of what they show: its small picture, its row of moments


class Told:
    """A box's record, read once: reports by capture, descriptions by item or picture, outcomes of screening."""

    def __init__(self, box: Box, rows: Rows) -> None:
        self.rows = rows
        self.described = {fact.item: described_from(fact.facts) for fact in box.record.latest("described")}
        self.screened = {fact.item: fact.facts["outcome"] for fact in box.record.latest("screened")}
        self.spoken = {fact.item: fact.facts for fact in box.record.latest("interview")}
        self._checked = {fact.key: fact.facts["report"] for fact in box.record.latest("checked")}
        self._read: dict[str, Captured | None] = {}

    def captured(self, stored: str) -> Captured | None:
        """A capture's report with its sentences; None when it was not checked."""
        if stored not in self._read:
            facts = self._checked.get(stored)
            self._read[stored] = _captured(facts) if facts else None
        return self._read[stored]

    def medium(self, original: Original) -> str:
        """What a capture of it is; empty for a carrier that no station plays."""
        key = f"carriers.{original.carrier}.medium"
        return self.rows.value(key) if key in self.rows else ""

    def said(self, id: str) -> Described:
        return self.described.get(id, Described())

    def title(self, original: Original) -> str:
        """What an original is called: as described, else what is written on it."""
        return self.said(original.id).title or original.label


def contents_of(
    box: Box, told: Told, placed: Sequence[Placed], smalls: Smalls, settings: Settings, *, only_copies: bool
) -> Contents:
    """All that the letter tells, but for the day on which the parcel is packed."""
    originals = box.originals()
    entries, missing = [], []
    for original in originals:
        files = [file for file in placed if file.finished.item == original.id]
        if files:
            entries.append(_entry(original, files, told, smalls, lacking=_lacking(box, original, files, told)))
        else:
            missing.append(_missing(box, original, told, only_copies=only_copies))
    held = [_held(file) for file in placed]
    held += [small for pair in smalls.values() for small in pair if small is not None]
    agreed = box.record.latest("agreed")
    return Contents(
        box=box.title,
        lab=settings.lab,
        lang=agreed[-1].facts.get("lang", settings.lang) if agreed else settings.lang,
        brought=_brought(box),
        packed="",
        originals=sum(original.count or 1 for original in originals),
        files=len(held) + 1,
        bytes=sum(file.bytes for file in held),
        entries=tuple(entries),
        missing=tuple(missing),
        care=_care(originals, told.rows),
        advice=tuple(told.rows.value("care.everybody.advice")),
        held=tuple(held),
        papers=PAPERS,
        copies_only=only_copies,
    )


def described_from(facts: Mapping[str, Any]) -> Described:
    """Who, when, where as its fact holds it."""
    known = {name: facts[name] for name in Described.__dataclass_fields__ if facts.get(name)}
    lists = {name: tuple(known[name]) for name in ("people", "keywords") if name in known}
    return Described(**known | lists)


def _captured(facts: Mapping[str, Any]) -> Captured:
    report = report_from(facts)
    noticed = []
    for finding in report.findings:
        why, do = {}, {}
        for lang in LANGUAGES:
            try:
                why[lang], do[lang] = sentences_of(finding, lang)
            except KeyError:  # a finding of another release, whose words are gone: the parcel is packed all the same
                why[lang], do[lang] = (
                    say("letter", "found.unworded", lang, {"name": finding.name.replace("_", " ")}),
                    "",
                )
        noticed.append(Noticed(finding=finding, why=why, do=do))
    return Captured(report=report, noticed=tuple(noticed))


def _entry(
    original: Original, files: Sequence[Placed], told: Told, smalls: Smalls, *, lacking: tuple[Lacking, ...]
) -> Entry:
    shown = [_shown(original, file, files, told, smalls) for file in shown_of(files)]
    stored = dict.fromkeys(capture for file in files for capture in file.finished.from_)
    captured = [captured for capture in stored if (captured := told.captured(capture))]
    used = {file.file.href for file in shown} | {file.text.href for file in shown if file.text}
    rest = [file for file in files if file.href not in used and file.finished.role in ("copy", "text")]
    return Entry(
        id=original.id,
        carrier=original.carrier,
        section=SECTIONS.get(told.medium(original), "pictures"),
        label=original.label,
        said=told.said(original.id),
        shown=tuple(shown),
        captured=tuple(captured),
        masters=tuple(_held(file) for file in files if file.finished.role == "master"),
        others=tuple(_held(file) for file in rest),
        lacking=lacking,
        spoken=tuple(_spoken(told.spoken.get(original.id, {}))),
    )


def _spoken(facts: Mapping[str, Any]) -> Iterable[Said]:
    """Who asks, in which language, and what each speaker signed on which day."""
    lines: list[tuple[str, Mapping[str, Any]]] = []
    if facts.get("interviewer"):
        lines.append(("asked", {"name": facts["interviewer"]}))
    if facts.get("language"):
        lines.append(("language", {"language": facts["language"]}))
    for one in facts.get("speakers", ()):
        known = {"name": one["name"], "edition": one.get("signed", ""), "day": one.get("on", "")}
        lines.append(("signed" if one.get("signed") else "unsigned", known))
    for key, known in lines:
        yield {lang: say("letter", f"spoken.{key}", lang, known) for lang in LANGUAGES}


def _shown(original: Original, file: Placed, files: Sequence[Placed], told: Told, smalls: Smalls) -> Shown:
    captured, before_s = [], 0.0
    for stored in file.finished.from_:
        one = told.captured(stored)
        if one is not None:
            moved = tuple(replace(noticed, before_s=before_s) for noticed in one.noticed)
            captured.append(replace(one, noticed=moved))
            before_s += one.report.seconds or 0.0
    small, strip = smalls.get(file.href, (None, None))
    text = text_of(file, files)
    return Shown(
        file=_held(file),
        part="" if file.finished.picture else file.finished.part or part_of(original.id, file.finished.name),
        picture=file.finished.picture,
        small=small,
        strip=strip,
        captured=tuple(captured),
        text=_held(text) if text else None,
        said=told.said(file.finished.picture) if file.finished.picture else Described(),
        notes=tuple(_notes(file)),
    )


def _notes(file: Placed) -> Iterable[Said]:
    for key, facts in file.finished.notes:
        try:
            yield {lang: say("notes", key, lang, facts) for lang in LANGUAGES}
        except KeyError:
            continue  # a note of another release


def _choices(box: Box, original: Original, medium: str) -> list[Choice]:
    """The captures that stand for an original's parts: of several tries at one part, the better."""
    return choose(candidates_of(box, original.id), joined=medium == "film")[0]


def _lacking(box: Box, original: Original, files: Sequence[Placed], told: Told) -> tuple[Lacking, ...]:
    """The parts of an original that were captured and are not in the parcel: a side that is not good enough yet."""
    there = {stored for file in files for stored in file.finished.from_}
    return tuple(
        Lacking(part=choice.part, because="not-good" if choice.verdict == "redo" else "not-finished")
        for choice in _choices(box, original, told.medium(original))
        if not there & {capture.stored for capture in choice.captures}
    )


def _missing(box: Box, original: Original, told: Told, *, only_copies: bool) -> Missing:
    """Why nothing of an original is in the parcel: the first thing that holds it up."""
    outcome = told.screened.get(original.id)
    why: tuple[Said, ...] = ()
    if only_copies and _has_master(box, original):
        because = "copies-only"
    elif choices := _choices(box, original, told.medium(original)):
        bad = any(choice.checked and choice.verdict == "redo" for choice in choices)
        because = "not-good" if bad else "not-finished"
    elif outcome in ("refuse", "ask"):
        because = "refused" if outcome == "refuse" else "asked"
        screening = judge_original(original, told.rows)
        sentences = {lang: worded(screening, lang)["why"] for lang in LANGUAGES}
        why = tuple(dict(zip(sentences, pair)) for pair in zip(*sentences.values()))
    else:
        because = "not-captured"
    return Missing(
        id=original.id, title=told.title(original) or original.id, carrier=original.carrier, because=because, why=why
    )


def _has_master(box: Box, original: Original) -> bool:
    made = (fact.facts for fact in box.record.latest("made", original.id))
    return any(facts["role"] == "master" and not facts.get("gone") for facts in made)


def _held(file: Placed) -> Held:
    made = file.finished
    return Held(href=file.href, role=made.role, bytes=made.bytes, kind=file.kind, size=made.size)


def _care(originals: Sequence[Original], rows: Rows) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Keeping advice for each carrier of the box, once, in the box's order."""
    carriers = dict.fromkeys(original.carrier for original in originals)
    keys = [(carrier, f"care.{carrier}.advice") for carrier in carriers]
    return tuple((carrier, tuple(rows.value(key))) for carrier, key in keys if key in rows)


def _brought(box: Box) -> str:
    started = box.record.latest("box-started")
    return local_day(started[0].at) if started else ""


def local_day(at: str) -> str:
    """The day of a moment, where the lab is."""
    return datetime.fromisoformat(at).astimezone().date().isoformat()
