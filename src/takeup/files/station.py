"""A station's files: which of a folder's files may be captures, and which is still being written. Changes nothing."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from takeup.files.beside import is_part
from takeup.files.copy import open_quietly
from takeup.tables.rows import Rows

HEAD = 4096


@dataclass(frozen=True, slots=True)
class Seen:
    """One file at a station as it stood at one look."""

    path: Path  # absolute, its folder free of links
    bytes: int
    modified_ns: int
    device: int
    number: int


def files_at(path: Path, rows: Rows) -> list[Path]:
    """The file itself, or every ordinary file under a folder, oldest first: of two tries the later one is the later.

    Left out in a folder, since they are no captures: hidden files, system files, files that another program marks as
    unfinished. Links are not followed, so no loop is ever walked.
    """
    if not path.is_dir():
        return [path.parent.resolve() / path.name]
    system = rows.section("drives.system")
    found: list[Path] = []
    waiting = [path.resolve()]
    while waiting:
        folder = waiting.pop()
        try:
            entries = sorted(os.scandir(folder), key=lambda entry: entry.name, reverse=True)
        except OSError:
            found.append(folder)  # said as unreadable by whoever tries it
            continue
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                if entry.name[0] != "." and entry.name.casefold() not in system["folders"]:
                    waiting.append(Path(entry.path))
            elif not is_left_out(entry.name, rows):
                found.append(Path(entry.path))
    return sorted(found, key=_since)


def _since(path: Path) -> tuple[int, Path]:
    """When a file was last written [ns], then its name; what cannot be looked at comes first and is said."""
    try:
        return os.lstat(path).st_mtime_ns, path
    except OSError:
        return 0, path


def is_left_out(name: str, rows: Rows) -> bool:
    """Whether a name in a folder is hidden, a system's own, or marked as unfinished."""
    system, plain = rows.section("drives.system"), name.casefold()
    return (
        plain[0] == "."
        or plain in system["files"]
        or plain.endswith(tuple(system["unfinished"]))
        or is_part(Path(name))
    )


def look(path: Path) -> Seen | str:
    """A file as it stands now, or why it is none: ``gone``, ``link``, ``folder``, ``not-a-file``, ``unreadable``."""
    try:
        state = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return "gone"
    except OSError:
        return "unreadable"
    if stat.S_ISLNK(state.st_mode):
        return "link"
    if stat.S_ISDIR(state.st_mode):
        return "unreadable"
    if not stat.S_ISREG(state.st_mode):
        return "not-a-file"
    return Seen(path, state.st_size, state.st_mtime_ns, state.st_dev, state.st_ino)


def head_of(path: Path) -> bytes:
    """A file's first bytes.

    Raises
    ------
    Unreadable
        ``capture.cannot-open``.
    """
    handle = open_quietly(path)
    try:
        return os.read(handle, HEAD)
    finally:
        os.close(handle)


def growing(seen: Sequence[Seen], rows: Rows) -> set[Path]:
    """Those files that are still being written: open for writing in some program, or changed between two looks.

    Only files that changed a short while ago are looked at twice; one short wait serves all of them.
    """
    recent_s, between_s = rows.value("drives.look.recent_s"), rows.value("drives.look.between_s")
    now = time.time_ns()
    fresh = [one for one in seen if abs(now - one.modified_ns) < recent_s * 1e9]
    held = open_for_writing((one.device, one.number) for one in seen)
    still = {one.path for one in seen if (one.device, one.number) in held}
    fresh = [one for one in fresh if one.path not in still]
    if fresh:
        time.sleep(between_s)
        still |= {one.path for one in fresh if look(one.path) != one}
    return still


def open_for_writing(files: Iterable[tuple[int, int]]) -> set[tuple[int, int]]:
    """Which of some files (device, number) a program of this user holds open to write; told on Linux only."""
    wanted, held = set(files), set()
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        try:
            handles = os.listdir(process / "fd")
        except OSError:
            continue  # another user's, or gone
        for handle in handles:
            try:
                state = os.stat(process / "fd" / handle)
                if (state.st_dev, state.st_ino) in wanted and _may_write(process / "fdinfo" / handle):
                    held.add((state.st_dev, state.st_ino))
            except (OSError, ValueError):
                continue
    return held


def _may_write(info: Path) -> bool:
    for line in info.read_text().splitlines():
        if line.startswith("flags:"):
            return int(line.split()[1], 8) & os.O_ACCMODE in (os.O_WRONLY, os.O_RDWR)
    return False
