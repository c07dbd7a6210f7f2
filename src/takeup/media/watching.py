"""A file that another program is writing: how long it is, how long it has rested, whether it is still the same one."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import BinaryIO

from takeup.errors import Unreadable


class Watch:
    """Asks after one open file. What was read of it must stay true, or nothing that was told would be.

    ``read_to`` is how far its bytes were used: it may become shorter down to there (room that a capture program took
    beforehand and gives back), never below.
    """

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self.path, self.file = path, file
        self.size, self.grew_at = -1, time.monotonic()
        self.read_to = 0

    @property
    def rested_s(self) -> float:
        """Since its size last changed."""
        return time.monotonic() - self.grew_at

    def look(self) -> bool:
        """Whether its size has changed since the last look.

        Raises
        ------
        Unreadable
            ``follow.gone`` when its name is no longer there, ``follow.replaced`` when another file has that name now,
            ``follow.shrank`` when it is shorter than what was read of it.
        """
        try:
            named, opened = os.stat(self.path), os.fstat(self.file.fileno())
        except OSError as error:
            raise Unreadable("follow.gone", path=str(self.path)) from error
        if not os.path.samestat(named, opened):
            raise Unreadable("follow.replaced", path=str(self.path))
        if opened.st_size < self.read_to:
            raise Unreadable("follow.shrank", path=str(self.path), before=self.read_to, now=opened.st_size)
        changed = opened.st_size != self.size
        if changed:
            self.size, self.grew_at = opened.st_size, time.monotonic()
        return changed
