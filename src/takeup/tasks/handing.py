"""Where a box stands on its way home, read from its record: what is made, packed, delivered, still at the stations."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.box.folder import look_into
from takeup.errors import TakeupError
from takeup.files.receipt import read_receipt
from takeup.settings import Settings
from takeup.tasks.clear import Outlook, clearing_outlook, readable
from takeup.tasks.plan import plan, plan_answer

REMAKES = ("made", "described")  # what changes a parcel when it is packed again


@dataclass(frozen=True, slots=True, kw_only=True)
class Handed:
    """One delivery: where to, what, and whether its receipt is still as it was written."""

    receipt: str
    drive: str
    folder: str
    files: int
    bytes: int
    at: str
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OnItsWay:
    """A box's record, as the page of handing over needs it."""

    made_files: int
    made_bytes: int
    masters_bytes: int
    packed: dict[str, Any] | None  # files, bytes, missing, at
    copies_only: bool
    stale: bool
    handed: tuple[Handed, ...]
    outlook: Outlook
    removed: int  # files of stations that are gone for good


def on_its_way(folder: Path, settings: Settings) -> OnItsWay:
    """Read it all; nothing is changed."""
    box = look_into(folder, settings)
    made = [fact for fact in box.record.latest("made") if not fact.facts.get("gone")]
    packs = box.record.facts("packed")
    packed = packs[-1] if packs and box.path(packs[-1].facts["parcel"]).is_dir() else None
    later = [fact.seq for what in REMAKES for fact in box.record.latest(what)]
    masters = [fact.facts["bytes"] for fact in made if fact.facts["role"] == "master"]
    roles = {entry.get("role") for entry in packed.facts["contents"]} if packed else set()
    return OnItsWay(
        made_files=len(made),
        made_bytes=sum(fact.facts["bytes"] for fact in made),
        masters_bytes=sum(masters),
        packed=packed.facts | {"at": packed.at} if packed else None,
        copies_only=bool(packed and masters and "master" not in roles),
        stale=bool(packed and any(seq > packed.seq for seq in later)),
        handed=tuple(_handed(box, fact) for fact in box.record.latest("delivered")),
        outlook=clearing_outlook(folder, settings),
        removed=len({(fact.facts.get("station", ""), fact.facts["source"]) for fact in box.record.facts("cleared")}),
    )


def _handed(box: Any, fact: Any) -> Handed:
    facts = fact.facts
    whole = read_receipt(box.path(facts["receipt"]), facts["receipt_sha256"], facts["manifest_sha256"]) is not None
    return Handed(
        receipt=Path(facts["receipt"]).stem, drive=facts["drive"], folder=facts.get("folder", ""),
        files=facts["files"], bytes=facts["bytes"], at=fact.at, whole=whole,
    )  # fmt: skip


def needed_bytes(folder: Path, settings: Settings, stands: OnItsWay) -> int | None:
    """Room a drive must have: the parcel's, else what is finished, else what is planned; None: nobody knows yet."""
    return room_needed(folder, settings, int(stands.packed["bytes"]) if stands.packed else 0, stands.made_bytes)


def room_needed(folder: Path, settings: Settings, packed_bytes: int, made_bytes: int) -> int | None:
    """The same from the figures: 0 where nothing is packed, or made."""
    if packed_bytes or made_bytes:
        return packed_bytes or made_bytes
    try:
        return plan_answer(plan(folder, settings), "en")["drive"]["bytes"] or None
    except TakeupError:
        return None


def receipt_facts(folder: Path, settings: Settings, name: str) -> dict[str, Any] | None:
    """The receipt of that name as it was written; None when the box has none, or it is not whole any more."""
    box = look_into(folder, settings)
    for fact in box.record.latest("delivered"):
        if Path(fact.facts["receipt"]).stem == name:
            path = box.path(fact.facts["receipt"])
            whole = read_receipt(path, fact.facts["receipt_sha256"], fact.facts["manifest_sha256"])
            return whole.facts | {"path": str(path)} if whole else None
    return None


__all__ = ["Handed", "OnItsWay", "needed_bytes", "on_its_way", "readable", "receipt_facts", "room_needed"]
