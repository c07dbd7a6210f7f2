"""A file that is still being written, read as it grows."""

from __future__ import annotations

import time
from pathlib import Path

from takeup.media.watching import Watch


class Growing:
    """Hands out a file's bytes in order and waits at its end until ``idle_s`` have passed without growth.

    It has no ``seek`` on purpose: libav then never jumps ahead to look for an index that is not there yet.
    """

    def __init__(self, path: Path, idle_s: float) -> None:
        self.file = open(path, "rb")  # noqa: SIM115 - closed by the reader that owns it
        self.idle_s = idle_s
        self.watch = Watch(path, self.file)
        self.ended = False  # libav asks again after an end; it is not to wait once more

    def read(self, size: int) -> bytes:
        """Up to ``size`` bytes; empty only when nothing more has come for ``idle_s``.

        Raises
        ------
        Unreadable
            What :meth:`takeup.media.watching.Watch.look` raises.
        """
        end = time.monotonic() + self.idle_s
        while not (data := b"" if self.ended else self.file.read(size)):
            self.watch.look()
            left = end - time.monotonic()
            if self.ended or left <= 0:
                self.ended = True
                return b""
            time.sleep(min(0.05, left))
        self.watch.read_to = self.file.tell()
        return data

    def close(self) -> None:
        self.file.close()
