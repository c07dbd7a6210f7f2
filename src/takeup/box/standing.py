"""Where every item of a box stands, what is next and what holds it up: the record held against the disk."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from takeup.box.arranged import arranged_of, is_cut_so
from takeup.box.choosing import Candidate, Choice, choose
from takeup.box.deciding import said_of
from takeup.box.folder import Box
from takeup.box.record import Fact
from takeup.streams import Finding, Original, Report, Verdict, worst

STEPS = ("screened", "captured", "checked", "finished", "described", "packed", "delivered", "cleared")
NEXT = ("screen", "take", "check", "finish", "describe", "pack", "deliver", "clear")  # the command of each step


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Something that holds an item up: a key of ``words/answers/`` under ``hold``, and its facts."""

    key: str
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One item: the steps done, the next one, what holds it up (the first is the one that matters)."""

    original: Original
    done: Mapping[str, bool]
    outcome: str  # of screening; empty while nobody screened it
    captures: int
    verdict: Verdict | None  # of the captures that stand; None while one is unchecked
    next: str  # a command, "capture again", "" when nothing is left to do here
    holds: tuple[Hold, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxStanding:
    """A whole box."""

    items: tuple[Standing, ...]
    agreed: bool
    next: str
    holds: tuple[Hold, ...] = ()


def box_standing(box: Box, joined: Iterable[str] = ()) -> BoxStanding:
    """Hold the record of a box against its disk.

    Parameters
    ----------
    box : Box
    joined : iterable of str
        Carriers whose captures that differ by a number are one recording (films).
    """
    facts = box.record.facts()
    agreed = any(fact.what == "agreed" for fact in facts)
    told = _Told(facts)
    items = tuple(_standing(box, original, told, original.carrier in set(joined)) for original in box.originals())
    holds = () if agreed else (Hold(key="not-agreed"),)
    return BoxStanding(items=items, agreed=agreed, next=_next_of_box(items, agreed), holds=holds)


class _Told:
    """The standing facts, found by kind and item."""

    def __init__(self, facts: list[Fact]) -> None:
        standing: dict[tuple[str, str, str], Fact] = {}
        for fact in facts:
            standing[fact.what, fact.item, fact.key] = fact
        self.by_item: dict[tuple[str, str], list[Fact]] = {}
        for fact in standing.values():
            self.by_item.setdefault((fact.what, fact.item), []).append(fact)

    def of(self, what: str, item: str = "") -> list[Fact]:
        return self.by_item.get((what, item), [])

    def last(self, what: str, item: str = "") -> Fact | None:
        return max(self.of(what, item), key=lambda fact: fact.seq, default=None)


def _standing(box: Box, original: Original, told: _Told, joined: bool) -> Standing:
    screened = told.last("screened", original.id)
    outcome = outcome_of(screened, told.last("ruled", original.id))
    taken = told.of("taken", original.id)
    lost = [hold for fact in taken for hold in _lost(box, fact)]
    choices = _choices(original, told, joined)
    checked = bool(choices) and all(choice.checked for choice in choices)
    verdict = worst(choice.verdict for choice in choices) if checked else None
    made = [fact for fact in told.of("made", original.id) if not fact.facts.get("gone")]
    gone = [fact for fact in made if not _is_there(box, fact.facts.get("path", ""), fact.facts.get("bytes"))]
    finished = checked and not gone and all(_is_made(choice, made) for choice in choices)
    finished = finished and all(_is_arranged(choice, told, made) for choice in choices)
    pictures = {fact.facts.get("picture") for fact in made} - {None, ""}
    described = [fact for name in {original.id, *pictures} for fact in told.of("described", name)]
    packed = _packed(original, told, [*made, *described, *told.of("interview", original.id)])
    delivered = packed is not None and any(
        fact.facts.get("manifest_sha256") == packed.facts.get("manifest_sha256") for fact in told.of("delivered")
    )
    gone_sources = {fact.key for fact in told.of("cleared", original.id)}
    done = {
        "screened": bool(outcome),
        "captured": bool(taken) and not lost,
        "checked": checked,
        "finished": finished,
        "described": bool(described),
        "packed": packed is not None,
        "delivered": delivered,
        "cleared": delivered and bool(taken) and all(fact.facts.get("source") in gone_sources for fact in taken),
    }
    step, holds = _next_of_item(original, done, outcome, verdict, lost, gone)
    holds += [] if packed else _asked(choices)
    return Standing(
        original=original,
        done=done,
        outcome=outcome,
        captures=len(taken),
        verdict=verdict,
        next=step,
        holds=tuple(holds),
    )


def outcome_of(screened: Fact | None, decided: Fact | None) -> str:
    """What screening said, or what staff decided upon it; a later screening that says otherwise asks them again."""
    if screened is None:
        return ""
    standing = decided if decided and decided.seq > screened.seq else screened
    return str(standing.facts["outcome"])


def _next_of_item(
    original: Original, done: Mapping[str, bool], outcome: str, verdict: str | None, lost: list[Hold], gone: list[Fact]
) -> tuple[str, list[Hold]]:
    holds = list(lost)
    holds += [Hold(key="made-missing", facts={"path": fact.facts.get("path", "")}) for fact in gone]
    if not done["screened"] and not done["captured"]:
        return "screen", holds
    if not done["captured"]:
        if outcome == "refuse" or original.carrier == "other":
            return "", [Hold(key="refused" if outcome == "refuse" else outcome), *holds]
        if outcome in ("ask", "prepare"):
            holds.append(Hold(key=outcome))
        return "take", holds
    if verdict == "redo" and not done["packed"]:
        return "capture again", [Hold(key="redo"), *holds]
    for step, command in zip(STEPS[2:], NEXT[2:]):
        if not done[step] and not (step == "described" and done["packed"]):
            return command, holds
    return "", holds


def _next_of_box(items: tuple[Standing, ...], agreed: bool) -> str:
    """The one command that helps most now: the earliest step that some item waits for."""
    waiting = {item.next for item in items}
    if "screen" in waiting:
        return "screen"
    if not agreed and waiting - {""}:
        return "agree"
    order = ("check", "take", "capture again", "finish", "describe", "pack", "deliver", "clear")
    return next((command for command in order if command in waiting), "")


def _choices(original: Original, told: _Told, joined: bool) -> list[Choice]:
    checked = {fact.key: fact for fact in told.of("checked", original.id)}
    candidates = []
    for fact in sorted(told.of("taken", original.id), key=lambda fact: fact.seq):
        known = checked.get(fact.facts["stored"])
        if known is not None and known.facts.get("sha256") != fact.facts["sha256"]:
            known = None
        candidates.append(
            Candidate(
                stored=fact.facts["stored"],
                part=fact.facts.get("part", ""),
                sha256=fact.facts["sha256"],
                report=_verdict_alone(known.facts["report"]) if known else None,
                repeats=known.facts.get("repeats", "") if known else "",
                said=said_of(told.of("decided", original.id), fact.facts["stored"], fact.facts["sha256"]),
            )
        )
    return choose(candidates, joined=joined)[0]


def _verdict_alone(report: Mapping[str, Any]) -> Report:
    """As much of a remembered report as choosing needs."""
    finding = Finding(name=report["verdict"], verdict=report["verdict"], again="may help")
    return Report(medium=report["medium"], seconds=report["seconds"], measures={}, findings=(finding,))


def _is_made(choice: Choice, made: list[Fact]) -> bool:
    sources = {stored for fact in made for stored in fact.facts.get("from", ())}
    return all(capture.stored in sources for capture in choice.captures)


def _is_arranged(choice: Choice, told: _Told, made: list[Fact]) -> bool:
    """Whether the pictures of a bed are cut as a person last arranged them."""
    for capture in choice.captures:
        item = next((fact.item for fact in made if capture.stored in fact.facts.get("from", ())), "")
        pictures = arranged_of(told.of("arranged", item), capture.stored, capture.sha256)
        if pictures is not None and not is_cut_so(pictures, capture.stored, made):
            return False
    return True


def _asked(choices: list[Choice]) -> list[Hold]:
    """Captures that somebody wants staff to look at before it goes on."""
    asked = [capture.stored for choice in choices for capture in choice.captures if capture.said == "ask"]
    return [Hold(key="asked", facts={"file": stored.rsplit("/", 1)[-1]}) for stored in asked]


def _packed(original: Original, told: _Told, newer: list[Fact]) -> Fact | None:
    """The last parcel, when it holds this item as it is finished and described today."""
    packed = told.last("packed")
    if packed is None or not any(entry.get("item") == original.id for entry in packed.facts.get("contents", ())):
        return None
    return packed if all(fact.seq < packed.seq for fact in newer) else None


def _lost(box: Box, fact: Fact) -> list[Hold]:
    """What the disk says against a ``taken`` fact."""
    stored, wanted = fact.facts["stored"], fact.facts["bytes"]
    path = box.path(stored)
    if not path.is_file():
        return [Hold(key="capture-missing", facts={"stored": stored})]
    found = path.stat().st_size
    if found != wanted:
        return [Hold(key="capture-differs", facts={"stored": stored, "found": found, "wanted": wanted})]
    return []


def _is_there(box: Box, relative: str, size: int | None) -> bool:
    path = box.path(relative)
    return path.is_file() and (size is None or path.stat().st_size == size)
