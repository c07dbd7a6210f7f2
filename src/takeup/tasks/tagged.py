"""What is known of each item and picture, and writing it into a finished file."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields, replace
from hashlib import sha256
from typing import Any

from takeup.box.folder import Box
from takeup.files.beside import beside
from takeup.media.tag_files import CannotEdit, tag_file
from takeup.plan.chaptering import Mark
from takeup.plan.tagging import Tags, Told, plan_tags
from takeup.streams import Original
from takeup.tables.rows import Rows
from takeup.tasks.finishing import Made
from takeup.words.dates import said_of

LISTS = ("people", "keywords")


def told_of(box: Box) -> dict[str, Told]:
    """Who, when, where of every item and picture that somebody has described, by id."""
    return {fact.item: told_from(fact.facts) for fact in box.record.latest("described")}


def told_from(facts: Mapping[str, Any]) -> Told:
    """A description as a fact holds it."""
    known = {field.name: facts[field.name] for field in fields(Told) if facts.get(field.name)}
    return Told(**{name: tuple(value) if name in LISTS else value for name, value in known.items()})


def tags_of(
    made: Made, original: Original, told: Mapping[str, Told], place_in: tuple[int, int] = (0, 0)
) -> Tags | None:
    """What a finished file is to say of itself: its picture's own description, else its item's; None without either."""
    mine = told.get(made.picture) or told.get(original.id)
    if mine is None:
        return None
    return plan_tags(
        original, mine, id=made.picture, part=made.part, place_in=place_in, date_said=said_of(mine.date, "en")
    )


def told_digest(made: Made, original: Original, told: Mapping[str, Told], marks: Sequence[Mark] | None = None) -> str:
    """Which words and chapters a file was last given: changes when they do; "" when there are none."""
    mine = told.get(made.picture) or told.get(original.id)
    words: list[Any] = [asdict(mine)] if mine is not None and any(asdict(mine).values()) else []
    if marks:
        words = [*words, [asdict(mark) for mark in marks]]
    if not words:
        return ""
    return sha256(json.dumps(words if marks else words[0], sort_keys=True).encode()).hexdigest()[:16]


def tag_made(
    made: Made, original: Original, told: Mapping[str, Told], rows: Rows, place_in: tuple[int, int] = (0, 0)
) -> Made:
    """Write what is known into a finished file, and prove that its pictures and sound are the same.

    A kind of file that has no place for it comes back as it was, with a note that says so.
    """
    tags = tags_of(made, original, told, place_in)
    if tags is None or made.role == "text":
        return made
    source_type = rows.section("formats.describe.source").get(original.carrier, "")
    try:
        with beside(made.path) as part:
            tag_file(made.path, part, tags, source_type)
    except CannotEdit:
        note = ("finish.no-place-for-words", {"file": made.path.name})
        return replace(made, tagged=False, notes=made.notes if note in made.notes else (*made.notes, note))
    return replace(made, tagged=True)
