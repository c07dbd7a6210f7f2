"""Which captures a parcel stands for, so that a receipt for it lets their station files go. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from takeup.box.record import Fact


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """One stored capture as the record tells of it."""

    item: str
    stored: str
    source: str
    sha256: str
    bytes: int
    part: str
    first_seq: int  # when this content was first taken
    station: str = ""  # whose disk the source is a path of; empty: this computer's


@dataclass(frozen=True, slots=True)
class Covered:
    """A capture that a parcel stands for: it is in it or was made into it, or a later try of the same part was."""

    capture: Capture
    how: Literal["in-parcel", "later-try"]


def captures_of(taken: Sequence[Fact]) -> list[Capture]:
    """The standing captures of a box, from all its ``taken`` facts in their order."""
    first: dict[tuple[str, str, str], int] = {}
    standing: dict[tuple[str, str], Fact] = {}
    for fact in taken:
        first.setdefault((fact.item, fact.key, fact.facts["sha256"]), fact.seq)
        standing[fact.item, fact.key] = fact
    return [
        Capture(
            item=fact.item,
            stored=fact.facts["stored"],
            source=fact.facts["source"],
            sha256=fact.facts["sha256"],
            bytes=fact.facts["bytes"],
            part=fact.facts.get("part", ""),
            first_seq=first[fact.item, fact.key, fact.facts["sha256"]],
            station=fact.facts.get("station", ""),
        )
        for fact in standing.values()
    ]


def covered_by(captures: Sequence[Capture], packed: Fact) -> list[Covered]:
    """The captures that were taken before a parcel was packed and that it stands for.

    In the parcel: a file of it was made from the capture, or is the capture. Later try: the same part of the same item
    was captured again later, and that one is in the parcel. All others are left to the station.
    """
    contents: list[dict[str, Any]] = packed.facts["contents"]
    made_from = {stored for entry in contents for stored in entry.get("from", ())}
    same = {(entry.get("item", ""), entry["sha256"]) for entry in contents}
    before = [capture for capture in captures if capture.first_seq < packed.seq]
    inside = [c for c in before if c.stored in made_from or (c.item, c.sha256) in same]
    latest: dict[tuple[str, str], int] = {}
    for capture in inside:
        key = (capture.item, capture.part)
        latest[key] = max(latest.get(key, 0), capture.first_seq)
    covered = [Covered(capture, "in-parcel") for capture in inside]
    for capture in before:
        if capture not in inside and capture.first_seq < latest.get((capture.item, capture.part), 0):
            covered.append(Covered(capture, "later-try"))
    return covered
