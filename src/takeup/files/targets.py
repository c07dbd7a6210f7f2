"""A station's history with its reference targets: one line of JSON per target, in ``targets/`` of the lab's home."""

from __future__ import annotations

import json
from collections.abc import Iterator, Set
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from takeup.errors import Unreadable
from takeup.files.beside import write_bytes
from takeup.files.lock import held
from takeup.files.names import safe_name

FOLDER = "targets"
SCANS = "scans"  # what ordinary scans showed of a station: the same kind of file beside it
CAPTURE = "sha256"  # of a line there: which capture it is of


def history_path(home: Path, station: str, folder: str = FOLDER) -> Path:
    """Where a station's history lies."""
    return home / folder / f"{safe_name(station)}.jsonl"


@contextmanager
def held_history(path: Path, wait_s: float) -> Iterator[list[dict[str, Any]]]:
    """A station's history while nobody else adds to it: of two runs at once the second waits and reads the first's.

    Raises
    ------
    NotAllowedNow
        ``box.in-use`` when another run holds it for longer than ``wait_s`` seconds.
    Unreadable
        ``target.history-damaged``.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with held(path.parent, "target", wait_s):
        yield read_history(path)


def read_history(path: Path) -> list[dict[str, Any]]:
    """Everything kept of a station, the oldest first; nothing where there is no such file yet.

    Raises
    ------
    Unreadable
        ``target.history-damaged`` when a line of it cannot be read: it is never overwritten then.
    """
    if not path.is_file():
        return []
    try:
        lines = path.read_text("utf-8").splitlines()
        return [json.loads(line) for line in lines if line.strip()]
    except (OSError, ValueError) as error:
        raise Unreadable("target.history-damaged", path=str(path), error=str(error)) from error


def keep(path: Path, history: list[dict[str, Any]], entry: dict[str, Any]) -> None:
    """Add a target to a station's history: the file is written anew beside and renamed.

    Raises
    ------
    NotPossible
        When the place cannot be written to.
    """
    _write(path, [*history, entry])


def forget_captures(home: Path, digests: Set[str], wait_s: float) -> None:
    """Take away from every station's history of scans which captures its figures are of; the figures stay.

    A history that cannot be read is left as it is: nothing is compared with it, nothing is added to it.

    Raises
    ------
    NotAllowedNow
        ``box.in-use`` when another run holds it for longer than ``wait_s`` seconds.
    NotPossible
        When the place cannot be written to.
    """
    for path in sorted((home / SCANS).glob("*.jsonl")):
        with suppress(Unreadable), held_history(path, wait_s) as history:
            if any(one.get(CAPTURE) in digests for one in history):
                _write(path, [_without_capture(one) if one.get(CAPTURE) in digests else one for one in history])


def _without_capture(entry: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in entry.items() if name != CAPTURE}


def _write(path: Path, entries: list[dict[str, Any]]) -> None:
    lines = [json.dumps(one, ensure_ascii=False, allow_nan=False, sort_keys=True) for one in entries]
    write_bytes(path, ("\n".join(lines) + "\n").encode("utf-8"))
