"""How near a box is to going home, by its own record: packed, read back on a drive, and the room a drive must have.

For pages that show many boxes: read again only when the record has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from takeup.box.folder import look_into
from takeup.box.record import FILE_NAME
from takeup.errors import TakeupError
from takeup.settings import Settings
from takeup.tasks.box_show import box_show
from takeup.tasks.handing import room_needed

REMEMBERED = 2000  # boxes
How = Literal["", "packed", "read-back"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Home:
    """``how``: everything that was captured is packed as it stands now, or also read back on a drive; ``at``: since."""

    how: How = ""
    at: str = ""


def home_of(folder: Path, settings: Settings) -> Home:
    """What a box's record says; nothing while it has none or cannot be read just now."""
    try:
        return _home(folder, settings, *_state(folder))
    except (OSError, TakeupError):
        return Home()


def room_for(folder: Path, settings: Settings) -> int | None:
    """Room that a drive for this box must have [bytes]: the parcel's, else what is made, else planned."""
    try:
        return _room(folder, settings, *_state(folder))
    except (OSError, TakeupError):
        return None


def _state(folder: Path) -> tuple[int, int]:
    """What changes with every fact that the record takes in."""
    state = (folder / FILE_NAME).stat()
    return state.st_mtime_ns, state.st_size


@lru_cache(maxsize=REMEMBERED)
def _home(folder: Path, settings: Settings, _modified_ns: int, _size: int) -> Home:
    record = look_into(folder, settings).record
    if not record.facts("packed"):  # most boxes of a lab: nothing more of them needs to be read
        return Home()
    _, standing = box_show(folder, settings)
    captured = [item.done for item in standing.items if item.captures]
    if not captured or not all(done["packed"] for done in captured):
        return Home()
    home = all(done["delivered"] for done in captured)
    return Home(how="read-back" if home else "packed", at=record.facts("delivered" if home else "packed")[-1].at)


@lru_cache(maxsize=REMEMBERED)
def _room(folder: Path, settings: Settings, _modified_ns: int, _size: int) -> int | None:
    record = look_into(folder, settings).record
    made = sum(fact.facts["bytes"] for fact in record.latest("made") if not fact.facts.get("gone"))
    packed = record.facts("packed") if _home(folder, settings, _modified_ns, _size).how else []
    return room_needed(folder, settings, int(packed[-1].facts["bytes"]) if packed else 0, made)
