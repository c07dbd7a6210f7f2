"""What lies in a station's folder at one look, and what becomes of a file from look to look. Touches nothing."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

from takeup.errors import TakeupError
from takeup.files.station import head_of, is_left_out
from takeup.media.probe import family_of
from takeup.tables.rows import Rows

FAMILIES = {"sound": "sound", "video": "moving", "film": "moving", "scan": "still"}  # of a carrier's medium
OLD_S = 3600.0  # a file that was last written so long before it appeared was brought here, not captured here


@dataclass(frozen=True, slots=True)
class Sight:
    """One file at one look."""

    path: Path
    bytes: int
    modified_ns: int
    file: tuple[int, int]  # device, number: stays when the file gets another name

    @property
    def state(self) -> tuple[int, int]:
        return self.bytes, self.modified_ns


def sights(folder: Path, rows: Rows) -> dict[Path, Sight] | None:
    """Every ordinary file under a folder; None when the folder itself is not there.

    Left out: hidden files and folders, system files, names that mark a file as unfinished, links.
    """
    system = rows.section("drives.system")["folders"]
    found: dict[Path, Sight] = {}
    waiting = [folder]
    while waiting:
        where = waiting.pop()
        try:
            with os.scandir(where) as entries:
                for entry in entries:
                    _look(entry, rows, system, waiting, found)
        except OSError:
            if where == folder:
                return None  # a folder below it that cannot be read is passed over
    return found


def _look(
    entry: os.DirEntry[str], rows: Rows, system: list[str], waiting: list[Path], found: dict[Path, Sight]
) -> None:
    try:
        if entry.is_dir(follow_symlinks=False):
            if entry.name[0] != "." and entry.name.casefold() not in system:
                waiting.append(Path(entry.path))
        elif entry.is_file(follow_symlinks=False) and not is_left_out(entry.name, rows):
            state = os.stat(entry.path, follow_symlinks=False)  # scandir's own is stale on some systems
            path = Path(entry.path)
            found[path] = Sight(path, state.st_size, state.st_mtime_ns, (state.st_dev, state.st_ino))
    except OSError:
        pass  # gone between two system calls


@dataclass(slots=True)
class History:
    """How one file changed from look to look; ``at`` are moments of the watch's own clock [s]."""

    sight: Sight
    first_at: float
    changed_at: float
    grew: int = 0  # looks at which it was longer than before
    rewritten: int = 0  # looks at which it was written and no longer: room taken beforehand
    began: Sight | None = None  # as it was when its check began

    def see(self, sight: Sight, now: float) -> None:
        """One more look."""
        if sight.state != self.sight.state:
            self.changed_at = now
            if sight.bytes > self.sight.bytes:
                self.grew += 1
            elif sight.bytes == self.sight.bytes:
                self.rewritten += 1
        self.sight = sight

    def rested_s(self, now: float) -> float:
        return now - self.changed_at

    def grows(self) -> bool:
        """Whether it is written from its beginning to its end, so that it can be read meanwhile.

        A file that takes room beforehand and is then filled holds nothing yet where it would be read: it is longer at
        one look and only written at the many that follow.
        """
        return self.grew >= 2 and self.rewritten <= self.grew


def family_at(path: Path) -> str | None:
    """``sound``, ``moving``, ``still`` by the file's first bytes; None when they tell none (yet)."""
    try:
        return family_of(head_of(path))
    except (TakeupError, OSError):
        return None


@dataclass(slots=True)
class Lying:
    """Files that the watch leaves alone, as they were when it first saw them."""

    files: dict[Path, tuple[int, int]] = field(default_factory=dict)

    def left_alone(self, sight: Sight) -> bool:
        """Whether it is one of them and has not begun to grow."""
        before = self.files.get(sight.path)
        if before is None:
            return False
        if sight.bytes > before[0]:
            del self.files[sight.path]
            return False
        return True
