"""One command at a time on a box: a lock the system lets go by itself when its holder dies, however it dies."""

from __future__ import annotations

import json
import os
import platform
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from takeup.errors import NotAllowedNow

FILE_NAME = ".takeup-lock"


@contextmanager
def held(folder: Path, doing: str, wait_s: float) -> Iterator[None]:
    """Hold the box while a command changes it.

    Parameters
    ----------
    folder : Path
        The box.
    doing : str
        The command's name, told to whoever has to wait.
    wait_s : float
        How long to wait for another holder [s].

    Raises
    ------
    NotAllowedNow
        ``box.in-use``: names the command that holds it, on which computer, since when.
    """
    handle = os.open(folder / FILE_NAME, os.O_RDWR | os.O_CREAT, 0o644)
    try:
        end = time.monotonic() + wait_s
        while not _grab(handle):
            if time.monotonic() >= end:
                raise NotAllowedNow("box.in-use", path=str(folder), **_holder(handle))
            time.sleep(0.1)
        note = {"doing": doing, "computer": platform.node(), "process": os.getpid(), "since": _now()}
        data = json.dumps(note).encode()
        os.ftruncate(handle, 0)
        os.pwrite(handle, data, 0) if hasattr(os, "pwrite") else (os.lseek(handle, 0, 0), os.write(handle, data))
        yield
    finally:
        os.close(handle)


def _now() -> str:
    return datetime.now().strftime("%H:%M:%S")


def _holder(handle: int) -> dict[str, str]:
    os.lseek(handle, 0, 0)
    try:
        note = json.loads(os.read(handle, 1000))
        return {name: str(note[name]) for name in ("doing", "computer", "process", "since")}
    except (ValueError, KeyError, OSError):
        return {"doing": "another command", "computer": "?", "process": "?", "since": "?"}


if os.name == "nt":
    import msvcrt

    def _grab(handle: int) -> bool:
        # One byte far behind the note, so that a waiting command can still read who holds it.
        os.lseek(handle, 1 << 30, 0)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _grab(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
