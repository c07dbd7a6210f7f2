"""Runs the real command line in a process of its own, as a script would."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def takeup(*words: object, cwd=None, timeout: float = 300, **environment: str) -> Ran:
    done = subprocess.run(
        [sys.executable, "-m", "takeup", *map(str, words)],
        capture_output=True, cwd=cwd, timeout=timeout, stdin=subprocess.DEVNULL, encoding="utf-8",
        env=os.environ | {"TAKEUP_SETTINGS": ""} | environment,
    )  # fmt: skip
    return Ran(done.returncode, done.stdout, done.stderr)
