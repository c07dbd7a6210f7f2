"""Read a file back from the disk it lies on, past the computer's own memory where the system lets us, and say how."""

from __future__ import annotations

import errno
import mmap
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from takeup.files.volume import kind_of

BLOCK = 4 << 20  # [bytes] a multiple of every disk's sector
ALIGN = 4096
HOWS = ("direct", "uncached", "dropped", "memory")
"""direct: O_DIRECT (Linux); uncached: F_NOCACHE (macOS); dropped: asked the system to forget its copy first; memory:
the system gave no way, or the place is the computer's own memory."""


@dataclass(slots=True)
class FreshFile:
    """An open file whose reads come from the disk. ``how`` may fall to a lesser way at the first read."""

    path: Path
    handle: int
    how: str
    buffer: mmap.mmap
    at: int = 0

    def blocks(self) -> Iterator[memoryview]:
        """The whole file, block by block; each block is valid until the next is asked for."""
        while True:
            count = self._read()
            if not count:
                return
            self.at += count
            view = memoryview(self.buffer)[:count]
            try:
                yield view
            finally:
                view.release()

    def _read(self) -> int:
        if self.how == "direct" and self.at % ALIGN:  # only after a short read: the end, or a file that was cut
            self._fall_back()
        try:
            return _read_into(self.handle, self.buffer, self.at)
        except OSError as error:
            if self.how != "direct" or error.errno != errno.EINVAL:
                raise
            self._fall_back()
            return _read_into(self.handle, self.buffer, self.at)

    def _fall_back(self) -> None:
        os.close(self.handle)
        self.handle = os.open(self.path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        if self.at == 0:
            self.how = _forget(self.handle)
        else:
            _forget(self.handle)


@contextmanager
def open_fresh(path: Path, *, follow: bool = False) -> Iterator[FreshFile]:
    """Open a file so that what is read comes from its disk. A link is followed only when told to.

    Raises
    ------
    OSError
        As the system gives it.
    """
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
    flags |= 0 if follow else getattr(os, "O_NOFOLLOW", 0)
    handle, how = -1, "memory"
    if direct := getattr(os, "O_DIRECT", 0):
        try:
            handle, how = os.open(path, flags | direct), "direct"
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.ENOTSUP):
                raise
    if handle < 0:
        handle = os.open(path, flags)
        how = _forget(handle)
    if _in_memory(path):
        how = "memory"
    file = FreshFile(path, handle, how, mmap.mmap(-1, BLOCK))
    try:
        yield file
    finally:
        os.close(file.handle)


def _read_into(handle: int, buffer: mmap.mmap, at: int) -> int:
    if hasattr(os, "preadv"):
        return os.preadv(handle, [buffer], at)
    os.lseek(handle, at, os.SEEK_SET)
    data = os.read(handle, len(buffer))
    buffer[: len(data)] = data
    return len(data)


def _forget(handle: int) -> str:
    """Ask the system to drop its own copy of a file; how far that goes."""
    if sys.platform == "darwin":
        import fcntl

        fcntl.fcntl(handle, fcntl.F_NOCACHE, 1)
        return "uncached"
    if not hasattr(os, "posix_fadvise"):
        return "memory"
    try:
        os.fsync(handle)
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        return "dropped"
    except OSError:
        return "memory"


def _in_memory(path: Path) -> bool:
    return kind_of(path) in ("tmpfs", "ramfs", "devtmpfs")


def lesser(first: str, second: str) -> str:
    """The weaker of two ways of reading back: what a receipt over several files may say."""
    return max(first, second, key=HOWS.index)
