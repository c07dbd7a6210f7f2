"""Many findings of one kind told by a few of them: hundreds of dropouts want two sentences, not hundreds. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from takeup.streams import Finding
from takeup.words.sentences import say


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """Findings of one name and verdict, as places in the list they came from, each in the order of that list."""

    told: tuple[int, ...]  # those there is most of
    rest: tuple[int, ...]


def kinds(findings: Sequence[Finding], *, most: int) -> list[Kind]:
    """The kinds among some findings, in the order in which they first come; ``most`` of each are told one by one."""
    found: dict[tuple[str, str], list[int]] = {}
    for at, finding in enumerate(findings):
        found.setdefault((finding.verdict, finding.name), []).append(at)
    made = []
    for places in found.values():
        told = sorted(sorted(places, key=lambda at: _weight(findings[at]), reverse=True)[:most])
        made.append(Kind(told=tuple(told), rest=tuple(at for at in places if at not in told)))
    return made


def more_of_a_kind(times_s: Sequence[float], lang: str) -> str:
    """That there is more of a kind, and between which times."""
    facts = {"count": len(times_s), "from_s": min(times_s), "to_s": max(times_s)}
    return say("letter", "more-of-a-kind.one" if len(times_s) == 1 else "more-of-a-kind.many", lang, facts)


def _weight(finding: Finding) -> tuple[float, float]:
    """What makes one of many worth telling: how much of it there is, then how long it lasts."""
    return abs(finding.value or 0.0), (finding.to_s or 0.0) - (finding.from_s or 0.0)
