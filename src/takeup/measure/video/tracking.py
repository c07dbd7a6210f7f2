"""Tracking: a band of lines in which noise stands instead of picture, because the head runs beside its track.

In such a band every line is rough from one end to the other and unlike the next, and nothing of it is found again in
the picture before. Grass, gravel and leaves are as rough, but are found again wherever the camera has moved to; water
and falling snow are not, but leave smooth places along each line. What decides is what else the head loses: the colour,
and the beginning of the line (its edge lies elsewhere from line to line).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from takeup.measure.video.fields import SD_LINES
from takeup.measure.video.glance import TOP

SIDE = 24
PARTS = 12  # of a line: each must be rough
HOLE = 2  # smoother lines inside a band
MARGIN = 12  # lines of a field above and below a band that it is held against
LINES, PIXELS = 8, 44  # how far the picture may have moved since the one before
EDGE = 40  # pixels from the left in which a line's picture begins
MOST = 3  # bands of one field that are looked at, the highest first
KNOWN_WIDE = 240  # pixels in the middle by which lines are known again
MOST_SHARE = 0.7  # of a field: more is no band
APART_TIMES = 2.5  # as rough as the lines above and below, where nothing else tells
APART = 4  # pixels between which roughness along a line is told: beyond what a tape's 3 MHz joins


@dataclass(frozen=True, slots=True)
class Before:
    """State: the fields of the picture before."""

    two: tuple[np.ndarray, np.ndarray] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Torn:
    """The band in one picture: field lines ``first`` to ``end`` (not in it), counted from the top of ``fields``."""

    first: int
    end: int


def begin() -> Before:
    return Before()


def step(
    state: Before,
    two: tuple[np.ndarray, np.ndarray],
    colour: tuple[np.ndarray, ...],
    bits: int,
    limits: Mapping[str, Any],
) -> tuple[Before, Torn | None]:
    """Take the next picture; the band in it, if there is one.

    Parameters
    ----------
    two : (ndarray, ndarray)
        The picture's :func:`fields`.
    colour : tuple of ndarray
        Blue and red difference as they lie in the file; empty for grey.
    limits : mapping
        rows of ``video.tracking``: ``rough`` codes from line to line, ``least_lines`` of a field, ``smooth_share`` the
        smoothest part of a line over the middle one, ``found_again`` correlation, ``colour_left`` share
    """
    now = Before(two)
    if 2 * len(two[0]) > SD_LINES or two[0].shape[1] < 8 * SIDE or len(two[0]) < 4 * MARGIN:
        return Before(), None
    found: list[Torn] = []
    for parity in (0, 1):
        earlier = state.two[parity] if state.two is not None else None
        found += _field(two[parity], earlier, parity, colour, bits, limits)
    if not found:
        return now, None
    longest = max(found, key=lambda torn: torn.end - torn.first)
    return now, longest


def _field(
    field: np.ndarray,
    earlier: np.ndarray | None,
    parity: int,
    colour: tuple[np.ndarray, ...],
    bits: int,
    limits: Mapping[str, Any],
) -> list[Torn]:
    inner = field[:, SIDE : field.shape[1] - SIDE]
    down = _means(cv2.absdiff(inner[1:], inner[:-1]))
    along = _means(cv2.absdiff(inner[:, APART:], inner[:, :-APART]))
    rough = np.concatenate([[0], np.minimum(down, 1.5 * np.minimum(along[1:], along[:-1]))])
    runs = [(first, end) for first, end in _runs(rough >= limits["rough"], int(limits["least_lines"]))]
    found = []
    begins = _begins(field) if runs else np.zeros(0)
    for first, end in sorted(runs, key=lambda run: run[0] - run[1])[:MOST]:
        torn = Torn(first=first, end=end)
        if end - first > MOST_SHARE * len(field) or not _everywhere(inner[first:end], limits["smooth_share"]):
            continue
        votes = _colour_lost(colour, bits, torn, parity, limits), _thrown(begins, torn)
        outside = np.concatenate([rough[max(0, first - MARGIN - 2) : max(0, first - 2)], rough[end + 2 :][:MARGIN]])
        apart = len(outside) > 0 and float(np.median(rough[first:end])) >= APART_TIMES * float(np.median(outside))
        told = True in votes or (False not in votes and apart)
        if told and not _found_again(inner, earlier, torn, limits):
            found.append(torn)
    return found


def _means(plane: np.ndarray) -> np.ndarray:
    return cv2.reduce(plane, 1, cv2.REDUCE_AVG, dtype=cv2.CV_32F).ravel()


def _runs(flags: np.ndarray, least: int) -> list[tuple[int, int]]:
    """Runs of True of at least so many, small holes closed."""
    column = flags.astype(np.uint8)[:, None]
    closed = cv2.morphologyEx(column, cv2.MORPH_CLOSE, np.ones((HOLE + 1, 1), np.uint8)).ravel()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], closed.astype(np.int8), [0]])))
    return [(a, b) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist()) if b - a >= least]


def _everywhere(lines: np.ndarray, smooth_share: float) -> bool:
    """Whether most lines are rough all along: their smooth parts not much smoother than the middle one."""
    steps = cv2.absdiff(lines[:, APART:], lines[:, :-APART])
    parts = np.sort(cv2.resize(steps, (PARTS, len(lines)), interpolation=cv2.INTER_AREA), axis=1)
    smooth = np.sort(parts[:, PARTS // 6])[len(lines) // 2]
    return float(smooth) >= smooth_share * float(np.median(parts))


def _found_again(inner: np.ndarray, earlier: np.ndarray | None, torn: Torn, limits: Mapping[str, Any]) -> bool:
    """Whether the fine detail of the band stands in the picture before as well, wherever the camera has moved to."""
    if earlier is None or earlier.shape[0] != inner.shape[0]:
        return False
    other = earlier[:, SIDE : earlier.shape[1] - SIDE]
    middle = (torn.first + torn.end) // 2
    top, end = max(torn.first, middle - 5), min(torn.end, middle + 5)
    left = (inner.shape[1] - KNOWN_WIDE) // 2
    patch = _detail(inner[top:end, left : left + KNOWN_WIDE])
    window = _detail(other[max(0, top - LINES) : end + LINES, max(0, left - PIXELS) : left + KNOWN_WIDE + PIXELS])
    return float(cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED).max()) >= limits["found_again"]


def _detail(lines: np.ndarray) -> np.ndarray:
    return cv2.subtract(lines[:, APART:], lines[:, :-APART], dtype=cv2.CV_32F)


def _colour_lost(
    colour: tuple[np.ndarray, ...], bits: int, torn: Torn, parity: int, limits: Mapping[str, Any]
) -> bool | None:
    """Whether the band has much less colour than the lines above and below; None where those have little."""
    if len(colour) < 2 or colour[0].shape[0] < 4 * MARGIN:
        return None
    down = 1 if colour[0].shape[0] > 2 * torn.end else 2
    place = [(TOP + parity + 2 * line) // down for line in (torn.first, torn.end)]
    first, end = place
    far = 2 * MARGIN // down
    inside = _strength(colour, bits, max(0, first + 2), max(first + 3, end - 2))
    near = [
        _strength(colour, bits, max(0, first - far - 2), first - 2),
        _strength(colour, bits, end + 2, end + far + 2),
    ]
    known = [one for one in near if one is not None]
    if inside is None or not known or min(known) < 5.0:
        return None
    return inside <= limits["colour_left"] * min(known)


def _strength(colour: tuple[np.ndarray, ...], bits: int, first: int, end: int) -> float | None:
    """Colour of some lines, its noise averaged away over blocks [8-bit codes]."""
    lines = [plane[first:end] for plane in colour]
    if end - first < 2 or not lines[0].size:
        return None
    size = (max(1, lines[0].shape[1] // 24), 1)
    means = [cv2.resize(np.ascontiguousarray(part, np.float32), size, interpolation=cv2.INTER_AREA) for part in lines]
    zero, unit = 2.0 ** (bits - 1), 2.0 ** (bits - 8)
    return float(np.hypot(means[0] - zero, means[1] - zero).mean()) / unit


def _begins(field: np.ndarray) -> np.ndarray:
    """Where the picture begins on every line [px]; ``EDGE`` where it does not show."""
    edge = cv2.blur(field[:, :EDGE], (3, 1))
    over = edge > float(np.median(edge[:, :3])) + 14
    return np.where(over.any(axis=1), over.argmax(axis=1), EDGE).astype(np.float32)


def _thrown(begins: np.ndarray, torn: Torn) -> bool | None:
    """Whether the lines of the band begin at other places than the rest; None where no blanking shows."""
    rest = np.sort(np.concatenate([begins[: max(0, torn.first - 3)], begins[torn.end + 3 :]]))
    if len(rest) < 2 * MARGIN:
        return None
    low, middle, high = (float(rest[int(share * len(rest))]) for share in (0.1, 0.5, 0.9))
    if middle < 3 or high - low > 6:
        return None
    return float((np.abs(begins[torn.first : torn.end] - middle) > max(3.0, high - low)).mean()) >= 0.4
