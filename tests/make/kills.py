"""Kill a command at every step it takes on the disk: a fork runs it and dies by SIGKILL before its n-th such step."""

import os
import shutil
import signal
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path

STEPS = ("open", "replace", "rename", "fsync", "pwrite", "ftruncate", "unlink", "mkdir", "link", "rmdir")


@contextmanager
def quick_folder():
    """A folder in the computer's memory where there is one: a kill loses nothing of it, and flushing costs no time."""
    memory = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="takeup-kills-", dir=memory if os.access(memory, os.W_OK) else None))
    try:
        yield folder.resolve()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def killed_at_every_step(action: Callable[[], object], most: int = 400, every: int = 1):
    """Run ``action`` in a fork again and again, killed one step later each time; yield after every kill.

    The caller checks what the kill left and puts things back. Ends when a run comes through.
    """
    for step in range(1, most, every):
        child = os.fork()
        if child == 0:
            try:
                _die_at(step)
                action()
                os._exit(0)
            except BaseException:
                os._exit(99)
        _, status = os.waitpid(child, 0)
        if os.WIFSIGNALED(status):
            yield step
            continue
        assert os.WEXITSTATUS(status) == 0, f"the command stopped by itself at step {step}"
        return
    raise AssertionError(f"not through after {most} steps")


def _die_at(step: int) -> None:
    left = [step]

    def counted(honest):
        def called(*args, **more):
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            return honest(*args, **more)

        return called

    for name in STEPS:
        setattr(os, name, counted(getattr(os, name)))
    sqlite3.connect = counted(sqlite3.connect)
