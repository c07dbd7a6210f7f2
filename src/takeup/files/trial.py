"""Try a drive: seeded blocks are written over its free room, read back from it, compared and taken away again."""

from __future__ import annotations

import ctypes
import errno
import mmap
import os
import secrets
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from takeup.files.beside import PART
from takeup.files.fresh import open_fresh
from takeup.files.volume import room_at
from takeup.tables.rows import Rows

FLUSH_EVERY = 8  # blocks; so that the time spent is the drive's and not the memory's


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a trial found.

    ``holds``: True when every block came back as it was written, False when one did not, None when none was written.
    ``spread_bytes``: over how much of the free room the blocks were spread; 0 when they lay side by side, which tells
    nothing of a drive's true size beyond what was written.
    """

    holds: bool | None
    tried_bytes: int
    spread_bytes: int
    write_bytes_s: float | None
    read_bytes_s: float | None
    how: str  # how it was read back, as in takeup.files.fresh
    trouble: str = ""  # the system's words when writing broke off


def may_write(folder: Path) -> str:
    """Write one small file and take it away again; the system's words when it refuses, else empty."""
    path = folder / f".takeup-{secrets.token_hex(4)}{PART}"
    try:
        with path.open("xb") as file:
            file.write(b"takeup")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return error.strerror or str(error)
    finally:
        _remove(path)
    return ""


def try_out(
    folder: Path, rows: Rows, *, spread: bool, hear: Callable[[int, int], None] = lambda done, total: None
) -> Trial:
    """Write blocks, read them back past the computer's memory, compare, clean up.

    Parameters
    ----------
    spread
        Spread the blocks over the drive's free room (a file that claims the room without filling it). Where the file
        system cannot do that, or when False, the blocks lie side by side.
    hear
        Told bytes done and in all, of writing and reading together.
    """
    trial = rows.section("drives.trial")
    free = room_at(folder).free
    block = trial["block_bytes"]
    count = min(trial["most_bytes"], int(free * trial["spread_share"])) // block
    if count < trial["least_blocks"]:
        return Trial(holds=None, tried_bytes=0, spread_bytes=0, write_bytes_s=None, read_bytes_s=None, how="memory")
    path = folder / f".takeup-trial-{secrets.token_hex(4)}{PART}"
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        path = _nameless(path, handle)
        room = int(free * trial["spread_share"]) // block
        spread = spread and room > count and _claim(handle, room * block)
        return _run(path, handle, rows, places(room, count) if spread else list(range(count)), spread, hear)
    finally:
        os.close(handle)
        if path.parent == folder:
            _remove(path)


def _nameless(path: Path, handle: int) -> Path:
    """Take the file's name away while it is open, where the system can open it again without: then nothing can stay
    behind, however this process ends."""
    by_handle = Path(f"/proc/self/fd/{handle}")
    if not by_handle.exists():
        return path
    path.unlink()
    return by_handle


def _run(
    path: Path, handle: int, rows: Rows, where: list[int], spread: bool, hear: Callable[[int, int], None]
) -> Trial:
    block, longest_s = rows.value("drives.trial.block_bytes"), rows.value("drives.trial.longest_s")
    seed = secrets.randbits(64)
    written, write_s, trouble = _write_blocks(handle, seed, where, block, longest_s, hear)
    if trouble == os.strerror(errno.ENOSPC):
        trouble = ""  # somebody else used the room meanwhile; what was written still tells
    holds, read_s, how = True, 0.0, "memory"
    with open_fresh(path, follow=True) as file:
        for done, at in enumerate(where[:written], 1):
            begun = time.monotonic()
            data = _read(file.handle, file.buffer, at * block, block)
            read_s += time.monotonic() - begun
            holds = holds and data == seeded(seed, at, block).tobytes()
            hear((len(where) + done) * block, 2 * len(where) * block)
        how = file.how
    return Trial(
        holds=(holds and not trouble) if written else (False if trouble else None),
        tried_bytes=written * block,
        spread_bytes=(max(where[:written]) + 1) * block if spread and written > 1 else 0,
        write_bytes_s=written * block / max(write_s, 1e-6) if written else None,
        read_bytes_s=written * block / max(read_s, 1e-6) if written else None,
        how=how,
        trouble=trouble,
    )


def _write_blocks(
    handle: int, seed: int, where: list[int], block: int, longest_s: float, hear: Callable[[int, int], None]
) -> tuple[int, float, str]:
    """Write and flush; blocks written, seconds that took, the system's words if it broke off."""
    written, write_s, trouble = 0, 0.0, ""
    for at in where:
        data = seeded(seed, at, block)
        begun = time.monotonic()
        try:
            _write(handle, data, at * block)
            if written % FLUSH_EVERY == FLUSH_EVERY - 1 or written == len(where) - 1:
                os.fsync(handle)
        except OSError as error:
            trouble = error.strerror or str(error)
            break
        finally:
            write_s += time.monotonic() - begun
        written += 1
        hear(written * block, 2 * len(where) * block)
        if write_s > longest_s:
            break
    begun = time.monotonic()
    try:
        os.fsync(handle)
    except OSError as error:
        trouble = trouble or error.strerror or str(error)
    return written, write_s + time.monotonic() - begun, trouble


def places(room: int, count: int) -> list[int]:
    """Which of ``room`` blocks to write: both ends, every power of two, then evenly between, ``count`` in all.

    Powers of two, since a drive that claims more than it has mostly drops the upper bits of an address: the block at
    its true size then lands on the first. Ends and powers come first, for when time runs out.

    Examples
    --------
    >>> places(100, 9)
    [0, 99, 64, 32, 16, 8, 4, 2, 1]
    """
    chosen = [0, room - 1, *(1 << power for power in range(room.bit_length() - 1, -1, -1))]
    chosen += [int(at) for at in np.random.default_rng(7).permutation(np.linspace(0, room - 1, 2 * count).astype(int))]
    return [at for at in dict.fromkeys(chosen) if at < room][:count]


def seeded(seed: int, at: int, count: int) -> np.ndarray:
    """One block of bytes that no other place of the drive holds."""
    return np.random.Generator(np.random.SFC64([seed, at])).integers(0, 256, count, dtype=np.uint8)


def _claim(handle: int, size: int) -> bool:
    """Claim room for a file without filling it; False where the file system would fill it with zeros instead."""
    if not sys.platform.startswith("linux"):
        return False
    libc = ctypes.CDLL(None, use_errno=True)
    libc.fallocate.argtypes = [ctypes.c_int, ctypes.c_int, ctypes.c_int64, ctypes.c_int64]
    return libc.fallocate(handle, 0, 0, size) == 0


def _write(handle: int, data: np.ndarray, at: int) -> None:
    view, done = memoryview(data), 0
    while done < len(view):
        os.lseek(handle, at + done, os.SEEK_SET)
        done += os.write(handle, view[done:])


def _read(handle: int, buffer: mmap.mmap, at: int, count: int) -> bytes:
    if hasattr(os, "preadv"):
        got = os.preadv(handle, [buffer], at)
        return buffer[: min(got, count)]
    os.lseek(handle, at, os.SEEK_SET)
    return os.read(handle, count)


def _remove(path: Path) -> None:
    with suppress(OSError):  # a drive that was pulled out keeps nothing of ours that can be reached
        path.unlink(missing_ok=True)
