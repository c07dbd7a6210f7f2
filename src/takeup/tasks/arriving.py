"""A place of a capture to be heard or seen before the capture is in its box: from what has come of it so far.

On a disk that the lab shares it is the station's own file, growing or whole; else the proved pieces that lie here, from
the beginning on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.errors import TakeupError, Unreadable
from takeup.files.pieces import part_of
from takeup.media import arrived
from takeup.plan.outline import Outline, outline_of_trace
from takeup.tables.loader import load_rows
from takeup.tasks import excerpt
from takeup.tasks.check import medium_of
from takeup.tasks.reporting import report_from
from takeup.tasks.station_taking import INCOMING, gathered, grows_here, lies_here, received

NOBODYS = "for-whom"  # where pieces of captures lie that nobody claimed yet
LEAST_S = excerpt.BEFORE_S + 1.0  # so much of a stretch must have come: the place itself, and a second of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Arriving:
    """What lies here of a capture: the first ``upto`` bytes of a file. ``whole``: that is all of it."""

    capture: str
    path: Path
    upto: int
    whole: bool
    grows: bool
    medium: str
    seconds: float | None = None  # in those bytes, as far as can be told without reading them


def arriving(home: Path, row: dict[str, Any], told: dict[str, Any] | None = None) -> Arriving | None:
    """What has come of a capture that is not in its box yet; None when nothing of it can be read here.

    Parameters
    ----------
    row : dict
        Of the table of captures.
    told : dict, optional
        The last meters that its station told: ``bytes``, ``seconds``.
    """
    told = told or {}
    if row["state"] == "growing":
        found = grows_here(home, row, int(told.get("bytes") or 0))
        path, upto = found or (None, 0)
    elif row["state"] in ("whole", "moving", "refused"):
        path, upto = _whole_or_pieces(home, row)
    else:
        path, upto = None, 0
    if path is None or not upto:
        return None
    grows, whole = row["state"] == "growing", row["state"] != "growing" and upto == row["bytes"]
    medium = _medium(row)
    lasts = told.get("seconds") if grows else row["seconds"]
    seconds = arrived.seconds_of_wave(path, upto, open_end=grows) if medium == "sound" else None
    if seconds is None and lasts:
        seconds = float(lasts) if grows or whole else float(lasts) * upto / max(1, row["bytes"])
    return Arriving(
        capture=row["id"], path=path, upto=upto, whole=whole, grows=grows, medium=medium, seconds=seconds
    )  # fmt: skip


def can_be_played(come: Arriving | None, at_s: float | None) -> bool:
    """Whether the stretch around a place has come, as far as can be told without reading it."""
    if come is None or come.medium == "scan" or come.seconds is None:
        return False
    return come.whole or come.seconds >= max(0.0, (at_s or 0.0) - excerpt.BEFORE_S) + LEAST_S


def piece_of(home: Path, box: str, come: Arriving, from_s: float, seconds: float = excerpt.PIECE_S) -> Path:
    """A few seconds from a moment on: sound, a small film, or stills side by side, as of a capture in its box.

    Raises
    ------
    Unreadable
        ``excerpt.not-here-yet`` when that stretch has not come.
    """
    make, ending = MAKERS[come.medium]

    def write(part: Path) -> None:
        written = make(come, part, from_s, seconds)
        if written < min(LEAST_S, seconds) and not (come.whole and written):
            raise Unreadable("excerpt.not-here-yet", name=come.path.name)

    name = f"come-{come.upto}-{round(from_s * 10):07d}-{seconds:.0f}"
    return excerpt.kept(home, excerpt.place(home, box or NOBODYS, come.capture, name, ending), write)


def _sound(come: Arriving, part: Path, from_s: float, seconds: float) -> float:
    return arrived.write_arrived_sound(come.path, come.upto, part, from_s, seconds, open_end=come.grows)


def _video(come: Arriving, part: Path, from_s: float, seconds: float) -> float:
    return arrived.write_arrived_pictures(come.path, come.upto, part, from_s, seconds)


def _film(come: Arriving, part: Path, from_s: float, seconds: float) -> float:
    times = [from_s + seconds * at / excerpt.STILLS for at in range(excerpt.STILLS)]
    found = arrived.write_arrived_stills(come.path, come.upto, part, times, excerpt.STRIP_PX)
    return seconds * found / excerpt.STILLS


MAKERS: dict[str, tuple[Callable[[Arriving, Path, float, float], float], str]] = {
    "sound": (_sound, ".wav"),
    "video": (_video, ".mp4"),
    "film": (_film, ".jpg"),
}


def outline_of_report(row: dict[str, Any]) -> Outline | None:
    """The silhouette of a capture that has ended, as its station's report has it; None for pictures, or before."""
    report = row["facts"].get("report")
    known = report_from(report) if report else None
    return outline_of_trace(known.trace.level, known.trace.step_s) if known and known.medium == "sound" else None


def _whole_or_pieces(home: Path, row: dict[str, Any]) -> tuple[Path | None, int]:
    if (shared := lies_here(home, row)) is not None:
        return shared, row["bytes"]
    if (whole := gathered(home, row)) is not None:
        return whole, row["bytes"]
    return part_of(home / INCOMING, row["id"]), received(home, row)


def _medium(row: dict[str, Any]) -> str:
    try:
        return medium_of(row["facts"].get("carrier", ""), load_rows())
    except (TakeupError, KeyError, ValueError):
        return {"sound": "sound", "moving": "video"}.get(row["facts"].get("family", ""), "scan")
