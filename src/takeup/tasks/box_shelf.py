"""A box in one line, for lists of many: how many originals, what is next, what is written on them. Reads only.

Read again only when the box's record has changed: a lab has hundreds of boxes on one page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from takeup.box.record import FILE_NAME
from takeup.settings import Settings
from takeup.tasks.box_show import box_show

REMEMBERED = 2000  # boxes


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """A box in short."""

    items: int = 0
    pieces: int = 0
    captured: int = 0
    next: str = ""  # as ``BoxStanding.next``
    agreed: bool = False
    carriers: Mapping[str, int] | None = None
    labels: str = ""  # everything written on its originals and their ids, folded, to find it by


def shelf_of(folder: Path, settings: Settings) -> Shelf:
    """The box in short; an empty one while it has no record."""
    try:
        state = (folder / FILE_NAME).stat()
    except OSError:
        return Shelf()
    return _read(folder, settings, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=REMEMBERED)
def _read(folder: Path, settings: Settings, _modified_ns: int, _size: int) -> Shelf:
    _, standing = box_show(folder, settings)
    carriers: dict[str, int] = {}
    for item in standing.items:
        carriers[item.original.carrier] = carriers.get(item.original.carrier, 0) + 1
    written = (f"{one.original.id} {one.original.label} {one.original.notes}" for one in standing.items)
    return Shelf(
        items=len(standing.items),
        pieces=sum(item.original.count or 1 for item in standing.items),
        captured=sum(1 for item in standing.items if item.captures),
        next=standing.next,
        agreed=standing.agreed,
        carriers=carriers,
        labels="\n".join(written).casefold(),
    )
