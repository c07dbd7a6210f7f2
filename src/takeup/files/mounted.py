"""Drives that are plugged into this computer, as folders: what staff choose a visitor's drive from."""

from __future__ import annotations

import os
import string
import sys
from dataclasses import dataclass
from pathlib import Path

from takeup.files.volume import room_at, same_volume

PLACES = ("/media/", "/run/media/", "/mnt/", "/Volumes/")  # where systems put what is plugged in
REMOVABLE = 2  # GetDriveTypeW: DRIVE_REMOVABLE
FIXED = 3  # DRIVE_FIXED: large drives on a cable say so


@dataclass(frozen=True, slots=True, kw_only=True)
class Mounted:
    """One drive: its folder, its name there, what is free on it [bytes] and its whole size."""

    folder: Path
    name: str
    free: int
    total: int


def mounted_drives() -> list[Mounted]:
    """Every drive that is plugged in and can be looked into, the computer's own disk left out."""
    if sys.platform == "win32":
        points = _points_on_windows()
    elif sys.platform == "darwin":
        points = [str(path) for path in sorted(Path("/Volumes").glob("*"))] if Path("/Volumes").is_dir() else []
    else:
        try:
            points = drive_points(Path("/proc/self/mountinfo").read_text("utf-8", "surrogateescape"))
        except OSError:
            points = []
    own = Path(os.environ.get("SYSTEMDRIVE", "C:") + "\\" if os.name == "nt" else "/")
    found = []
    for point in points:
        folder = Path(point)
        try:
            if not folder.is_dir() or same_volume(folder, own):
                continue
            room = room_at(folder)
        except OSError:
            continue
        found.append(Mounted(folder=folder, name=folder.name or str(folder), free=room.free, total=room.total))
    return found


def drive_points(table: str) -> list[str]:
    """The mount points of plugged-in drives in a Linux mount table (``/proc/self/mountinfo``), each once, in order.

    A plugged-in drive is a device of its own; what programs and networks show as folders is none.
    """
    points = []
    for line in table.splitlines():
        before, _, after = line.partition(" - ")
        fields, device = before.split(), after.split()[1:2]
        if len(fields) > 4 and device and device[0].startswith("/dev/"):
            point = _plain(fields[4])
            if point.startswith(PLACES) and "\ufffd" not in point and point.isprintable():
                points.append(point)
    return list(dict.fromkeys(points))


def _plain(field: str) -> str:
    """A field of the mount table: blanks and the like stand there as three octal digits."""
    raw, at, data = field.encode("utf-8", "surrogateescape"), 0, bytearray()
    while at < len(raw):
        digits = raw[at + 1 : at + 4]
        if raw[at : at + 1] == b"\\" and len(digits) == 3 and all(48 <= digit < 56 for digit in digits):
            data.append(int(digits, 8) & 255)
            at += 4
        else:
            data.append(raw[at])
            at += 1
    return data.decode("utf-8", "replace")


def _points_on_windows() -> list[str]:
    import ctypes

    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined]
    letters = kernel.GetLogicalDrives()
    there = [f"{letter}:\\" for place, letter in enumerate(string.ascii_uppercase) if letters >> place & 1]
    return [root for root in there if kernel.GetDriveTypeW(root) in (REMOVABLE, FIXED)]
