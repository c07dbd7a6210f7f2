"""Which captures of an item are finished: the parts side by side, of several tries the best, none twice. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from takeup.box.deciding import Said
from takeup.streams import Report, Verdict, worst

NUMBERED = re.compile(r"^(?P<base>.*?)[-_. ]*(?P<number>\d+)$")
ORDER: tuple[Verdict, ...] = ("good", "look", "redo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One capture of an item as the record tells of it. ``report`` is None while nobody has checked it."""

    stored: str  # relative to the box
    part: str
    sha256: str
    report: Report | None = None
    repeats: str = ""  # stored path of the earlier capture of the same stretch, by content
    modified_ns: int | None = None
    said: Said = ""  # what staff decided after looking

    @property
    def verdict(self) -> Verdict:
        """Its report's, unless staff decided otherwise after looking; good while nobody checked it."""
        found = self.report.verdict if self.report is not None else "good"
        if self.said == "accept" and found == "redo":
            return "look"
        return "redo" if self.said == "again" else found


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What becomes one part of the result, in number order."""

    part: str
    captures: tuple[Candidate, ...]

    @property
    def checked(self) -> bool:
        return all(capture.report is not None for capture in self.captures)

    @property
    def verdict(self) -> Verdict:
        return worst(capture.verdict for capture in self.captures if capture.report is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A capture that is not finished, because another try of the same stretch is."""

    stored: str
    better: str


def choose(candidates: Iterable[Candidate], *, joined: bool) -> tuple[list[Choice], list[LeftOut]]:
    """Decide which captures of ONE item are finished.

    Parameters
    ----------
    candidates : iterable of Candidate
        In the order they were taken.
    joined : bool
        Whether parts that differ by a number are one recording (films), or stand side by side (all else).

    Returns
    -------
    choices, left_out
        Of several tries of the same stretch the one with the best verdict (as staff decided it, where they did), of
        equals the latest, stands in the place (and under the part name) of the first. A later capture is another try
        when its content says so (``repeats``), or when it bears the same part's name and the earlier one was judged
        ``redo`` or is to be made again by staff's word.
    """
    slots: list[Candidate] = []  # the standing try of each stretch, under the name of its first try
    stands_for: dict[str, int] = {}  # any try's stored path -> its slot
    left: list[LeftOut] = []
    for candidate in candidates:
        at = _earlier_try(candidate, slots, stands_for)
        if at is None:
            stands_for[candidate.stored] = len(slots)
            slots.append(candidate)
            continue
        stands_for[candidate.stored] = at
        standing = slots[at]
        if _is_as_good(candidate, standing):
            slots[at] = replace(candidate, part=standing.part)
            left = [
                replace(entry, better=candidate.stored) if entry.better == standing.stored else entry for entry in left
            ]
            left.append(LeftOut(stored=standing.stored, better=candidate.stored))
        else:
            left.append(LeftOut(stored=candidate.stored, better=standing.stored))
    return _grouped(slots, joined), left


def _earlier_try(candidate: Candidate, slots: list[Candidate], stands_for: dict[str, int]) -> int | None:
    if candidate.repeats in stands_for:
        return stands_for[candidate.repeats]
    for at in range(len(slots) - 1, -1, -1):
        report, said = slots[at].report, slots[at].said
        to_do_again = report is not None and (report.verdict == "redo" or said == "again")
        if slots[at].part == candidate.part and to_do_again:
            return at
    return None


def _is_as_good(later: Candidate, earlier: Candidate) -> bool:
    """An unchecked later try stands, too: it is to be checked before anything is finished of this stretch."""
    if later.report is None or earlier.report is None:
        return True
    return ORDER.index(later.verdict) <= ORDER.index(earlier.verdict)


def _grouped(slots: list[Candidate], joined: bool) -> list[Choice]:
    groups: dict[str, list[Candidate]] = {}
    for slot in slots:
        groups.setdefault(split_number(slot.part)[0] if joined else slot.part, []).append(slot)
    choices = []
    for part, captures in groups.items():
        if joined:
            ordered = sorted(captures, key=lambda capture: split_number(capture.part)[1])
            choices.append(Choice(part=part, captures=tuple(ordered)))
            continue
        for count, capture in enumerate(captures):  # two good captures of one name: both are kept, side by side
            name = part if count == 0 else f"{part or 'capture'}-{count + 1}"
            choices.append(Choice(part=name, captures=(capture,)))
    return sorted(choices, key=lambda choice: split_number(choice.part))


def split_number(part: str) -> tuple[str, int]:
    """A part's name without the number it ends in, and the number (0 when there is none).

    Examples
    --------
    >>> split_number("reel-2"), split_number("side-a"), split_number("12")
    (('reel', 2), ('side-a', 0), ('', 12))
    """
    match = NUMBERED.match(part)
    return (match["base"], int(match["number"])) if match else (part, 0)
