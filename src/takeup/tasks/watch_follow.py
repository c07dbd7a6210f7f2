"""One capture checked in a process of its own: ``python -m takeup.tasks.watch_follow``; asked on standard input.

A follower that a damaged file brings down takes no other with it. Lines out: ``{"event": ...}`` as things become known,
then one ``{"report": ...}`` or ``{"fault": {"key", "facts"}}``. It ends when whoever asked is gone.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from dataclasses import fields
from pathlib import Path
from typing import Any

from takeup.errors import TakeupError
from takeup.judge.sound_notice import Notice
from takeup.streams import Finding, Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
from takeup.tasks.follow import follow
from takeup.tasks.reporting import facts_from, finding_facts

NICER = 5  # the capture program comes first


def original_from(facts: dict[str, Any]) -> Original:
    """An item as it travels; words of a later takeup are passed over."""
    known = {field.name: facts[field.name] for field in fields(Original) if field.name in facts}
    return Original(**known | {"condition": tuple(known.get("condition", ()))})


def main() -> int:
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    if hasattr(os, "nice"):
        os.nice(NICER)
    asked = json.loads(sys.stdin.readline())
    threading.Thread(target=_end_with_whoever_asked, daemon=True).start()
    path = Path(asked["path"])
    known = Asked(
        original=original_from(asked["original"]),
        mains_hz=asked["mains_hz"],
        recorded_mains_hz=asked.get("recorded_mains_hz"),
    )
    try:
        if asked["live"]:
            report = follow(path, known, asked["idle_s"], _emit)
        else:
            _, report = check_file(path, known)
            for finding in report.findings:
                _emit("finding", {}, finding)
        state = path.stat()
        _tell({"report": facts_from(report), "bytes": state.st_size, "modified_ns": state.st_mtime_ns})
        return 0
    except TakeupError as error:
        plain = {name: fact if isinstance(fact, (int, float)) else str(fact) for name, fact in error.facts.items()}
        _tell({"fault": {"key": error.key, "facts": plain}})
    except OSError as error:
        facts = {"path": str(path), "error": error.strerror or str(error)}
        _tell({"fault": {"key": "capture.cannot-open", "facts": facts}})
    return 2


def _emit(event: str, facts: dict[str, Any], finding: Finding | None) -> None:
    told = dict(facts)
    if isinstance(notice := facts.get("notice"), Notice):
        told["notice"] = {"says": notice.says, "facts": dict(notice.facts)}
    _tell({"event": event} | told | ({"finding": finding_facts(finding)} if finding else {}))


def _tell(facts: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(facts, default=str) + "\n")
    sys.stdout.flush()


def _end_with_whoever_asked() -> None:
    while sys.stdin.read(4096):
        pass
    os._exit(0)


if __name__ == "__main__":
    raise SystemExit(main())
