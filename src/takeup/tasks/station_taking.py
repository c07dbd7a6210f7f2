"""A whole capture of a station comes into its box: from where its pieces were gathered, or from where it lies."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from takeup import __version__
from takeup.errors import TakeupError
from takeup.files.names import safe_name
from takeup.files.pieces import into_place, let_go, lie_here, part_of, whole_of
from takeup.files.station import Seen, look
from takeup.lab import live
from takeup.lab.port import Lab, one
from takeup.lab.schema import BOX, CAPTURE
from takeup.pages.capture import capture_picture
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check import remember_report
from takeup.tasks.picture import places_of
from takeup.tasks.reporting import report_from
from takeup.tasks.station_told import Heard, original_in
from takeup.tasks.take import Origin, take
from takeup.tasks.watch_capture import fault_facts
from takeup.tasks.watch_words import in_both, why_of

INCOMING = "incoming"
SAME_TIME_NS = 2_000_000_000  # a network disk may round the time of change to two seconds
MOST_AHEAD_BYTES = 256_000_000  # written since the station last said how long its file is
CLOCKS_APART_NS = 120_000_000_000  # a file server's clock and the desk's
PASSING = ("disk.full", "disk.cannot-write", "take.no-room", "box.in-use", "copy.differs")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a capture: what pages hear, and whether the box must still be checked."""

    heard: tuple[Heard, ...] = ()
    check_box_id: int | None = None
    check_item: str = ""
    again: str = ""  # not yet: the reason's key


def received(home: Path, row: dict[str, Any]) -> int:
    """How many proved bytes of a capture lie at the desk, in pieces or put together."""
    whole = gathered(home, row)
    if whole is not None:
        return int(row["bytes"])
    return lie_here(part_of(home / INCOMING, row["id"]), int(row["received"]))


def lies_here(home: Path, row: dict[str, Any]) -> Path | None:
    """The station's own file, when this computer reads the very same path: one disk shared by the lab."""
    path, seen = _seen_here(home, row)
    if seen is None or seen.bytes != row["bytes"]:
        return None
    return path if abs(seen.modified_ns - row["facts"].get("modified_ns", 0)) <= SAME_TIME_NS else None


def grows_here(home: Path, row: dict[str, Any], told_bytes: int) -> tuple[Path, int] | None:
    """The same of a file that is being written, and how long it is: one that is as long as the station just said."""
    path, seen = _seen_here(home, row)
    if seen is None or not 0 < told_bytes <= seen.bytes <= told_bytes + MOST_AHEAD_BYTES:
        return None
    begun_ns = datetime.fromisoformat(row["begun_at"]).timestamp() * 1e9
    return (path, seen.bytes) if seen.modified_ns >= begun_ns - CLOCKS_APART_NS else None


def _seen_here(home: Path, row: dict[str, Any]) -> tuple[Path, Seen | None]:
    """What lies at the station's path on this computer; nothing where it can be no file of a station's."""
    path = row["facts"].get("path", "")
    if not path or row["facts"].get("not_shared") or not os.path.isabs(path) or os.path.normpath(path) != path:
        return Path(), None
    try:
        inside = home.resolve() in Path(path).resolve().parents
        seen = look(Path(path))
    except (OSError, ValueError):
        return Path(), None
    return Path(path), seen if isinstance(seen, Seen) and not inside else None


def take_in(lab: Lab, home: Path, settings: Settings, capture_id: str) -> Outcome:
    """Bring a whole capture into its box, prove it against the station's SHA-256, remember the check made there.

    Doing it twice changes nothing. Without an item it waits.
    """
    with lab.reading() as db:
        row = live.capture(db, capture_id)
        box = one(db, BOX, BOX.c.id == row["box_id"]) if row and row["box_id"] else None
    if row is None or row["state"] in ("taken", "lost", "growing") or not row["sha256"]:
        return Outcome()
    shared = lies_here(home, row)
    source = shared or _put_together(home, row)
    if source is None or box is None or not row["item"]:
        return Outcome()
    folder = home / "boxes" / box["folder"]
    origin = Origin(
        station="" if shared else row["station_id"], source=row["facts"]["path"], part=row["part"],
        modified_ns=source.stat().st_mtime_ns if shared else row["facts"].get("modified_ns", 0), sha256=row["sha256"],
    )  # fmt: skip
    try:
        answer = take(folder, [source], rows=load_rows(), settings=settings, item=row["item"], origin=origin)
    except TakeupError as error:
        if error.key in PASSING:
            return Outcome(again=error.key)
        return _refused(lab, row, {"fault": fault_facts(error)})
    if answer.refused:
        refused = answer.refused[0]
        if refused.why == "growing":
            return Outcome(again="growing")
        if refused.why == "other-bytes":
            _from_the_beginning(lab, home, row, shared=shared is not None)
            return Outcome(again="other-bytes")
        facts = {name: str(fact) for name, fact in refused.facts.items()}
        return _refused(lab, row, {"refused": refused.why, "facts": facts})
    taken = answer.taken[0]
    trusted = _remember(folder, settings, row, taken.stored, taken.item)
    outcome = _taken(lab, row, box, folder, taken, trusted)
    if shared is None:
        let_go(home / INCOMING, capture_id)
    return outcome


def _from_the_beginning(lab: Lab, home: Path, row: dict[str, Any], *, shared: bool) -> None:
    """What lies here is not what the station measured: it is sent (again). A like path here was not the station's."""
    let_go(home / INCOMING, row["id"])
    with lab.writing() as db:
        live.note_received(db, row["id"], 0)
        if shared:
            facts = row["facts"] | {"not_shared": True}
            db.execute(CAPTURE.update().where(CAPTURE.c.id == row["id"]).values(facts=facts))


def gathered(home: Path, row: dict[str, Any]) -> Path | None:
    """The file put together of its pieces, if it was."""
    path = whole_of(home / INCOMING, row["id"], safe_name(row["name"]))
    return path if path.is_file() and path.stat().st_size == row["bytes"] else None


def _put_together(home: Path, row: dict[str, Any]) -> Path | None:
    part = part_of(home / INCOMING, row["id"])
    if (whole := gathered(home, row)) is not None:
        return whole
    if lie_here(part, row["received"]) != row["bytes"]:
        return None
    return into_place(part, whole_of(home / INCOMING, row["id"], safe_name(row["name"])))


def _remember(folder: Path, settings: Settings, row: dict[str, Any], stored: Path, item: str) -> bool:
    """Whether the check that the station made could be remembered in the box."""
    facts = row["facts"]
    if not facts.get("report") or facts.get("by") != __version__:
        return False
    try:
        return remember_report(
            folder, settings, stored=stored, sha256=row["sha256"], carrier=facts["carrier"],
            report=report_from(facts["report"]),
        )  # fmt: skip
    except (TakeupError, KeyError, TypeError, ValueError):
        return False


def _taken(lab: Lab, row: dict, box: dict, folder: Path, taken: Any, trusted: bool) -> Outcome:
    stored = taken.stored.relative_to(folder).as_posix()
    facts = {
        "capture": row["id"], "box": box["number"], "item": taken.item, "part": row["part"], "stored": stored,
        "bytes": taken.bytes, "sha256": taken.sha256, "already": taken.already,
    }  # fmt: skip
    with lab.writing() as db:
        changed = CAPTURE.update().where(CAPTURE.c.id == row["id"], CAPTURE.c.sha256 == row["sha256"])
        if not db.execute(
            changed.values(state="taken", stored=stored, received=row["bytes"], version=CAPTURE.c.version + 1)
        ).rowcount:
            return Outcome()  # it began again meanwhile
        seq = live.note_event(db, row["station_id"], "taken", facts, capture_id=row["id"])
    return Outcome(heard=(("taken", facts, seq),), check_box_id=None if trusted else box["id"], check_item=taken.item)


def _refused(lab: Lab, row: dict[str, Any], why: dict[str, Any]) -> Outcome:
    words = in_both(lambda lang: why_of("refused", why, lang))
    facts = {"capture": row["id"], "words": words}
    with lab.writing() as db:
        changed = CAPTURE.update().where(CAPTURE.c.id == row["id"])
        db.execute(changed.values(state="refused", why=words["en"], version=CAPTURE.c.version + 1))
        seq = live.note_event(db, row["station_id"], "refused", facts, capture_id=row["id"])
    return Outcome(heard=(("refused", facts, seq),))


def picture_of(row: dict[str, Any], boxes: Path, box: dict[str, Any] | None, settings: Settings, lang: str) -> str:
    """The picture of a capture (SVG) from the report that its station sent; empty before that has come."""
    facts = row["facts"]
    if not facts.get("report"):
        return ""
    original = original_in(boxes / box["folder"], row["item"], settings) if box else None
    report = report_from(facts["report"])
    shown = original or Original(id=row["item"] or row["name"][:40], carrier=facts["carrier"])
    return capture_picture(report, shown, places_of(report, lang), lang, file=row["name"], glass=None)
