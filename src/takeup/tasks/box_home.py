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
    needed_bytes: int | None = None  # of a drive; None: nobody knows yet


def home_of(folder: Path, settings: Settings) -> Home:
    """What a box's record says; nothing while it has none or cannot be read just now."""
    try:
        state = (folder / FILE_NAME).stat()
        return _read(folder, settings, state.st_mtime_ns, state.st_size)
    except (OSError, TakeupError):
        return Home()


@lru_cache(maxsize=REMEMBERED)
def _read(folder: Path, settings: Settings, _modified_ns: int, _size: int) -> Home:
    _, standing = box_show(folder, settings)
    captured = [item.done for item in standing.items if item.captures]
    how: How = ""
    if captured and all(done["packed"] for done in captured):
        how = "read-back" if all(done["delivered"] for done in captured) else "packed"
    what = {"packed": "packed", "read-back": "delivered"}.get(how)
    record = look_into(folder, settings).record
    facts = record.facts(what) if what else []
    made = sum(fact.facts["bytes"] for fact in record.latest("made") if not fact.facts.get("gone"))
    packed = int(facts[-1].facts["bytes"]) if how == "packed" and facts else 0
    needed = None if how == "read-back" else room_needed(folder, settings, packed, made)
    return Home(how=how, at=facts[-1].at if facts else "", needed_bytes=needed)
