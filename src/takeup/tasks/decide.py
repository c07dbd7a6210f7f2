"""What staff decide of an original that screening leaves to them. Who decided and why is kept in the box."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.box.folder import Box, look_into
from takeup.box.record import Fact
from takeup.errors import NotAllowedNow, NotPossible
from takeup.settings import Settings

DECISIONS = ("accept", "prepare", "refuse")
LEFT_TO_STAFF = ("ask", "prepare", "accept")  # a refusal stands until the original itself is another


def decide(folder: Path, item: str, outcome: str, why: str, settings: Settings) -> Fact:
    """Keep a decision upon what screening said; the same again changes nothing.

    Raises
    ------
    NotAllowedNow
        ``decide.not-screened``; ``decide.refused``: screening refuses it, which no decision turns round.
    NotPossible
        ``decide.no-reason``: nobody could tell later why.
    """
    box = look_into(folder, settings)
    screened = box.record.latest("screened", item)
    if not screened:
        raise NotAllowedNow("decide.not-screened", item=item)
    if screened[-1].facts["outcome"] not in LEFT_TO_STAFF and outcome != "refuse":
        raise NotAllowedNow("decide.refused", item=item)
    why = " ".join(why.split())
    if not why or outcome not in DECISIONS:
        raise NotPossible("decide.no-reason", item=item)
    standing = decision_of(box, item)
    facts = {"outcome": outcome, "why": why, "screened": screened[-1].facts["outcome"]}
    return standing if standing and standing.facts == facts else box.record.append("ruled", facts, item=item)


def decision_of(box: Box, item: str) -> Fact | None:
    """The decision that stands; none when screening has said something else since."""
    screened, decided = box.record.latest("screened", item), box.record.latest("ruled", item)
    return decided[-1] if screened and decided and decided[-1].seq > screened[-1].seq else None


def decisions(folder: Path, settings: Settings) -> dict[str, str]:
    """The outcome that staff decided, by item."""
    box = look_into(folder, settings)
    screened = {fact.item: fact for fact in box.record.latest("screened")}
    decided: dict[str, Any] = {fact.item: fact for fact in box.record.latest("ruled")}
    return {
        item: str(fact.facts["outcome"])
        for item, fact in decided.items()
        if item in screened and fact.seq > screened[item].seq
    }
