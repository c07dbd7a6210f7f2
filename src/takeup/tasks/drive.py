"""``takeup drive``: try a visitor's drive before any capture. Leaves nothing on it."""

from __future__ import annotations

import errno
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from takeup.errors import NotPossible
from takeup.files.trial import Trial, may_write, try_out
from takeup.files.volume import FileSystem, Room, kind_of, known_file_system, room_at, same_volume
from takeup.tables.rows import Rows
from takeup.tasks.ears import SILENT, Ears
from takeup.words.sentences import say

DriveVerdict = Literal["good", "look", "no"]
COMPUTERS = ("windows", "macos", "linux")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What is known of a drive after the trial."""

    folder: Path
    refusal: str  # the system's words when it may not be written; else empty
    kind: str
    file_system: FileSystem
    room: Room
    trial: Trial | None
    own_disk: bool  # the computer's own disk, no visitor's drive
    needed_bytes: int | None = None


def try_drive(folder: Path, rows: Rows, *, needed_bytes: int | None = None, ears: Ears = SILENT) -> Drive:
    """Look at a drive's folder and try it.

    Raises
    ------
    NotPossible
        ``drive.not-there`` when there is no such folder.
    """
    folder = check_there(folder)
    kind = kind_of(folder)
    file_system = known_file_system(kind, rows)
    refusal = may_write(folder)
    own_disk = is_own_disk(folder)
    room = room_at(folder)
    trial = None
    if not refusal:
        trial = try_out(
            folder, rows, spread=file_system.claims and not own_disk,
            hear=lambda done, total: ears.progress(str(folder), done, total, "bytes"),
        )  # fmt: skip
    return Drive(
        folder=folder,
        refusal=refusal,
        kind=kind,
        file_system=file_system,
        room=room,
        trial=trial,
        own_disk=own_disk,
        needed_bytes=needed_bytes,
    )


def check_there(folder: Path) -> Path:
    """The drive's folder as an absolute path.

    Raises
    ------
    NotPossible
        ``drive.not-there``, ``drive.not-a-folder``.
    """
    folder = folder.absolute()
    if not folder.exists():
        raise NotPossible("drive.not-there", path=str(folder))
    if not folder.is_dir():
        raise NotPossible("drive.not-a-folder", path=str(folder))
    return folder


def is_own_disk(folder: Path) -> bool:
    """Whether a folder lies on the disk the computer itself runs from."""
    return same_volume(folder, Path(os.environ.get("SYSTEMDRIVE", "C:") + "\\" if os.name == "nt" else "/"))


def reasons(drive: Drive, rows: Rows) -> list[tuple[DriveVerdict, str, dict[str, Any]]]:
    """What is to be said of a drive: verdict, key of ``words/answers`` ``drive.why.<key>``, facts; the worst first."""
    said: list[tuple[DriveVerdict, str, dict[str, Any]]] = []
    system, trial = drive.file_system, drive.trial
    if drive.refusal == os.strerror(errno.ENOSPC):
        said.append(("no", "full", {"free": drive.room.free}))
    elif drive.refusal:
        key = "read-only" if "ead-only" in drive.refusal else "not-writable"
        said.append(("no", key, {"error": drive.refusal}))
    if trial and trial.holds is False:
        said.append(("no", "broke-off" if trial.trouble else "does-not-hold", {"error": trial.trouble}))
    if trial and trial.holds is None:
        said.append(("no", "full", {"free": drive.room.free}))
    if drive.needed_bytes is not None and drive.needed_bytes > drive.room.free:
        said.append(("no", "too-small", {"needed": drive.needed_bytes, "free": drive.room.free}))
    if system.file_bytes:
        said.append(("look", "file-limit", {"name": system.name, "limit": system.file_bytes}))
    unread = [computer for computer in COMPUTERS if computer not in system.reads]
    if system.key == "memory":
        said.append(("look", "memory", {}))
    elif drive.own_disk:
        said.append(("look", "own-disk", {}))
    elif not system.key:
        said.append(("look", "unknown-file-system", {"name": drive.kind or "?"}))
    elif unread and system.key:
        said.append(("look", "not-every-computer", {"name": system.name, "computers": unread}))
    if trial and trial.write_bytes_s and trial.write_bytes_s < rows.value("drives.trial.slow_bytes_s"):
        said.append(("look", "slow", {"speed": trial.write_bytes_s}))
    if trial and trial.holds and not trial.spread_bytes and not drive.own_disk and system.key != "memory":
        said.append(("good", "only-part-tried", {"tried": trial.tried_bytes, "free": drive.room.free}))
    return sorted(said, key=lambda reason: ("no", "look", "good").index(reason[0]))


def drive_document(drive: Drive, rows: Rows, lang: str) -> dict[str, Any]:
    """The answer: every figure in bytes; a figure that could not be taken is null."""
    said, trial = reasons(drive, rows), drive.trial
    verdict = said[0][0] if said else "good"
    system = drive.file_system
    return {
        "drive": str(drive.folder),
        "writable": not drive.refusal,
        "filesystem": system.name or None,
        "longest_file_bytes": system.file_bytes,
        "total_bytes": drive.room.total,
        "free_bytes": drive.room.free,
        "holds": trial.holds if trial else None,
        "tried_bytes": trial.tried_bytes if trial else 0,
        "tried_over_bytes": (trial.spread_bytes or trial.tried_bytes) if trial else 0,
        "write_bytes_per_second": round(trial.write_bytes_s) if trial and trial.write_bytes_s else None,
        "read_bytes_per_second": round(trial.read_bytes_s) if trial and trial.read_bytes_s else None,
        "read_back_how": say("answers", f"read-back.{trial.how}", lang) if trial and trial.holds is not None else None,
        "reads": list(system.reads) if system.key else None,
        "writes": list(system.writes) if system.key else None,
        "verdict": verdict,
        "why": [say("answers", f"drive.why.{key}", lang, facts) for _, key, facts in said],
        "do": say("answers", f"drive.do.{verdict}", lang),
    }
