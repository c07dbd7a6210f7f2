"""What the system says of the place where a folder lies: its file system, its room, whether it may be written."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSystem:
    """A file system's row: its name as people know it, longest file [bytes] (None: no limit that matters), readers."""

    key: str
    name: str
    file_bytes: int | None
    reads: tuple[str, ...]
    writes: tuple[str, ...]
    claims: bool = False  # room for a file without filling it: blocks can be spread over a drive quickly


@dataclass(frozen=True, slots=True)
class Room:
    """Room on a volume [bytes]; ``free`` is what this user may use."""

    free: int
    total: int


def room_at(path: Path) -> Room:
    """The room on the volume that holds ``path``."""
    usage = shutil.disk_usage(path)
    return Room(usage.free, usage.total)


def unit_at(path: Path, fallback: int) -> int:
    """The unit in which the volume gives out room [bytes]: every file takes whole ones."""
    if not hasattr(os, "statvfs"):
        return fallback
    state = os.statvfs(path)
    return state.f_frsize or state.f_bsize or fallback


def kind_of(path: Path) -> str:
    """The file system's name as the system spells it, in lower case; ``""`` when it does not say."""
    if sys.platform == "win32":
        return _kind_on_windows(path)
    if sys.platform == "darwin":
        return _kind_from_mount(path)
    return _kind_from_table(Path(path), "/proc/self/mountinfo")


def known_file_system(kind: str, rows: Rows) -> FileSystem:
    """The row of a file system by any of its names; key ``""`` and nothing known for one that no row knows.

    Driver names that go through user space (``fuseblk`` for NTFS and exFAT) do not tell which it is.
    """
    for section in rows.names("drives"):
        if not section.startswith("filesystem."):
            continue
        row = rows.section(f"drives.{section}")
        if kind.casefold() in row["known_as"]:
            return FileSystem(
                key=section.removeprefix("filesystem."),
                name=row["name"] or kind,
                file_bytes=row["file_bytes"] or None,
                reads=tuple(row["reads"]),
                writes=tuple(row["writes"]),
                claims=row.get("claims", False),
            )
    return FileSystem(key="", name=kind, file_bytes=None, reads=(), writes=())


def same_volume(first: Path, second: Path) -> bool:
    """Whether two places lie on one volume, so that one broken disk would take both."""
    try:
        return os.stat(first).st_dev == os.stat(second).st_dev
    except OSError:
        return False


def _kind_from_table(path: Path, table: str) -> str:
    """Linux: the mount table's row for the device that holds the path; of several the last mounted."""
    try:
        device = os.stat(path).st_dev
        lines = Path(table).read_text("utf-8", "surrogateescape").splitlines()
    except OSError:
        return ""
    wanted = f"{os.major(device)}:{os.minor(device)}"
    kind = ""
    for line in lines:
        before, _, after = line.partition(" - ")
        if before.split()[2] == wanted:
            kind = after.split()[0]
    return kind or _kind_by_longest_path(path, lines)


def _kind_by_longest_path(path: Path, lines: list[str]) -> str:
    """Some file systems (btrfs) give files another device number than their mount: the deepest mount point decides."""
    real = os.path.realpath(path)
    deepest, kind = -1, ""
    for line in lines:
        before, _, after = line.partition(" - ")
        point = before.split()[4].encode("utf-8", "surrogateescape").decode("unicode_escape", "ignore")
        inside = point == "/" or real == point or real.startswith(point + "/")
        if inside and len(point) >= deepest:
            deepest, kind = len(point), after.split()[0]
    return kind


def _kind_from_mount(path: Path) -> str:
    """macOS: the ``mount`` program's line for the path's volume: ``/dev/disk4s1 on /Volumes/X (exfat, local, ...)``."""
    point = Path(os.path.realpath(path))
    while not os.path.ismount(point) and point != point.parent:
        point = point.parent
    try:
        listing = subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=10, check=False).stdout
    except (OSError, subprocess.TimeoutExpired):
        return ""
    for line in listing.splitlines():
        if f" on {point} (" in line:
            return line.rpartition("(")[2].split(",")[0].strip(")").casefold()
    return ""


def _kind_on_windows(path: Path) -> str:
    import ctypes

    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined]
    root = ctypes.create_unicode_buffer(261)
    name = ctypes.create_unicode_buffer(261)
    if not kernel.GetVolumePathNameW(str(Path(path).absolute()), root, 261):
        return ""
    if not kernel.GetVolumeInformationW(root.value, None, 0, None, None, None, name, 261):
        return ""
    return name.value.casefold()
