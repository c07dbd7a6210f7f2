"""``takeup deliver``: the parcel goes onto a visitor's drive, is read back from it, and gets its receipt."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from takeup.box.covering import captures_of, covered_by
from takeup.box.folder import PARCEL, RECEIPTS, Box, work_in
from takeup.box.record import Fact
from takeup.errors import NotAllowedNow, NotPossible
from takeup.files.beside import write_bytes
from takeup.files.names import folded, numbered, safe_name
from takeup.files.parcel_copy import Piece, Progress, copy_pieces, missing_at, pieces_of, place_on
from takeup.files.receipt import KIND, read_receipt, receipt_bytes
from takeup.files.volume import kind_of, known_file_system, room_at, unit_at
from takeup.pages.receipt import receipt_page
from takeup.settings import Settings
from takeup.tables.rows import Rows
from takeup.tasks.drive import check_there
from takeup.tasks.ears import SILENT, Ears
from takeup.words.sentences import say


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """A parcel on a drive, read back, with its receipt."""

    parcel: Path  # on the drive
    drive: Path
    files: int  # of the payload
    bytes: int
    how: str  # key of words/answers read-back
    receipt: Path  # in the box
    copied: int  # files written by this run
    kept: int  # files that an earlier run had written, read back by this one


def deliver(
    folder: Path, drive: Path, *, rows: Rows, settings: Settings, lang: str = "en", ears: Ears = SILENT
) -> Delivered:
    """Copy the box's parcel to a drive folder, read it back from the drive, write the receipt.

    Raises
    ------
    NotAllowedNow
        ``deliver.not-packed``.
    NotPossible
        ``drive.not-there``, ``deliver.drive-in-box``, ``deliver.no-room``, ``deliver.file-too-big``,
        ``deliver.parcel-changed``, or the drive's refusal: before or while copying; what is whole stays and the next
        run goes on there.
    CopyDiffers
        ``deliver.differs``: no receipt.
    """
    drive = check_there(drive)
    with work_in(folder, "deliver", settings) as box:
        packed = standing_parcel(box)
        parcel = box.path(packed.facts["parcel"])
        if box.folder.resolve() in (drive.resolve(), *drive.resolve().parents):
            raise NotPossible("deliver.drive-in-box", path=str(drive))
        pieces = pieces_of(parcel, packed.facts["manifest_sha256"])
        _check_longest(drive, pieces, rows)
        target = place_on(drive, parcel_name(box, parcel), packed.facts["manifest_sha256"])
        progress, heard = Progress(), _Heard(ears, str(drive), sum(piece.bytes for piece in pieces))
        todo = missing_at(target, pieces, progress, heard.there)
        heard.copying(sum(piece.bytes for piece in todo))
        _check_room(drive, todo, rows)
        copy_pieces(parcel, target, todo, progress, heard.both)
        receipt = _standing_receipt(box, packed, drive, target) or _write_receipt(
            box, packed, drive, target, pieces, progress, lang
        )
        return Delivered(
            parcel=target,
            drive=drive,
            files=packed.facts["files"],
            bytes=packed.facts["bytes"],
            how=progress.how,
            receipt=receipt,
            copied=progress.copied,
            kept=progress.kept,
        )


def standing_parcel(box: Box) -> Fact:
    """The last parcel packed, which must lie in the box.

    Raises
    ------
    NotAllowedNow
        ``deliver.not-packed``.
    """
    packed = box.record.facts("packed")
    if not packed or not box.path(packed[-1].facts["parcel"]).is_dir():
        raise NotAllowedNow("deliver.not-packed", path=str(box.folder))
    return packed[-1]


def parcel_name(box: Box, parcel: Path) -> str:
    """The folder's name on a drive: the parcel's own, or the box's where the parcel has none of its own."""
    return safe_name(box.name) if parcel.name == PARCEL else parcel.name


def _check_longest(drive: Path, pieces: Sequence[Piece], rows: Rows) -> None:
    system = known_file_system(kind_of(drive), rows)
    longest = max(pieces, key=lambda piece: piece.bytes)
    if system.file_bytes and longest.bytes > system.file_bytes:
        raise NotPossible(
            "deliver.file-too-big", path=longest.path, bytes=longest.bytes, name=system.name, limit=system.file_bytes
        )


def _check_room(drive: Path, todo: Sequence[Piece], rows: Rows) -> None:
    """Room for what is missing, each file in whole units of the drive, and for the receipt beside it."""
    if not todo:
        return
    unit = unit_at(drive, rows.value("drives.look.unit_bytes"))
    needed = sum(-(-piece.bytes // unit) * unit for piece in todo)
    receipt = rows.value("drives.look.receipt_bytes") + len(todo) * rows.value("drives.look.receipt_line_bytes")
    free = room_at(drive).free
    if needed + receipt > free:
        raise NotPossible("deliver.no-room", path=str(drive), needed_bytes=needed + receipt, free_bytes=free)


class _Heard:
    """Bytes heard so far: what was there is read once, what is copied is written and read."""

    def __init__(self, ears: Ears, what: str, total: int) -> None:
        self.ears, self.what, self.total, self.done = ears, what, total, 0

    def there(self, count: int) -> None:
        self.done += count
        self.ears.progress(self.what, self.done, self.total, "bytes")

    def copying(self, todo: int) -> None:
        self.total = self.done + 2 * todo

    def both(self, count: int) -> None:
        self.there(count)


def _standing_receipt(box: Box, packed: Fact, drive: Path, target: Path) -> Path | None:
    """The receipt of an earlier run for this parcel on this very drive, when both its copies are whole."""
    for fact in reversed(box.record.facts("delivered")):
        facts = fact.facts
        if fact.seq < packed.seq or facts["manifest_sha256"] != packed.facts["manifest_sha256"]:
            continue
        receipt = read_receipt(box.path(facts["receipt"]), facts["receipt_sha256"], facts["manifest_sha256"])
        beside_it = read_receipt(drive_receipt(target), facts["receipt_sha256"], facts["manifest_sha256"])
        if receipt and beside_it:
            return receipt.path
    return None


def drive_receipt(target: Path, ending: str = "json") -> Path:
    """The receipt's place on the drive: beside the parcel, never in it."""
    return target.with_name(f"{target.name}-receipt.{ending}")


def _write_receipt(
    box: Box, packed: Fact, drive: Path, target: Path, pieces: Sequence[Piece], progress: Progress, lang: str
) -> Path:
    now = datetime.now(UTC)
    there = (
        {folded(path.stem) for path in (box.folder / RECEIPTS).glob("*")} if (box.folder / RECEIPTS).is_dir() else set()
    )
    name = numbered(safe_name(f"receipt-{now:%Y-%m-%d-%H%M%S}"), there)
    covered = covered_by(captures_of(box.record.facts("taken")), packed)
    captures = [
        {"item": one.capture.item, "stored": one.capture.stored, "sha256": one.capture.sha256, "how": one.how}
        for one in covered
    ]
    facts: dict[str, Any] = {
        "kind": KIND,
        "receipt": name,
        "box": box.name,
        "date": now.isoformat(timespec="seconds"),
        "drive": str(drive),
        "folder": target.name,
        "parcel": target.name,
        "files": packed.facts["files"],
        "bytes": packed.facts["bytes"],
        "algorithms": packed.facts["algorithms"],
        "manifest_sha256": packed.facts["manifest_sha256"],
        "read_back": True,
        "how": progress.how,
        "read_back_how": say("answers", f"read-back.{progress.how}", lang),
        "contents": [{"path": piece.path, "bytes": piece.bytes, "sha256": piece.sha256} for piece in pieces],
        "captures": captures,
    }
    data = receipt_bytes(facts)
    path = box.folder / RECEIPTS / f"{name}.json"
    page = receipt_page(facts, lang).encode("utf-8")
    write_bytes(path.with_suffix(".html"), page)
    write_bytes(drive_receipt(target, "html"), page)
    write_bytes(path, data)
    write_bytes(drive_receipt(target), data)
    sources = {one.capture.stored: one.capture.source for one in covered}
    fact = {
        "receipt": box.relative(path),
        "receipt_sha256": hashlib.sha256(data).hexdigest(),
        "drive": str(drive),
        "folder": target.name,
        "manifest_sha256": packed.facts["manifest_sha256"],
        "files": packed.facts["files"],
        "bytes": packed.facts["bytes"],
        "how": progress.how,
        "captures": [capture | {"source": sources[capture["stored"]]} for capture in captures],
    }
    box.record.append("delivered", fact, key=fact["receipt"])
    return path
