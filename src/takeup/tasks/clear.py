"""``takeup clear``: a station's files go, each only under a whole receipt, unchanged, with its stored copy whole.

Stored captures in the box are never its business. What is kept is kept with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from takeup.box.covering import Capture, captures_of
from takeup.box.folder import Box, look_into, work_in
from takeup.errors import NotAllowedNow
from takeup.files.hash import hash_bytes, hash_fresh
from takeup.files.receipt import WholeReceipt, read_receipt
from takeup.files.remove import KeptInstead, look_at_source, remove_source
from takeup.settings import Settings
from takeup.tasks.ears import SILENT, Ears


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A station's file that stays; ``why`` is a key of ``words/answers``: ``clear.kept.<why>``."""

    file: Path
    why: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered:
    """A file on a station's own disk, for that station to look at and remove. Its receipt goes with it."""

    station: str
    path: str  # there
    sha256: str
    item: str
    stored: str
    receipt: str  # in the box
    receipt_sha256: str
    manifest_sha256: str


@dataclass(slots=True)
class Cleared:
    removed: list[Path] = field(default_factory=list)
    kept: list[Kept] = field(default_factory=list)
    ordered: list[Ordered] = field(default_factory=list)  # each is also among ``kept``: it is not gone yet


def clear(folder: Path, *, settings: Settings, ears: Ears = SILENT) -> Cleared:
    """Remove from the stations what receipts cover.

    Raises
    ------
    NotAllowedNow
        ``clear.no-receipt``, ``clear.receipt-damaged``: nothing was removed.
    """
    with work_in(folder, "clear", settings) as box:
        receipts = _whole_receipts(box)
        cleared = {(fact.facts.get("station", ""), fact.facts["source"]) for fact in box.record.facts("cleared")}
        gone = {source for station, source in cleared if not station}
        by_source: dict[str, list[Capture]] = {}
        elsewhere: list[Capture] = []
        for capture in captures_of(box.record.facts("taken")):
            if not capture.station:
                by_source.setdefault(capture.source, []).append(capture)
            elif (capture.station, capture.source) not in cleared:
                elsewhere.append(capture)
        answer = Cleared()
        total = sum(2 * captures[-1].bytes for captures in by_source.values()) + sum(one.bytes for one in elsewhere)
        done = 0

        def heard(count: int) -> None:
            nonlocal done
            done += count
            ears.progress(box.name, done, total, "bytes")

        for source, captures in by_source.items():
            path = Path(source)
            try:
                if source in gone and not path.exists():
                    continue
                _clear_one(box, path, captures, receipts, heard)
                answer.removed.append(path)
            except KeptInstead as stop:
                if stop.why == "gone":
                    ears.note("clear.gone", path=source)
                    _remember_gone(box, path, captures, receipts)
                else:
                    answer.kept.append(Kept(file=path, why=stop.why, facts=stop.facts))
        for capture in elsewhere:
            _order_one(box, capture, receipts, heard, answer)
        return answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What clearing would do, before anything is done: files that would go (station, path, bytes), files that stay."""

    going: tuple[tuple[str, str, int], ...] = ()
    staying: tuple[Kept, ...] = ()


def clearing_outlook(folder: Path, settings: Settings) -> Outlook:
    """What ``clear`` would remove now and what would stay and why, by the record and a look at each file's size.

    Reads only, and no file whole: ``clear`` itself reads every byte again before it removes one.
    """
    box = look_into(folder, settings)
    found = [
        read_receipt(box.path(fact.facts["receipt"]), fact.facts["receipt_sha256"], fact.facts["manifest_sha256"])
        for fact in box.record.latest("delivered")
    ]
    receipts = [receipt for receipt in found if receipt is not None]
    cleared = {(fact.facts.get("station", ""), fact.facts["source"]) for fact in box.record.facts("cleared")}
    by_source: dict[tuple[str, str], list[Capture]] = {}
    for capture in captures_of(box.record.facts("taken")):
        by_source.setdefault((capture.station, capture.source), []).append(capture)
    going: list[tuple[str, str, int]] = []
    staying: list[Kept] = []
    for (station, source), captures in by_source.items():
        path = Path(source)
        is_there = path.exists() or path.is_symlink()
        if (station, source) in cleared and (station or not is_there):
            continue
        why = _would_stay(path, captures, receipts, is_there=bool(station) or is_there, here=not station)
        if why == "gone":
            continue
        if why:
            staying.append(Kept(file=path, why=why, facts={"item": captures[-1].item}))
        else:
            going.append((station, source, captures[-1].bytes))
    return Outlook(going=tuple(going), staying=tuple(staying))


def _would_stay(
    path: Path, captures: list[Capture], receipts: list[WholeReceipt], *, is_there: bool, here: bool
) -> str:
    """Why a station's file would stay; empty when it would go."""
    if not any(_receipt_for(capture, receipts) for capture in captures):
        return "not-delivered"
    if not is_there:
        return "gone"
    if here and path.is_symlink():
        return "link"
    if here and not path.is_file():
        return "not-a-file"
    if here and path.stat().st_size not in {capture.bytes for capture in captures}:
        return "changed"
    return ""


def _order_one(box: Box, capture: Capture, receipts: list[WholeReceipt], heard: Any, answer: Cleared) -> None:
    """A file on a station's own disk: nothing here touches it, whatever lies under that path on this computer."""
    path = Path(capture.source)
    receipt = _receipt_for(capture, receipts)
    if receipt is None:
        answer.kept.append(Kept(file=path, why="not-delivered", facts={"item": capture.item}))
        return
    try:
        _check_stored(box, capture, heard)
    except KeptInstead as stop:
        answer.kept.append(Kept(file=path, why=stop.why, facts=stop.facts))
        return
    written = receipt.path.read_bytes()
    answer.kept.append(Kept(file=path, why="at-station", facts={"station": capture.station}))
    answer.ordered.append(
        Ordered(
            station=capture.station, path=capture.source, sha256=capture.sha256, item=capture.item,
            stored=capture.stored, receipt=box.relative(receipt.path), receipt_sha256=hash_bytes(written),
            manifest_sha256=receipt.facts["manifest_sha256"],
        )
    )  # fmt: skip


def remember_cleared(folder: Path, settings: Settings, told: Ordered, *, gone: bool = False) -> None:
    """A station has removed a file of its own, or found it gone."""
    with work_in(folder, "clear", settings) as box:
        receipt = read_receipt(box.path(told.receipt), told.receipt_sha256, told.manifest_sha256)
        name = receipt.facts["receipt"] if receipt else told.receipt
        facts = {"source": told.path, "station": told.station, "sha256": told.sha256, "receipt": name}
        facts |= {"gone": True} if gone else {}
        box.record.append("cleared", facts, item=told.item, key=told.path)


def _whole_receipts(box: Box) -> list[WholeReceipt]:
    """The box's receipts that are to the byte what was written."""
    delivered = box.record.latest("delivered")
    if not delivered:
        raise NotAllowedNow("clear.no-receipt", path=str(box.folder))
    found = [
        read_receipt(box.path(fact.facts["receipt"]), fact.facts["receipt_sha256"], fact.facts["manifest_sha256"])
        for fact in delivered
    ]
    whole = [receipt for receipt in found if receipt is not None]
    if not whole:
        raise NotAllowedNow("clear.receipt-damaged", path=str(box.path(delivered[-1].facts["receipt"])))
    return whole


def _clear_one(box: Box, path: Path, captures: list[Capture], receipts: list[WholeReceipt], heard: Any) -> None:
    """Remove one station file, or say why it stays (by raising :class:`KeptInstead`)."""
    if not any(_receipt_for(capture, receipts) for capture in captures):
        _look_only(path)
        raise KeptInstead("not-delivered", item=captures[-1].item)
    if path.is_file() and not path.is_symlink() and path.stat().st_size not in {capture.bytes for capture in captures}:
        raise KeptInstead("changed")
    seen = look_at_source(path, heard)
    same = [capture for capture in captures if capture.sha256 == seen[0]]
    if not same:
        raise KeptInstead("changed")
    covered = [(capture, receipt) for capture in same if (receipt := _receipt_for(capture, receipts))]
    if not covered:
        raise KeptInstead("not-delivered", item=same[-1].item)
    capture, receipt = covered[-1]
    _check_stored(box, capture, heard)
    remove_source(path, receipt, seen)
    for one in {capture.item: capture for capture in same}.values():
        facts = {"source": str(path), "sha256": seen[0], "receipt": receipt.facts["receipt"]}
        box.record.append("cleared", facts, item=one.item, key=readable(path))


def _remember_gone(box: Box, path: Path, captures: list[Capture], receipts: list[WholeReceipt]) -> None:
    """A covered file that is gone was removed by a run that was stopped before it could say so, or by a person."""
    for capture in captures:
        if receipt := _receipt_for(capture, receipts):
            facts = {"source": str(path), "sha256": capture.sha256, "receipt": receipt.facts["receipt"], "gone": True}
            box.record.append("cleared", facts, item=capture.item, key=readable(path))


def readable(path: Path) -> str:
    """A path as text, whatever bytes are in it."""
    return str(path).encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _receipt_for(capture: Capture, receipts: Iterable[WholeReceipt]) -> WholeReceipt | None:
    """The receipt that names this very capture: the same place in the box and the same content."""
    for receipt in receipts:
        for named in receipt.facts["captures"]:
            if named["stored"] == capture.stored and named["sha256"] == capture.sha256:
                return receipt
    return None


def _look_only(path: Path) -> None:
    if not path.exists() and not path.is_symlink():
        raise KeptInstead("gone")


def _check_stored(box: Box, capture: Capture, heard: Any) -> None:
    """The copy in the box, read from its disk, is whole; else the station's file is the last one and stays."""
    stored = box.path(capture.stored)
    try:
        whole = hash_fresh(stored, hear=heard).sha256 == capture.sha256
    except OSError:
        whole = False
    if not whole:
        raise KeptInstead("stored-not-whole", stored=capture.stored)
