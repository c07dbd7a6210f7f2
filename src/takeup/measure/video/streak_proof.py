"""Whether a streak is one: its place held against the pictures before and after, wherever the camera has moved to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

ROUND = 6  # lines of a field above and below a streak by which its place is known again
LINES = 8  # of a field: so far up and down it is looked for in another picture
PIXELS = 44  # and so far to either side: a pan through the picture in two thirds of a second
BAR_LINES = 24  # a thin thing that moves no faster than this from picture to picture is found again
BAR_ALIKE = 0.7  # it stands out by so much of what the streak does
BAR_ALIKE_UNSURE = 0.4  # where the streak's surroundings are not known again, nor its colour gone
WIDEST = 240  # pixels by which a place is known again; more of them tell no more
SHARE = 0.55  # of a streak that must lie outside what belongs there
SIDE = 12
TOP = 4


@dataclass(frozen=True, slots=True)
class Place:
    """Where something stands out: field lines ``first`` to ``last``, pixels ``left`` to ``right`` (not in it)."""

    parity: int
    sign: int  # 1: lighter, -1: darker
    first: int
    last: int
    left: int
    right: int


@dataclass(frozen=True, slots=True)
class Look:
    """What is kept of a picture: its fields (uint8, sides cut), its colour as it lies in the file, places in it."""

    pair: tuple[np.ndarray, np.ndarray]
    colour: tuple[np.ndarray, ...]
    bits: int
    places: tuple[Place, ...]
    pieces: int  # as thin but shorter than a streak, in the same lines
    torn: np.ndarray | None = None


@dataclass(frozen=True, slots=True)
class _Again:
    """A streak's surroundings found again in another picture."""

    rms: float  # how unlike they are [codes]
    share: float  # of the streak outside what stands there
    over: float  # by how much, in the middle [codes]
    down: int  # lines of a field the surroundings lie lower there


def is_dropout(
    place: Place, before: Look, here: Look, after: Look, limits: Mapping[str, Any], *, glitters: bool = False
) -> bool:
    """Whether nothing in the pictures before and after explains what stands out at ``place``.

    ``glitters``: this one might be two glints that touch, so its place must be found again in both.
    """
    field = here.pair[place.parity]
    contrast = _contrast(field, place)
    if contrast < limits["contrast"]:
        return False
    sides = [_again(field, look.pair[place.parity], place) for look in (before, after)]
    least = limits["over"]
    out = [side is not None and side.share >= SHARE and side.over >= least for side in sides]
    known = [side is not None and side.rms <= max(9.0, 0.12 * contrast) for side in sides]
    if glitters and any(side is None or side.rms > 9 for side in sides):
        return False
    if not any(out) or any(not one and is_known for one, is_known in zip(out, known)):
        return False
    if not all(known):
        lost = [side is None or side.rms > max(35.0, contrast) for side in sides]
        if not any(known) and (any(lost) or not all(out)):
            return False
        if not (_is_even(field, place, contrast) or _colour_gone(here, place)):
            return False
    moved = [side.down if side is not None else 0 for side in sides]
    others = before.pair[place.parity], after.pair[place.parity]
    alike = BAR_ALIKE if all(known) or _colour_gone(here, place) else BAR_ALIKE_UNSURE
    return not _moves(field, others, moved if all(known) else None, place, alike)


def _contrast(field: np.ndarray, place: Place) -> float:
    """How far the streak lies from the lines beside it, one left out for soft edges [codes]."""
    part = slice(place.left, place.right)
    inside = float(cv2.mean(field[place.first : place.last + 1, part])[0])
    above = field[max(0, place.first - 2) : max(1, place.first - 1), part]
    below = field[min(place.last + 2, len(field) - 1) : place.last + 3, part]
    outside = [float(lines.mean()) for lines in (above, below) if lines.size]
    return max(place.sign * (inside - level) for level in outside) if outside else 0.0


def _again(field: np.ndarray, other: np.ndarray, place: Place) -> _Again | None:
    lines, pixels = field.shape
    left, right = max(0, place.left - 8), min(pixels, place.right + 8)
    if right - left > WIDEST:
        left, right = (left + right - WIDEST) // 2, (left + right + WIDEST) // 2
    parts = [(max(0, place.first - 1 - ROUND), place.first - 1), (place.last + 2, min(lines, place.last + 2 + ROUND))]
    parts = [(top, end) for top, end in parts if end - top >= 3]
    if not parts:
        return None
    up, down = min(LINES, parts[0][0]), min(LINES, lines - parts[-1][1])
    west, east = min(PIXELS, left), min(PIXELS, pixels - right)
    found, number = [], 0
    for top, end in parts:
        window = other[top - up : end + down, left - west : right + east]
        found.append(np.asarray(cv2.matchTemplate(window, field[top:end, left:right], cv2.TM_SQDIFF)))
        number += (end - top) * (right - left)
    least, _, (x, y), _ = cv2.minMaxLoc(np.sum(found, axis=0))
    return _outside(field, other, place, (y - up, x - west), float(np.sqrt(max(least, 0.0) / number)))


def _outside(field: np.ndarray, other: np.ndarray, place: Place, moved: tuple[int, int], rms: float) -> _Again | None:
    """How much of the streak lies outside all that stands within a line and two pixels of its place there."""
    down, right = moved
    top, end = max(0, place.first + down - 1), min(len(other), place.last + down + 2)
    begin, stop = max(0, place.left + right), min(other.shape[1], place.right + right)
    if end - top < 1 or stop - begin < 20:
        return None
    there = other[top:end, begin:stop]
    streak = field[place.first : place.last + 1, begin - right : stop - right]
    if place.sign > 0:
        most = cv2.dilate(there.max(axis=0)[None], np.ones((1, 5), np.uint8))[0]
        over = streak.min(axis=0).astype(np.int16) - most
    else:
        most = cv2.erode(there.min(axis=0)[None], np.ones((1, 5), np.uint8))[0]
        over = most.astype(np.int16) - streak.max(axis=0)
    return _Again(rms=rms, share=float((over > 8).mean()), over=float(np.median(over)), down=down)


def _moves(
    field: np.ndarray, others: tuple[np.ndarray, np.ndarray], moved: list[int] | None, place: Place, alike: float
) -> bool:
    """Whether the same thin thing lies as far one way in the picture before as the other way in the one after.

    Where its surroundings are known again (``moved``: so far down), what stands thin about the streak in its own
    picture too is a fence or a blind and no sign of movement.
    """
    wide, near = 2 * BAR_LINES + 1, np.ones((3, 1), np.uint8)  # a line more or less: none moves by whole lines
    own = _thinness(field, place)
    most = max(float(own[BAR_LINES : BAR_LINES + place.last - place.first + 1].max()), 1.0)
    own[BAR_LINES - 1 : BAR_LINES + place.last - place.first + 2] = 0
    new = []
    for other, down in zip(others, moved or (0, 0)):
        there = cv2.dilate(_thinness(other, place)[:, None], near).ravel()
        stands = np.roll(cv2.dilate(own[:, None], np.ones((5, 1), np.uint8)).ravel(), down)
        new.append((np.maximum(there - stands, 0) if moved is not None else there)[:wide])
    return float(np.minimum(new[0], new[1][::-1]).max()) >= alike * most


def _thinness(field: np.ndarray, place: Place) -> np.ndarray:
    """Mean of what stands out in every line near, between the streak's ends; shape (2 BAR_LINES + lines,)."""
    first, end = place.first - BAR_LINES, place.last + BAR_LINES + 1
    top, bottom = max(0, first), min(len(field), end)
    how = cv2.MORPH_TOPHAT if place.sign > 0 else cv2.MORPH_BLACKHAT
    kernel = np.ones((4 if place.last == place.first else 5, 1), np.uint8)
    out = cv2.morphologyEx(field[top:bottom, place.left : place.right], how, kernel)
    rows = np.zeros(end - first, np.float32)
    rows[top - first : bottom - first] = out.mean(axis=1)
    return rows


def _is_even(field: np.ndarray, place: Place, contrast: float) -> bool:
    """Whether the streak keeps to one code nearly all along."""
    inside = field[place.first : place.last + 1, place.left : place.right].astype(np.float32)
    spread = np.abs(inside - np.median(inside, axis=1, keepdims=True))
    return float(np.percentile(spread, 75)) <= max(9.0, 0.15 * contrast)


def _colour_gone(here: Look, place: Place) -> bool:
    """Whether the streak is grey where the lines above and below are coloured; never where lines share their colour."""
    if len(here.colour) < 2 or here.colour[0].shape[0] < 2 * len(here.pair[0]):
        return False
    across = (here.pair[0].shape[1] + 2 * SIDE) / here.colour[0].shape[1]
    part = slice(int((place.left + SIDE + 8) / across), max(1, int((place.right + SIDE - 8) / across)))
    first, last = (TOP + place.parity + 2 * line for line in (place.first, place.last))
    inside = _saturation(here, range(first, last + 1, 2), part)
    near = [line for line in (first - 4, last + 4) if 0 <= line < here.colour[0].shape[0]]
    return inside < 3.0 and _saturation(here, near, part) > 8.0


def _saturation(here: Look, lines: Any, part: slice) -> float:
    zero, unit = 2.0 ** (here.bits - 1), 2.0 ** (here.bits - 8)
    parts = [[np.asarray(plane[line, part], np.float32) - zero for line in lines] for plane in here.colour]
    return float(np.hypot(*(np.mean(lines_of, axis=0) for lines_of in parts)).mean()) / unit if parts[0] else 0.0
