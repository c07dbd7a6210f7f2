"""Compares a scan with its station's last ones, in its box and in all boxes of the lab, and adds it to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from takeup.errors import TakeupError
from takeup.files.targets import CAPTURE, SCANS, held_history, history_path, keep
from takeup.judge.scan_history import beside_history, kept_of
from takeup.settings import Settings
from takeup.streams import Report
from takeup.tables.rows import Rows

BOXES = "boxes"  # of a lab's home
HERE = "this-computer"  # of scans that were taken without a station's name
KEPT = 400  # scans of one station: more say nothing new


def lab_home(box: Path, settings: Settings) -> Path | None:
    """The lab's home that a box belongs to: the one it lies in; None for a box of nobody's lab."""
    folder = box.resolve()
    if folder.parent.name == BOXES:
        return folder.parent.parent
    home = Path(settings.home).expanduser().resolve() if settings.home else None
    return home if home is not None and folder.is_relative_to(home) else None


def compared(
    box: Path, settings: Settings, *, station: str, sha256: str, carrier: str, report: Report,
    in_box: Sequence[tuple[str, Report]], rows: Rows,
) -> Report:  # fmt: skip
    """A scan's report beside the station's last scans.

    Parameters
    ----------
    in_box : sequence of (sha256, Report)
        Earlier scans of the same carrier and station in this box.

    Notes
    -----
    Without a lab's home, or where its history cannot be read or written just now, the box alone is compared with.
    """
    mine = [{CAPTURE: digest} | kept for digest, one in in_box if (kept := kept_of(one, carrier))]
    home = lab_home(box, settings)
    if home is None:
        return beside_history(report, carrier, mine, rows)
    path = history_path(home, station or HERE, SCANS)
    earlier = mine
    try:
        with held_history(path, settings.wait_s) as history:
            earlier = _without_twins(history, mine, sha256)
            entry = kept_of(report, carrier)
            if entry and not any(one.get(CAPTURE) == sha256 for one in history):
                keep(path, history[-KEPT:], {CAPTURE: sha256} | entry)
    except TakeupError:
        pass
    return beside_history(report, carrier, earlier, rows)


def _without_twins(
    history: Sequence[Mapping[str, Any]], mine: Sequence[Mapping[str, Any]], sha256: str
) -> list[Mapping[str, Any]]:
    """The history up to this scan, and those of the box that it lacks."""
    known = [one.get(CAPTURE) for one in history]
    before = list(history[: known.index(sha256)]) if sha256 in known else list(history)
    held = {one.get(CAPTURE) for one in before}
    return [*(one for one in mine if one[CAPTURE] not in held), *before]
