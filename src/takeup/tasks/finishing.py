"""What ``finish`` hands to each medium, and what it gets back: the words between the orchestrator and its makers.

A maker is ``finish_<medium>(chosen, place, rows, settings, ears) -> list[Made]`` in ``tasks/finish_<medium>.py``:

- ``chosen`` are the captures of ONE item, in the order of their parts; each is to become part of the result.
- It makes what ``place.wants(role)`` says, writes every file through ``files.beside.beside(place.master(name))`` or
  ``place.copy(name)``, and never touches a capture.
- Before a long piece of work it asks ``place.standing(path, from_)``: what an earlier run made from the same captures
  with the same settings, and still lies there whole. It hands that back instead of making it again.
- It neither hashes nor remembers: ``tasks/finish.py`` hashes what came back and appends the facts ``made``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from takeup.plan.arranging import Placed
from takeup.plan.paging import turn_by_hand
from takeup.plan.tagging import Told
from takeup.streams import NO_FACTS, Original, Report, Verdict
from takeup.tasks.ears import Ears

UNSAFE = re.compile(r"[^A-Za-z0-9._]+")
Role = Literal["master", "copy", "page", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The captures of one part of an item (a side, a page, a reel with its parts) that are to be finished.

    ``stored``, ``relative``, ``reports``, ``dates`` run in step: one entry per capture file, in number order. Most
    parts have one; a film that the scanner cut into files has several.
    """

    original: Original
    part: str  # "" when the item has but one; else as in the record: "side-a", "3", "back"
    stored: tuple[Path, ...]  # where the captures lie on this disk
    relative: tuple[str, ...]  # the same as the record tells them, relative to the box
    reports: tuple[Report | None, ...]
    sha256: tuple[str, ...] = ()
    dates: tuple[str, ...] = ()  # when the station wrote each capture, ISO 8601 in UTC; "" when not known
    verdict: Verdict = "good"  # the worst of its reports
    told: Told | None = None  # who, when, where of the item, as far as somebody told
    arranged: tuple[tuple[Placed, ...] | None, ...] = ()  # of scans: pictures as a person set them right, or None

    @property
    def name(self) -> str:
        """The name finished files of this part begin with: the item's id and the part, safe on every file system."""
        return part_name(self.original.id, self.part)


def part_name(item: str, part: str) -> str:
    """What finished files of an item's part begin with.

    Examples
    --------
    >>> part_name("t1", "a"), part_name("p1", "2"), part_name("p1", "")
    ('t1-side-a', 'p1-2', 'p1')
    """
    part = UNSAFE.sub("-", part).strip("-.")
    part = f"side-{part}" if len(part) == 1 and part.isalpha() else part
    return f"{item}-{part}" if part else item


def by_hand_of(chosen: Sequence[Chosen]) -> dict[str, int]:
    """How people turned pages, by capture."""
    turns = {one.relative[0]: turn_by_hand(one.arranged[0] if one.arranged else None) for one in chosen}
    return {name: turn for name, turn in turns.items() if turn is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One finished file.

    ``settings`` is plain JSON: what it was made with, shown to people. ``notes`` are things worth saying about it
    (key of ``words/notes``, facts): what the capture was not good enough for, what was kept as it was.
    """

    path: Path
    role: Role
    from_: tuple[Path, ...]  # the captures (stored paths) it was made from
    settings: Mapping[str, Any]
    picture: str = ""  # id of a picture cut from a scan: "b1-1"
    title: str = ""
    size: tuple[int, int] | None = None  # as shown, in pixels; None for sound and text
    seconds: float | None = None
    notes: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    part: str = ""
    tagged: bool = False  # its maker has written the descriptions into it; else finish does it afterwards


def _nothing_standing(path: Path, from_: tuple[Path, ...]) -> Made | None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the finished files of one item go, what is wanted, and what an earlier run left there.

    ``standing(path, from_)`` gives back what lies whole at ``path``, made from just these captures with the settings in
    force; None when it is to be made.
    """

    masters: Path  # BOX/masters/<item>
    copies: Path  # BOX/copies/<item>
    keep: str = "both"  # the item list's own word: both, copy, master
    standing: Callable[[Path, tuple[Path, ...]], Made | None] = _nothing_standing
    told: Mapping[str, Told] = field(
        default_factory=lambda: NO_FACTS
    )  # by id: what is known of each picture, for titles
    mend: tuple[str, ...] = ()  # what is to be mended in everyday copies, words of plan/mending.py
    mend_at: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: NO_FACTS)  # of scans: by a copy's file name
    form: str = ""  # the form of everyday copies of videos, a word of plan/copies.py
    form_asked: bool = False  # whether somebody asked for it, for this item; else it is the lab's
    page_form: str = ""  # the form of pages in their PDF, words of plan/paging.py
    page_form_asked: bool = False

    def wants(self, role: Role) -> bool:
        """Whether files of a role are wanted. Pages and texts go with the copies."""
        return self.keep == "both" or self.keep == ("master" if role == "master" else "copy")

    def master(self, name: str) -> Path:
        return self.masters / name

    def copy(self, name: str) -> Path:
        return self.copies / name

    def mend_for(self, name: str) -> tuple[str, ...]:
        """What is to be mended in the copy with this file name: as asked for this picture, else as for the item."""
        return self.mend_at.get(name, self.mend)


class Way(Ears):
    """Passes an item's steps on, and tells beside them how far the whole of it is.

    Parameters
    ----------
    steps : dict
        How the names of steps end, and each one's part of the work. ``steps`` of work that turns out to be done already
        are taken out.
    at, of : int
        Which of how many like parts of the item this is, from 0.
    """

    def __init__(self, ears: Ears, name: str, steps: dict[str, float], at: int = 0, of: int = 1) -> None:
        self.ears, self.name, self.steps, self.at, self.of = ears, name, steps, at, of
        self.done: dict[str, float] = {}

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        self.ears.progress(what, done, total, unit)
        step = next((ending for ending in self.steps if what.endswith(ending)), None)
        if step is not None and total:
            self.done[step] = max(self.done.get(step, 0.0), min(1.0, done / total))
            share = sum(part * self.done.get(ending, 0.0) for ending, part in self.steps.items())
            self.ears.progress(self.name, (self.at + share / sum(self.steps.values())) / self.of, 1.0, "share")

    def note(self, key: str, **facts: object) -> None:
        self.ears.note(key, **facts)


def bytes_to(ears: Ears, what: str, total: int) -> Callable[[int], None]:
    """Tells the ears how many bytes are done, from the sizes of the blocks as they pass."""
    done = 0

    def hear(count: int) -> None:
        nonlocal done
        done += count
        ears.progress(what, done, total, "bytes")

    return hear


def seconds_to(ears: Ears, what: str, total: float | None, per_second: float = 1.0) -> Callable[[float], None]:
    """Tells the ears how many seconds of a capture are done; ``per_second`` turns counts into seconds."""
    return lambda done: ears.progress(what, done / per_second, total, "seconds")
