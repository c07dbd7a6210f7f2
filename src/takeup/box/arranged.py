"""Whether a scan's finished pictures are cut as a person last arranged them. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from takeup.box.record import Fact
from takeup.plan.arranging import Placed, mark_of, placed_from


def arranged_of(arranged: Iterable[Fact], stored: str, sha256: str) -> tuple[Placed, ...] | None:
    """The pictures of a scan as a person arranged them; None where nobody did, or the scan is another one now."""
    last = max((fact for fact in arranged if fact.key == stored), key=lambda fact: fact.seq, default=None)
    if last is None or last.facts.get("sha256") != sha256 or last.facts.get("as_found"):
        return None
    return placed_from(last.facts["pictures"])


def is_cut_so(pictures: Sequence[Placed], stored: str, made: Iterable[Fact]) -> bool:
    """Whether the files made of a scan hold just these pictures.

    Where none of its files is cut (a master alone, of a scan that is not cut without loss) there is nothing to compare.
    """
    mine = [fact for fact in made if fact.facts.get("from") == [stored]]
    marks = {fact.facts["settings"]["arranged"] for fact in mine if fact.facts.get("settings", {}).get("arranged")}
    wanted = {mark_of(one) for one in pictures if not one.gone}
    copies = any(fact.facts.get("role") == "copy" for fact in mine)
    return marks == wanted or (not marks and not copies)
