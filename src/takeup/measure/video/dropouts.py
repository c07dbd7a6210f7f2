"""Dropouts: streaks along one to three lines of one field that nothing before, after or beside them explains.

A streak is sought in three steps. It must be thin in its own field (lighter or darker than what stands above and below
within four lines), and it must be missing from the lines of the other field between which it lies. What remains is held
against the pictures before and after: its surroundings are found again there, wherever the camera has moved to, and at
that place there must be no such thing. A thin bar that really moves is found again in both, as far down in one as up in
the other, and is none. Where the surroundings are not found again (a cut, glitter, torn lines) the streak must also be
like one: even along its length, or without colour where its surroundings have some.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from takeup.measure.video import streak_proof
from takeup.measure.video.fields import SD_LINES
from takeup.measure.video.glance import TOP
from takeup.measure.video.loops import loops

SIDE = 12  # columns left out at either side: blanking and what a shifted line brings of it
THIN = np.ones((4, 1), np.uint8)  # four lines of a field: what is thinner stands out
HOLES = np.ones((1, 15), np.uint8)  # texture may break a streak for so long
FILLED = 0.62  # share of a streak's shortest length that must stand out
MOST_LINES = 3
EDGE_LINES = 6  # at top and bottom of a field: what moves into the picture there stood nowhere before
MOST = 24  # places looked at closely in one picture; more are no single dropouts
MOST_AT_ALL = 400  # a torn picture
ALIGNED_PX = 16  # ends that lie under each other
PATTERN = 7  # so many of them close above and below each other are stripes, blinds, a torn picture
PATTERN_LINES = 16  # of a field
BARS, BARS_LINES = 5, 80
PIECE = 10  # shorter than this is no piece [px]
GLITTER = 20  # so many short pieces: water in the sun; what looks like a streak may be two glints
GLITTER_LONG = 1.7
APART_PX = 64  # pieces of the same lines nearer than this are one streak


@dataclass(frozen=True, slots=True, kw_only=True)
class Streak:
    """One dropout: ``line`` is its first picture line, ``lines`` counts lines of its field."""

    line: int
    lines: int
    start: int  # px
    length: int  # px
    light: bool


@dataclass(frozen=True, slots=True)
class Two:
    """State: the last two pictures."""

    before: streak_proof.Look | None = None
    here: streak_proof.Look | None = None


def begin() -> Two:
    return Two()


def step(
    state: Two,
    two: tuple[np.ndarray, np.ndarray],
    colour: tuple[np.ndarray, ...],
    bits: int,
    limits: Mapping[str, Any],
    *,
    torn: np.ndarray | None = None,
) -> tuple[Two, tuple[Streak, ...]]:
    """Take the next picture; the streaks in the one before it.

    Parameters
    ----------
    two : (ndarray, ndarray)
        The picture's :func:`fields`.
    colour : tuple of ndarray
        Blue and red difference as they lie in the file; empty for grey.
    limits : mapping
        rows of ``video.dropout``: ``contrast`` a streak stands out by [8-bit codes], ``length_px`` the shortest one
        counted, for a 720-sample line [px], ``over`` how far it lies outside what belongs there [8-bit codes]
    torn : ndarray, shape (field lines,), optional
        Lines of this picture's fields inside a band of tracking noise: no streak is told there.
    """
    wide = two[0].shape[1]
    if 2 * len(two[0]) > SD_LINES or min(wide, len(two[0])) < 32:
        return begin(), ()
    pair = np.ascontiguousarray(two[0][:, SIDE : wide - SIDE]), np.ascontiguousarray(two[1][:, SIDE : wide - SIDE])
    length = max(8, round(limits["length_px"] * wide / 720))
    places, pieces = _places(pair, length, int(limits["contrast"]))
    after = streak_proof.Look(pair, colour, bits, tuple(places), pieces, torn)
    now = Two(state.here, after)
    before, here = state.before, state.here
    if before is None or here is None or not before.pair[0].shape == here.pair[0].shape == pair[0].shape:
        return now, ()
    places = [place for place in here.places if not _is_torn(place, here.torn)]
    if len(places) > MOST_AT_ALL:
        return now, ()
    places = _no_pattern(places)
    if not places or len(places) > MOST:
        return now, ()
    sure = []
    for place in places:
        glitters = here.pieces >= GLITTER and place.right - place.left < GLITTER_LONG * length
        if streak_proof.is_dropout(place, before, here, after, limits, glitters=glitters):
            sure.append(place)
    return now, tuple(_joined(sure))


def _is_torn(place: streak_proof.Place, torn: np.ndarray | None) -> bool:
    return torn is not None and bool(torn[max(0, place.first - 2) : place.last + 3].any())


def _no_pattern(places: list[streak_proof.Place]) -> list[streak_proof.Place]:
    """Those that are no part of stripes: many under each other, which begin or end under each other too.

    Of a streak across such stripes neither end does. Further apart both ends must, and fewer are enough: window bars.
    """
    if len(places) < BARS:
        return places
    one = np.array([(place.parity, place.first, place.left, place.right) for place in places])
    parity, first, left, right = (np.abs(one[:, None, at] - one[None, :, at]) for at in range(4))
    over = np.minimum.outer(one[:, 3], one[:, 3]) > np.maximum.outer(one[:, 2], one[:, 2])
    stripes = (parity == 0) & (first <= PATTERN_LINES) & over & ((left <= ALIGNED_PX) | (right <= ALIGNED_PX))
    bars = (parity == 0) & (first <= BARS_LINES) & (left <= ALIGNED_PX) & (right <= ALIGNED_PX)
    part = (stripes.sum(axis=1) >= PATTERN) | (bars.sum(axis=1) >= BARS)
    return [place for place, is_part in zip(places, part.tolist()) if not is_part]


def _joined(places: list[streak_proof.Place]) -> list[Streak]:
    """Pieces of one streak made one: the same lines of one field, near each other."""
    groups: list[list[streak_proof.Place]] = []
    for place in sorted(places, key=lambda one: (one.parity, one.left)):
        for group in groups:
            if any(_together(place, other) for other in group):
                group.append(place)
                break
        else:
            groups.append([place])
    found = []
    for group in groups:
        first, last = min(one.first for one in group), max(one.last for one in group)
        left, right = min(one.left for one in group), max(one.right for one in group)
        line = TOP + 2 * first + group[0].parity
        light = group[0].sign > 0
        found.append(Streak(line=line, lines=last - first + 1, start=left + SIDE, length=right - left, light=light))
    return found


def _together(one: streak_proof.Place, other: streak_proof.Place) -> bool:
    near = max(one.left, other.left) - min(one.right, other.right) < APART_PX
    return one.parity == other.parity and near and one.first <= other.last + 1 and other.first <= one.last + 1


def _places(pair: tuple[np.ndarray, np.ndarray], length: int, contrast: int) -> tuple[list[streak_proof.Place], int]:
    """Where something thin stands out of its own field and is missing from the other; and how many shorter pieces."""
    found: list[streak_proof.Place] = []
    thins: list[np.ndarray] = []
    lines, wide = pair[0].shape
    counts, masks = np.empty((2, 2, lines), np.int32), np.empty((2, 2, lines, wide), np.uint8)
    least = FILLED * length
    loops().stand_out(*pair, contrast, least, np.empty((5, wide + 8), np.uint8), counts, masks)
    for parity in (0, 1):
        for at, sign in enumerate((1, -1)):
            full = counts[parity, at] >= least
            runs, thin = _runs(pair[parity], full, masks[parity, at], parity, sign, length, contrast)
            found += runs
            thins += [thin] if thin is not None else []
    return found, sum(_begun(thin, PIECE) - _begun(thin, length) for thin in thins) if found else 0


def _runs(
    field: np.ndarray, full: np.ndarray, mask: np.ndarray, parity: int, sign: int, length: int, contrast: int
) -> tuple[list[streak_proof.Place], np.ndarray | None]:
    """Runs along a line that are thin as well, and all that is thin; only in lines of which enough is apart: ``full``
    ones, and only of those ``mask`` is known.
    """
    full[:EDGE_LINES] = full[-EDGE_LINES:] = False
    if not full.any():
        return [], None
    taken, inside = _taken(full)
    out = cv2.morphologyEx(field[taken], cv2.MORPH_TOPHAT if sign > 0 else cv2.MORPH_BLACKHAT, THIN)
    thin = cv2.min(cv2.threshold(out, contrast - 1, 1, cv2.THRESH_BINARY)[1], mask[taken])
    thin[~inside] = 0
    if not (cv2.reduce(thin, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S) >= FILLED * length).any():
        return [], thin
    box = cv2.blur(thin * 255, (length, 1), borderType=cv2.BORDER_CONSTANT)
    hit = cv2.threshold(box, int(255 * FILLED) - 1, 1, cv2.THRESH_BINARY)[1]
    if not hit.any():
        return [], thin
    whole = cv2.min(cv2.dilate(hit, np.ones((1, length), np.uint8)), cv2.morphologyEx(thin, cv2.MORPH_CLOSE, HOLES))
    stats = cv2.connectedComponentsWithStats(whole, connectivity=8)[2]
    found = []
    for left, top, across, high, _ in stats[1:].tolist():
        if across >= length and high <= MOST_LINES:
            line = int(taken[top])
            found.append(streak_proof.Place(parity, sign, line, line + high - 1, left, left + across))
    return found, thin


def _taken(full: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lines to look at, each with the four above and below that it is held against; and which of them are the lines.

    Where that would be most of the field it is the whole field.
    """
    groups = _groups(full)
    if 8 * len(groups) + full.sum() > 0.7 * len(full):
        return np.arange(len(full)), full
    taken = [np.clip(np.arange(start - 4, end + 4), 0, len(full) - 1) for start, end in groups]
    inside = [np.pad(np.ones(end - start, bool), 4) for start, end in groups]
    return np.concatenate(taken), np.concatenate(inside)


def _begun(mask: np.ndarray, length: int) -> int:
    """How many runs of a line are so long."""
    run = cv2.erode(mask, np.ones((1, length), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return int(cv2.countNonZero(cv2.subtract(run[:, 1:], run[:, :-1])))


def _groups(flags: np.ndarray) -> list[tuple[int, int]]:
    """Runs of True, as (first, end)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist()))
