"""Keeps what people decide about a capture after looking at it; says what was decided before. Reads no media."""

from __future__ import annotations

from pathlib import Path

from takeup.box.deciding import SAID, Decision, decision_from
from takeup.box.folder import Box, look_into
from takeup.box.record import Fact
from takeup.errors import NotPossible
from takeup.lab.port import Stale
from takeup.settings import Settings


def judge_capture(
    folder: Path, settings: Settings, *, item: str, stored: str, said: str, why: str, who: str, version: int | None
) -> Decision:
    """Remember a decision. The last one wins; an empty ``said`` takes it back. The same again changes nothing.

    Nothing waits for the box: one fact is added, whole or not at all, whatever else works in the box meanwhile.

    Parameters
    ----------
    stored : str
        The capture, as the record names it.
    version : int or None
        Number of the decision that the page showed (0: none); None: whatever stands.

    Raises
    ------
    NotPossible
        ``capture.no-such-capture``, ``capture.no-such-decision``.
    Stale
        When somebody else decided meanwhile.
    """
    box = look_into(folder, settings)
    taken = next((fact for fact in box.record.latest("taken", item) if fact.key == stored), None)
    if taken is None:
        raise NotPossible("capture.no-such-capture")
    if said not in SAID:
        raise NotPossible("capture.no-such-decision")
    before = decisions_on(box, item, stored)
    last = before[-1].seq if before else 0
    if version is not None and version != last:
        raise Stale("decided")
    facts = {"said": said, "why": why, "who": who, "sha256": taken.facts["sha256"]}
    if before and (before[-1].said, before[-1].why, before[-1].sha256) == (said, why, facts["sha256"]):
        return before[-1]
    return decision_from(append_once(box, "decided", facts, item=item, key=stored, after=last))


def decisions_on(box: Box, item: str, stored: str) -> list[Decision]:
    """Everything decided about one capture, in order."""
    return [decision_from(fact) for fact in box.record.facts("decided", item) if fact.key == stored]


def append_once(box: Box, what: str, facts: dict, *, item: str, key: str, after: int) -> Fact:
    """Add the one fact that may follow fact number ``after``.

    Raises
    ------
    Stale
        When another one followed it first.
    """
    fact = box.record.append(what, facts, item=item, key=key, command=f"{what}/{item}/{key}/after/{after}")
    if fact.facts != facts:
        raise Stale(what)
    return fact
