"""Places of a scan that are looked at in full: kept while the scan passes by a second time in strips.

The first look (``first.FirstLook``) says where prints, lid and edges lie; a measure that needs every pixel of a place
asks for it by a ``Place`` and is handed a ``Window``. Nothing else of the scan is held.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from takeup.errors import UnusableSamples

MOST_PX = 24_000_000  # of all places together: 72 MB of 8-bit colour, so that a check stays within its memory


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A box of whole scan pixels; ``purpose`` names the measure that asked for it."""

    y: int
    x: int
    width: int
    height: int
    purpose: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """The pixels of a place: shape (height, width, channels), uint8 or uint16, as they lie in the file."""

    place: Place
    pixels: np.ndarray


@dataclass(frozen=True, slots=True)
class WindowsState:
    """What is known after some strips. ``row``: rows that passed."""

    places: tuple[Place, ...]
    row: int = 0
    kept: tuple[tuple[np.ndarray, ...], ...] = ()


def within(place: Place, size: tuple[int, int]) -> Place | None:
    """A place cut to the scan (width, height); None when nothing of it is left."""
    left, top = max(place.x, 0), max(place.y, 0)
    right, bottom = min(place.x + place.width, size[0]), min(place.y + place.height, size[1])
    if right <= left or bottom <= top:
        return None
    return replace(place, x=left, y=top, width=right - left, height=bottom - top)


def begin(places: Iterable[Place]) -> WindowsState:
    """Start with the places that are wanted, each within the scan.

    Raises
    ------
    UnusableSamples
        If a place is empty, or all together are more than may be held.
    """
    wanted = tuple(sorted(set(places)))
    if any(place.width < 1 or place.height < 1 or place.x < 0 or place.y < 0 for place in wanted):
        raise UnusableSamples("samples.unusable", reason="an empty place")
    if sum(place.width * place.height for place in wanted) > MOST_PX:
        raise UnusableSamples("samples.unusable", reason="more places than may be held")
    return WindowsState(wanted, 0, ((),) * len(wanted))


def step(state: WindowsState, strip: np.ndarray) -> WindowsState:
    """Take the next rows: shape (rows, width, channels)."""
    top, bottom = state.row, state.row + strip.shape[0]
    kept = list(state.kept)
    for number, place in enumerate(state.places):
        first, last = max(place.y, top), min(place.y + place.height, bottom)
        if first < last:
            part = strip[first - top : last - top, place.x : place.x + place.width].copy()
            kept[number] = (*kept[number], part)
    return WindowsState(state.places, bottom, tuple(kept))


def finish(state: WindowsState) -> dict[str, tuple[Window, ...]]:
    """The windows by purpose, from top to bottom; places that lie below the scan's end are left out."""
    found: dict[str, list[Window]] = {}
    for place, parts in zip(state.places, state.kept, strict=True):
        if parts:
            pixels = np.concatenate(parts) if len(parts) > 1 else parts[0]
            found.setdefault(place.purpose, []).append(Window(place=place, pixels=pixels))
    return {purpose: tuple(windows) for purpose, windows in found.items()}


def last_row(places: Sequence[Place]) -> int:
    """The row after which nothing more is wanted: a reader may stop there."""
    return max((place.y + place.height for place in places), default=0)
