"""What staff decided about a capture after looking: it stays, it is made again, somebody is asked. Pure.

A later decision wins, and one of an earlier content of the same file (taken in anew) counts no more.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from takeup.box.record import Fact

Said = Literal["accept", "again", "ask", ""]
SAID: tuple[Said, ...] = ("accept", "again", "ask", "")  # the empty one takes the last decision back


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """One decision as the record holds it."""

    said: Said
    why: str
    who: str
    at: str
    seq: int
    sha256: str


def decision_from(fact: Fact) -> Decision:
    facts = fact.facts
    return Decision(
        said=facts.get("said", ""), why=facts.get("why", ""), who=facts.get("who", "") or fact.who, at=fact.at,
        seq=fact.seq, sha256=facts.get("sha256", ""),
    )  # fmt: skip


def said_of(decided: Iterable[Fact], stored: str, sha256: str) -> Said:
    """What stands decided of a capture; nothing when nobody decided, or it was taken back."""
    last = max((fact for fact in decided if fact.key == stored), key=lambda fact: fact.seq, default=None)
    if last is None or last.facts.get("sha256") != sha256:
        return ""
    return decision_from(last).said
