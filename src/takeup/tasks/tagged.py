"""What is known of each item and picture, and writing it into a finished file."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from takeup.box.folder import Box
from takeup.files.beside import beside
from takeup.media.tag_files import CannotEdit, tag_file
from takeup.plan.chaptering import Mark
from takeup.plan.tagging import Scanned, Tags, Told, plan_tags, told_of_back
from takeup.streams import Original
from takeup.tables.rows import Rows
from takeup.tasks.finishing import Made
from takeup.tasks.remembered import candidates_of
from takeup.words.dates import said_of
from takeup.words.sentences import LANGUAGES, load_sentences, say

LISTS = ("people", "keywords")
MM_PER_INCH = 25.4


def told_of(box: Box) -> dict[str, Told]:
    """Who, when, where of every item and picture that somebody has described, by id."""
    return {fact.item: told_from(fact.facts) for fact in box.record.latest("described")}


def told_from(facts: Mapping[str, Any]) -> Told:
    """A description as a fact holds it."""
    known = {field.name: facts[field.name] for field in fields(Told) if facts.get(field.name)}
    return Told(**{name: tuple(value) if name in LISTS else value for name, value in known.items()})


def scanned_of(box: Box, made: Made, original: Original) -> Scanned | None:
    """What is known of a finished scan though nobody described it; None of anything but scans."""
    if f"object.{original.carrier}.en" not in load_sentences("terms"):
        return None
    known = {box.path(capture.stored): capture for capture in candidates_of(box, original.id)}
    captures = [known[path] for path in made.from_ if path in known]
    moments = [capture.modified_ns for capture in captures if capture.modified_ns]
    written = datetime.fromtimestamp(min(moments) / 1e9, UTC).isoformat(timespec="seconds") if moments else ""
    return Scanned(
        written=written,
        sha256=tuple(capture.sha256 for capture in captures),
        object_said=tuple((lang, _object(made, original, lang)) for lang in LANGUAGES),
        mended=tuple(_step(step) for step in made.settings.get("mended", ())),
    )


def _step(step: Mapping[str, Any]) -> str:
    """One thing that was put right, with its figures, as plain text: ``positive: base=[0.25, 0.65, 0.95], ...``."""
    figures = ", ".join(f"{name}={value}" for name, value in step.items() if name != "what")
    return f"{step['what']}: {figures}"


def _object(made: Made, original: Original, lang: str) -> str:
    """The original in words; of a picture cut out with the size of its paper, by the resolution stated."""
    facts: dict[str, Any] = {"kind": f"@object.{original.carrier}"}
    ppi, cut = made.settings.get("ppi"), {"cut", "straightened"} & set(made.settings)
    size = made.settings.get("print_px", made.size)
    if not (cut and ppi and size):
        return say("tags", "object", lang, facts)
    short, long = sorted(side / ppi * MM_PER_INCH for side in size)
    return say("tags", "object.sized", lang, facts | {"short": short, "long": long})


def words_for(made: Made, original: Original, told: Mapping[str, Told]) -> Told | None:
    """What is known of what a finished file shows: its picture's own description, else its item's."""
    own, front = told.get(made.picture), made.settings.get("back_of")
    if front:
        return told_of_back(own, told.get(front) or told.get(original.id), original.label or front)
    return own or told.get(original.id)


def tags_of(
    made: Made,
    original: Original,
    told: Mapping[str, Told],
    place_in: tuple[int, int] = (0, 0),
    scanned: Scanned | None = None,
) -> Tags | None:
    """What a finished file is to say of itself; None where nothing is known.

    What a scan is of, and when it was scanned, is known without anybody's words. A capture kept as it is stays so,
    byte for byte, until somebody describes it.
    """
    mine = words_for(made, original, told)
    if mine is None and (scanned is None or made.settings.get("kept")):
        return None
    mine = mine or Told()
    return plan_tags(
        original, mine, id=made.picture, part=made.part, place_in=place_in,
        date_said=said_of(mine.date, "en") if mine.date else "", scanned=scanned,
    )  # fmt: skip


def told_digest(made: Made, original: Original, told: Mapping[str, Told], marks: Sequence[Mark] | None = None) -> str:
    """Which words and chapters a file was last given: changes when they do; "" when there are none."""
    mine = words_for(made, original, told)
    words: list[Any] = [asdict(mine)] if mine is not None and any(asdict(mine).values()) else []
    if marks:
        words = [*words, [asdict(mark) for mark in marks]]
    if not words:
        return ""
    return sha256(json.dumps(words if marks else words[0], sort_keys=True).encode()).hexdigest()[:16]


def tag_made(
    made: Made,
    original: Original,
    told: Mapping[str, Told],
    rows: Rows,
    place_in: tuple[int, int] = (0, 0),
    scanned: Scanned | None = None,
) -> Made:
    """Write what is known into a finished file, and prove that its pictures and sound are the same.

    A kind of file that has no place for it comes back as it was, with a note that says so.
    """
    tags = tags_of(made, original, told, place_in, scanned)
    if tags is None or made.role == "text":
        return made
    source_type = rows.section("formats.describe.source").get(original.carrier, "")
    try:
        with beside(made.path) as part:
            tag_file(made.path, part, tags, source_type)
    except CannotEdit:
        if words_for(made, original, told) is None:
            return made
        note = ("finish.no-place-for-words", {"file": made.path.name})
        return replace(made, tagged=False, notes=made.notes if note in made.notes else (*made.notes, note))
    return replace(made, tagged=True)
