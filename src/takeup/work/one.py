"""One piece of work in a process of its own: ``python -m takeup.work.one``; asked on standard input, told line by line.

Lines out: ``{"progress": {...}}`` as it goes, then one ``{"answer": {...}}`` or ``{"fault": {"key", "facts"}}``.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

from takeup.errors import TakeupError
from takeup.settings import read_settings
from takeup.tasks.ears import Ears
from takeup.work.kinds import work_of

BEAT_S = 0.25
NICER = 10  # coders take all cores there are; the desk's pages and checks of captures that come in go first


class LineEars(Ears):
    """Tells how far it is, four times a second at most."""

    last = 0.0

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        now = time.monotonic()
        if now - self.last >= BEAT_S or (total is not None and done >= total):
            self.last = now
            _tell({"progress": {"what": what, "done": done, "total": total, "unit": unit}})

    def note(self, key: str, **facts: object) -> None:
        _tell({"note": {"key": key, "facts": {name: str(fact) for name, fact in facts.items()}}})


def _tell(facts: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(facts, ensure_ascii=True, default=str) + "\n")
    sys.stdout.flush()


def main() -> int:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if hasattr(os, "nice"):
        os.nice(NICER)
    asked = json.loads(sys.stdin.readline())
    try:
        answer = work_of(asked["kind"])(Path(asked["folder"]), asked["asked"], read_settings(), LineEars())
        _tell({"answer": answer})
        return 0
    except TakeupError as error:
        _tell({"fault": {"key": error.key, "facts": {name: str(fact) for name, fact in error.facts.items()}}})
        return error.exit_status


if __name__ == "__main__":
    raise SystemExit(main())
