"""From the stretches that people described of a capture to the chapters of a finished file. Pure.

A finished file has a clock of its own: an everyday side may begin later and run slower, a film runs at its true rate.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

LEAST_S = 0.5  # a chapter shorter than this was cut away with what lay outside the copy, or is a slip
NEAR_S = 1.0  # a beginning or end so near to the next thing is the same place, as people type whole seconds
BETWEEN = "–"  # the name of what lies between two described stretches
MOST_BYTES = 240  # of a name in UTF-8: an MP4's list has one byte for its length
MOST = 255  # chapters of an MP4's list: their number is one byte


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One chapter on the clock of its file [s]."""

    from_s: float
    to_s: float
    title: str


def name_of(title: str, description: str, people: Sequence[str], place: str, date: str) -> str:
    """What a chapter is called: its title, else the first of the other things that is known of it."""
    for text in (title, description, ", ".join(people), place, date):
        if words := " ".join(text.split()):
            cut = words.encode()[: MOST_BYTES - 3].decode("utf-8", "ignore")
            return words if len(words.encode()) <= MOST_BYTES else cut.rstrip() + "…"
    return ""


def clock_of(settings: Mapping[str, Any], at: int) -> list[tuple[float, float]]:
    """Places of a capture and the same places of the finished file [s], rising; between them lines are straight.

    Parameters
    ----------
    settings : mapping
        What the file was made with, as the record keeps it.
    at : int
        Which of its captures.
    """
    if clocks := settings.get("clock"):
        return [(float(own), float(made)) for own, made in clocks[at]] if at < len(clocks) else []
    begin, speed = float(settings.get("from_s") or 0.0), float(settings.get("speed") or 1.0)
    return [(begin, 0.0), (begin + 1.0, speed)]


def on_clock(clock: Sequence[tuple[float, float]], at_s: float) -> float:
    """A place of a capture on the file's clock [s]; beyond the ends the lines go on.

    Examples
    --------
    >>> on_clock([(10.0, 0.0), (11.0, 1.01)], 110.0)
    101.0
    """
    at = min(max(bisect_right([own for own, _ in clock], at_s) - 1, 0), len(clock) - 2)
    (own, made), (next_own, next_made) = clock[at], clock[at + 1]
    slope = (next_made - made) / (next_own - own) if next_own > own else 1.0
    return made + (at_s - own) * slope


def plan_marks(
    stretches: Iterable[tuple[float, float, str]], clock: Sequence[tuple[float, float]], seconds: float | None
) -> list[Mark]:
    """Stretches of a capture (from, to, name) on a file's clock; those outside the file are left out."""
    marks = []
    for from_s, to_s, title in stretches if len(clock) > 1 else ():
        begin, end = max(0.0, on_clock(clock, from_s)), on_clock(clock, to_s)
        end = end if seconds is None else min(end, seconds)
        if end - begin >= LEAST_S and title:
            marks.append(Mark(from_s=round(begin, 3), to_s=round(end, 3), title=title))
    return sorted(marks, key=lambda mark: (mark.from_s, mark.to_s))


def one_after_another(marks: Sequence[Mark], seconds: float | None) -> list[Mark]:
    """The same for files whose chapters each last until the next: what lies between is named as such.

    Where two overlap, the first ends as the second begins. More than ``MOST`` are cut off at the end.
    """
    if not marks:
        return []
    ends = [after.from_s for after in marks[1:]] + [seconds if seconds is not None else marks[-1].to_s]
    first = marks[0].from_s
    found = [Mark(from_s=0.0, to_s=first, title=BETWEEN)] if first > NEAR_S else []
    for mark, until in zip(marks, ends):
        begin = mark.from_s if found else 0.0
        if until - begin < LEAST_S:
            continue  # another begins at the same place
        end = min(mark.to_s, until)
        if until - end <= NEAR_S:
            end = until
        found.append(Mark(from_s=begin, to_s=end, title=mark.title))
        if end < until:
            found.append(Mark(from_s=end, to_s=until, title=BETWEEN))
    named = [mark for mark in found if mark.title != BETWEEN]
    if len(found) > MOST:
        found = [Mark(from_s=mark.from_s, to_s=after.from_s, title=mark.title) for mark, after in pairwise(named)]
        found = [*found, named[-1]][:MOST]
    return found


def stretches_proposed(begins_s: Sequence[float], ends_s: float) -> list[tuple[float, float]]:
    """The recordings of a tape as stretches one after the other [s]; none when it holds only one.

    Examples
    --------
    >>> stretches_proposed([0.4, 312.0], 900.0), stretches_proposed([0.0], 900.0)
    ([(0.4, 312.0), (312.0, 900.0)], [])
    """
    if len(begins_s) < 2:
        return []
    return [(begins, ends) for begins, ends in zip(begins_s, [*begins_s[1:], ends_s]) if ends > begins]
