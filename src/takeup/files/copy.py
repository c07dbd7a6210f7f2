"""Copy a file and take its checksum in one pass: the source is read once, each block is read back from the disk and
compared with what was read from the source while that is still at hand.

Blocks pass from the reader (which also writes) to one thread that sums and one that reads back. Writes go straight to
the disk where the system allows, so that reading back means the disk and not the computer's memory.
"""

from __future__ import annotations

import errno
import hashlib
import mmap
import os
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from takeup.errors import CopyDiffers, Unreadable
from takeup.files.fresh import ALIGN

BLOCK = 4 << 20
BLOCKS = 8  # blocks in flight: 32 MB


@dataclass(frozen=True, slots=True)
class Copied:
    """A finished copy."""

    bytes: int
    sha256: str
    how: str  # how it was read back: direct, memory; "" when it was not


def copy_file(
    source: Path, part: Path, *, read_back: bool = True, hear: Callable[[int], None] = lambda count: None
) -> Copied:
    """Copy ``source`` into the new file ``part`` (from :func:`takeup.files.beside.beside`).

    Raises
    ------
    CopyDiffers
        ``copy.differs`` when the disk gives back other bytes than were written.
    Unreadable
        ``copy.source-unreadable`` when the source cannot be read to its end.
    OSError
        When the target cannot be written (full, read-only); ``beside`` words it.
    """
    reading = open_quietly(source)
    try:
        writing, direct = _open_target(part)
        try:
            run = _Run(source, part, reading, writing, direct, read_back, hear)
            return run.copy()
        finally:
            os.close(writing)
    finally:
        os.close(reading)


def open_quietly(path: Path) -> int:
    """Open a file to read it and leave no trace on it: no link followed, time of last reading kept where we may."""
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    try:
        try:
            return os.open(path, flags | getattr(os, "O_NOATIME", 0))
        except PermissionError:  # only the owner may ask for that
            return os.open(path, flags)
    except OSError as error:
        raise Unreadable("capture.cannot-open", path=str(path), error=error.strerror or str(error)) from error


def _open_target(part: Path) -> tuple[int, bool]:
    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    if direct := getattr(os, "O_DIRECT", 0):
        try:
            return os.open(part, flags | direct, 0o644), True
        except OSError as error:
            if error.errno not in (errno.EINVAL, errno.ENOTSUP):
                raise
            part.unlink(missing_ok=True)  # some systems make the file before they refuse
    return os.open(part, flags, 0o644), False


@dataclass(slots=True)
class _Block:
    buffer: mmap.mmap
    count: int
    at: int
    summed: threading.Event = field(default_factory=threading.Event)


class _Run:
    def __init__(self, source, part, reading, writing, direct, read_back, hear) -> None:
        self.source, self.part, self.reading, self.writing = source, part, reading, writing
        self.direct, self.read_back, self.hear = direct, read_back, hear
        self.digest = hashlib.sha256()
        self.free: queue.SimpleQueue[mmap.mmap] = queue.SimpleQueue()
        self.to_sum: queue.SimpleQueue[_Block | None] = queue.SimpleQueue()
        self.to_compare: queue.SimpleQueue[_Block | None] = queue.SimpleQueue()
        self.trouble: list[BaseException] = []
        self.back = mmap.mmap(-1, BLOCK)

    def copy(self) -> Copied:
        for _ in range(BLOCKS):
            self.free.put(mmap.mmap(-1, BLOCK))
        threads = [threading.Thread(target=work, daemon=True) for work in (self._sum, self._compare)]
        for thread in threads:
            thread.start()
        try:
            total = self._read_and_write()
        finally:
            self.to_sum.put(None)
            self.to_compare.put(None)
            for thread in threads:
                thread.join()
        if self.trouble:
            raise self.trouble[0]
        os.ftruncate(self.writing, total)
        os.fsync(self.writing)
        if self.read_back:
            self._check_end(total)
        how = "" if not self.read_back else "direct" if self.direct else "memory"
        return Copied(total, self.digest.hexdigest(), how)

    def _read_and_write(self) -> int:
        at = 0
        while not self.trouble:
            buffer = self.free.get()
            count = self._fill(buffer, at)
            if not count:
                break
            block = _Block(buffer, count, at)
            self.to_sum.put(block)
            self._write(block)
            self.to_compare.put(block)
            at += count
            self.hear(count)
            if count < BLOCK:
                break
        return at

    def _fill(self, buffer: mmap.mmap, at: int) -> int:
        """A whole block, or what is left: only the last may be short, so that every write begins on a sector."""
        filled = 0
        with memoryview(buffer) as view:
            while filled < BLOCK:
                try:
                    count = _read_some(self.reading, view[filled:])
                except OSError as error:
                    raise Unreadable(
                        "copy.source-unreadable",
                        path=str(self.source),
                        at_bytes=at + filled,
                        error=error.strerror or str(error),
                    ) from error
                if not count:
                    break
                filled += count
        return filled

    def _write(self, block: _Block) -> None:
        length = -(-block.count // ALIGN) * ALIGN if self.direct else block.count
        done = 0
        while done < length:
            try:
                with memoryview(block.buffer) as view:
                    wrote = _write_at(self.writing, view[done:length], block.at + done)
            except OSError as error:
                if not self.direct or error.errno != errno.EINVAL:
                    raise
                self._leave_direct()
                length = block.count
                continue
            done += wrote
            if self.direct and done % ALIGN:
                self._leave_direct()
                length = block.count

    def _leave_direct(self) -> None:
        """The file system opens files for direct writing but refuses it: go on through the computer's memory."""
        import fcntl

        flags = fcntl.fcntl(self.writing, fcntl.F_GETFL)
        fcntl.fcntl(self.writing, fcntl.F_SETFL, flags & ~os.O_DIRECT)
        self.direct = False

    def _sum(self) -> None:
        while (block := self.to_sum.get()) is not None:
            with memoryview(block.buffer) as view:
                self.digest.update(view[: block.count])
            block.summed.set()

    def _compare(self) -> None:
        while (block := self.to_compare.get()) is not None:
            if self.read_back and not self.trouble:
                try:
                    self._compare_one(block)
                except BaseException as error:  # carried to the caller's thread
                    self.trouble.append(error)
            block.summed.wait()
            self.free.put(block.buffer)

    def _compare_one(self, block: _Block) -> None:
        count = _read_at(self.writing, self.back, block.at)
        if count < block.count or not same_bytes(self.back, block.buffer, block.count):
            raise CopyDiffers("copy.differs", path=str(self.source), at_bytes=block.at)

    def _check_end(self, total: int) -> None:
        if os.fstat(self.writing).st_size != total:
            raise CopyDiffers("copy.differs", path=str(self.source), at_bytes=total)


def same_bytes(first: mmap.mmap, second: mmap.mmap, count: int) -> bool:
    """Whether the first ``count`` bytes agree; compared in slices so that no second copy of a block is made."""
    step = 1 << 18
    return all(first[at : min(at + step, count)] == second[at : min(at + step, count)] for at in range(0, count, step))


if hasattr(os, "preadv"):

    def _read_some(handle: int, view: memoryview) -> int:
        return os.readv(handle, [view])

    def _write_at(handle: int, view: memoryview, at: int) -> int:
        return os.pwrite(handle, view, at)

    def _read_at(handle: int, buffer: mmap.mmap, at: int) -> int:
        return os.preadv(handle, [buffer], at)

else:
    _seeking = threading.Lock()  # one place in the file for writer and reader, where the system has no other way

    def _read_some(handle: int, view: memoryview) -> int:
        data = os.read(handle, len(view))
        view[: len(data)] = data
        return len(data)

    def _write_at(handle: int, view: memoryview, at: int) -> int:
        with _seeking:
            os.lseek(handle, at, os.SEEK_SET)
            return os.write(handle, view)

    def _read_at(handle: int, buffer: mmap.mmap, at: int) -> int:
        with _seeking:
            os.lseek(handle, at, os.SEEK_SET)
            data = os.read(handle, len(buffer))
        buffer[: len(data)] = data
        return len(data)
