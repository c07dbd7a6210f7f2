"""Stretches of a tape or film that somebody described: a scene, a song, a speech, with their times.

They are kept in the box, shown on the thread, and written as chapters into everyday copies (MP4, M4A) and into masters
in Matroska. WAVE masters and masters kept as the station wrote them stay as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.box.folder import Box, look_into
from takeup.errors import NotPossible
from takeup.files.beside import beside
from takeup.files.taking_back import in_passing
from takeup.media.chapter_files import are_same, chapter_matroska, chapter_mp4, read_marks
from takeup.plan.chaptering import Mark, clock_of, name_of, one_after_another, plan_marks
from takeup.plan.tagging import Told
from takeup.settings import Settings
from takeup.tasks.finishing import Made
from takeup.tasks.tagged import told_from

MOST = 200  # chapters of one capture
FIELDS = ("title", "description", "people", "date", "place", "keywords")


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One stretch of a capture [s] and what is known of it."""

    number: int  # for good; never given twice in an item
    stored: str
    from_s: float
    to_s: float
    told: Told


def chapters_of(box: Box, item: str, stored: str) -> list[Chapter]:
    """The stretches of one capture, in the order of time."""
    facts = [fact for fact in box.record.latest("chapter", item) if fact.facts["stored"] == stored]
    found = [
        Chapter(
            number=int(fact.key), stored=stored, from_s=fact.facts["from_s"], to_s=fact.facts["to_s"],
            told=told_from(fact.facts),
        )
        for fact in facts
        if not fact.facts.get("gone")
    ]  # fmt: skip
    return sorted(found, key=lambda one: (one.from_s, one.to_s))


def marks_of(box: Box, made: Made) -> list[Mark] | None:
    """The chapters that a finished file is to have, on its own clock; None for a kind that gets none."""
    ending = made.path.suffix.lower()
    if (made.role, ending) not in (("copy", ".mp4"), ("copy", ".m4a"), ("master", ".mkv")):
        return None
    item = box.relative(made.path).split("/")[1]
    marks: list[Mark] = []
    for at, path in enumerate(made.from_):
        stretches = [
            (one.from_s, one.to_s, name_of(told.title, told.description, told.people, told.place, told.date))
            for one in chapters_of(box, item, box.relative(path))
            for told in (one.told,)
        ]
        marks += plan_marks(stretches, clock_of(made.settings, at), made.seconds)
    marks.sort(key=lambda mark: (mark.from_s, mark.to_s))
    return marks if ending == ".mkv" else one_after_another(marks, made.seconds)


def chaptered(box: Box) -> set[str]:
    """The items of which stretches were ever described, also when all were taken away again."""
    return {fact.item for fact in box.record.latest("chapter")}


def write_marks(path: Path, marks: list[Mark] | None) -> bool:
    """Give a finished file its chapters, or take them away: written beside, every packet compared, then renamed.

    False when it has just these, or is of a kind that gets none.

    Raises
    ------
    CannotEdit
        When this file has no room for them.
    """
    if marks is None or are_same(read_marks(path), marks):
        return False
    with beside(path) as part:
        if path.suffix.lower() == ".mkv":
            chapter_matroska(path, part, marks)
        else:
            with in_passing(part, path.suffix) as between:
                chapter_mp4(path, between, part, marks)
    return True


def keep_chapter(
    folder: Path, settings: Settings, *, item: str, stored: str, from_s: float, to_s: float, told: Mapping[str, Any],
    seconds: float | None, number: int | None = None,
) -> int:  # fmt: skip
    """Keep a stretch, or change one; its number.

    Raises
    ------
    NotPossible
        ``chapter.times``: it ends before it begins, or lies outside the capture; ``chapter.too-many``.
    """
    box = look_into(folder, settings)
    end = seconds if seconds is not None else to_s
    if not 0 <= from_s < to_s <= end + 1.0:
        raise NotPossible("chapter.times", from_s=from_s, to_s=to_s, end_s=end)
    facts = box.record.latest("chapter", item)
    if number is None and len(chapters_of(box, item, stored)) >= MOST:
        raise NotPossible("chapter.too-many", most=MOST)
    number = number or max((int(fact.key) for fact in facts), default=0) + 1
    box.record.append(
        "chapter", {"stored": stored, "from_s": from_s, "to_s": min(to_s, end), **told}, item=item, key=str(number)
    )
    return number


def drop_chapter(folder: Path, settings: Settings, *, item: str, number: int, gone: bool = True) -> None:
    """Take a stretch away, or back."""
    box = look_into(folder, settings)
    fact = next((fact for fact in box.record.latest("chapter", item) if fact.key == str(number)), None)
    if fact is not None and bool(fact.facts.get("gone")) != gone:
        box.record.append("chapter", fact.facts | {"gone": gone}, item=item, key=str(number))


def read_clock(text: str) -> float | None:
    """A time as people write it: ``1:23``, ``1:02:03``, ``83``, ``0:12.5``; None when it is none.

    Examples
    --------
    >>> read_clock("1:23"), read_clock("1：02：03"), read_clock("12.5"), read_clock("1:75"), read_clock("soon")
    (83.0, 3723.0, 12.5, None, None)
    """
    parts = text.strip().replace("：", ":").split(":")
    try:
        figures = [float(part) if part.strip().replace(".", "", 1).isdigit() else -1.0 for part in parts]
    except ValueError:
        return None
    if not 1 <= len(figures) <= 3 or any(figure < 0 for figure in figures):
        return None
    if any(figure >= 60 for figure in figures[1:]) or figures[0] > 1e6:
        return None
    seconds = 0.0
    for figure in figures:
        seconds = 60 * seconds + figure
    return seconds


def written_clock(seconds: float) -> str:
    """A time as :func:`read_clock` reads it, to a tenth of a second.

    Examples
    --------
    >>> written_clock(83.04), written_clock(3723.96), written_clock(0.4)
    ('1:23', '1:02:04', '0:00.4')
    """
    tenths = round(10 * seconds)
    hours, minutes, rest = tenths // 36000, tenths // 600 % 60, tenths % 600
    told = f"{rest // 10:02d}" + (f".{rest % 10}" if rest % 10 else "")
    return f"{hours}:{minutes:02d}:{told}" if hours else f"{minutes}:{told}"
