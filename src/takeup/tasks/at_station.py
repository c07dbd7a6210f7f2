"""What a station's screen needs of a box: the originals that its machine plays, how long each is expected to run."""

from __future__ import annotations

from pathlib import Path

from takeup.judge.screening import judge_original
from takeup.media.listening import clip_wav
from takeup.plan.minutes import plan_extent
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.guide import carriers_at
from takeup.tasks.originals import originals_of

BEFORE_S, HEARD_S = 2.0, 5.0  # a place is heard from so long before it, for so long


def originals_here(folder: Path, kind: str, settings: Settings) -> list[Original]:
    """The originals of a box that a station of this kind plays; refused ones are not among them."""
    rows, carriers = load_rows(), carriers_at(kind)
    found = [one for one in originals_of(folder, settings) if one.carrier in carriers]
    return [one for one in found if judge_original(one, rows).outcome != "refuse"]


def parts_of(original: Original) -> list[str]:
    """What has to be told apart of an original: ``a`` and ``b`` of a cassette; empty when it is captured in one go."""
    sides = original.sides or load_rows().value(f"carriers.{original.carrier}.sides")
    return [chr(ord("a") + at) for at in range(int(sides))] if 1 < int(sides) <= 8 else []


def expected(original: Original) -> tuple[float, bool]:
    """How long a capture of one side, tape or reel is expected to be [s], and whether that is only what is usual.

    0 where time means nothing (scans).
    """
    rows = load_rows()
    medium = rows.value(f"carriers.{original.carrier}.medium")
    if medium == "scan":
        return 0.0, True
    extent = plan_extent(original, rows)
    if medium == "film":
        rate = rows.value(f"film.{original.carrier}.usual_rate")
        return extent.likely / rate, extent.assumed
    return extent.likely * 60 / max(1, len(parts_of(original))), extent.assumed


def listen(path: Path, at_s: float) -> bytes:
    """A place of a capture to be heard, as WAV.

    Raises
    ------
    Unreadable
        ``listen.no-sound``
    """
    return clip_wav(path, at_s - BEFORE_S, HEARD_S)
