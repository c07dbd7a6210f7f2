"""An item's captures and finished files as the record tells of them."""

from __future__ import annotations

from takeup.box.choosing import Candidate
from takeup.box.deciding import said_of
from takeup.box.folder import Box
from takeup.box.record import Fact
from takeup.tasks.finishing import Made
from takeup.tasks.reporting import report_from


def candidates_of(box: Box, item: str) -> list[Candidate]:
    """An item's captures as the record tells of them, in the order they were taken."""
    checked = {fact.key: fact for fact in box.record.latest("checked", item)}
    decided = box.record.latest("decided", item)
    candidates = []
    for fact in box.record.latest("taken", item):
        stored, digest = fact.facts["stored"], fact.facts["sha256"]
        known = checked.get(stored)
        known = known if known is not None and known.facts.get("sha256") == digest else None
        candidates.append(
            Candidate(
                stored=stored,
                part=fact.facts.get("part", ""),
                sha256=digest,
                report=report_from(known.facts["report"]) if known else None,
                repeats=known.facts.get("repeats", "") if known else "",
                modified_ns=fact.facts.get("modified_ns"),
                said=said_of(decided, stored, digest),
            )
        )
    return candidates


def made_from(box: Box, fact: Fact) -> Made:
    """A finished file as the record holds it."""
    facts = fact.facts
    return Made(
        path=box.path(facts["path"]),
        role=facts["role"],
        from_=tuple(box.path(stored) for stored in facts["from"]),
        settings=facts["settings"],
        picture=facts.get("picture", ""),
        title=facts.get("title", ""),
        size=tuple(facts["size"]) if facts.get("size") else None,  # type: ignore[arg-type]
        seconds=facts.get("seconds"),
        notes=tuple((key, said) for key, said in facts.get("notes", ())),
        part=facts.get("part", ""),
        tagged=True,
    )
