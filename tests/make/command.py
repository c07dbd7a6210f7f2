"""Runs the real command line in a process of its own, as a script would.

The first run of each command starts cold. The later ones are copies of a process that has imported everything already
(``ready.py``), which saves most of a second each: still processes of their own, with their own words, environment,
streams and end.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

READ_AT_START = ("PYTHON", "LC_", "LANG", "TZ", "OPENBLAS", "OMP_", "NUMBA", "OPENCV", "VIPS")


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def takeup(*words: object, cwd=None, timeout: float = 300, cold: bool = False, **environment: str) -> Ran:
    """Run one command. ``cold``: start the interpreter anew, whatever was run before."""
    said, around = list(map(str, words)), os.environ | {"TAKEUP_SETTINGS": ""} | environment
    name = said[0] if said else ""
    if cold or name not in _STARTED_COLD or not hasattr(os, "fork") or _read_at_start(around) != _ready().around:
        _STARTED_COLD.add(name)
        done = subprocess.run(
            [sys.executable, "-m", "takeup", *said],
            capture_output=True, cwd=cwd, timeout=timeout, stdin=subprocess.DEVNULL, encoding="utf-8", env=around,
        )  # fmt: skip
        return Ran(done.returncode, done.stdout, done.stderr)
    return _ready().run(said, os.fspath(cwd or os.getcwd()), around, timeout)


_STARTED_COLD: set[str] = set()


def _read_at_start(around: dict[str, str]) -> dict[str, str]:
    """What an interpreter or a library reads from the environment only when it starts."""
    return {name: value for name, value in around.items() if name.startswith(READ_AT_START)}


class Ready:
    """The other end of ``ready.py``."""

    def __init__(self) -> None:
        self.around = _read_at_start(dict(os.environ))
        self.orders, far = socket.socketpair()
        self.answers = self.orders.makefile("rb")
        words = [sys.executable, "-P", str(Path(__file__).with_name("ready.py"))]
        self.process = subprocess.Popen(words, stdin=far, stdout=subprocess.DEVNULL)
        far.close()
        atexit.register(self.end)

    def run(self, words: list[str], cwd: str, around: dict[str, str], timeout: float) -> Ran:
        order = json.dumps({"words": words, "cwd": cwd, "environment": around}).encode() + b"\n"
        with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
            socket.send_fds(self.orders, [order], [out.fileno(), err.fileno()])
            process = int(self.answers.readline())
            late = threading.Timer(timeout, os.kill, (process, signal.SIGKILL))
            late.start()
            status = int(self.answers.readline())
            late.cancel()
            for file in (out, err):
                file.seek(0)
            return Ran(status, out.read().decode(), err.read().decode())

    def end(self) -> None:
        self.answers.close()
        self.orders.close()
        self.process.wait()


_ready = cache(Ready)
