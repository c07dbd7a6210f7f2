"""Takes shapes of several touching prints apart, only where there is evidence: a corner between them, a straight step
across the whole shape, pieces of sizes that prints have. Otherwise the shape stays whole or is given up as unsure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.shapes import Shape, flattened, is_oval, part_of
from takeup.measure.scan.sides import Box

FULL = 0.965  # share of a box that a print fills, rounded corners and deckle edges included
CROSSING = 0.6  # share of a seam's length along which it must be seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Papers:
    """The sizes that prints have: shorter and longer side [mm]; what stands out may be so much smaller or larger [mm].

    ``per_inch`` is the miniature's pixels per inch; None where nobody knows it, and sizes then say nothing.
    """

    sides_mm: tuple[tuple[float, float], ...]
    smaller_mm: float
    larger_mm: float
    per_inch: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One print of a shape. ``seams``: sides (top, right, bottom, left) that touch another print."""

    box: Box
    seams: tuple[bool, bool, bool, bool] = (False, False, False, False)


@dataclass(frozen=True, slots=True)
class _Part:
    u0: int
    v0: int
    u1: int
    v1: int
    seams: tuple[bool, bool, bool, bool] = (False, False, False, False)


def take_apart(away: np.ndarray, mask: np.ndarray, shape: Shape, papers: Papers) -> list[Piece] | None:
    """The prints that a shape is made of; None when that cannot be told safely.

    Parameters
    ----------
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid.
    mask : ndarray, uint8
        What stands out from the lid.
    shape : Shape
        The shape to take apart.
    papers : Papers
        The sizes that prints have.
    """
    if is_oval(shape):
        return [Piece(box=shape.box)]
    own = np.zeros_like(mask)
    cv2.drawContours(own, [np.rint(shape.contour).astype(np.int32)[:, None]], -1, 255, cv2.FILLED)
    flat = flattened(own, shape.box) > 127
    picture = flattened(away, shape.box)
    picture = picture if picture.ndim == 3 else picture[..., None]
    start = _Part(0, 0, flat.shape[1], flat.shape[0])
    if shape.fill >= FULL:
        parts = _aligned_small(picture, start, papers) or [start]
    else:
        found = _by_corners(flat, picture, start, papers, depth=0)
        if found is None:
            return None
        parts = found
    return [Piece(box=part_of(shape.box, p.u0, p.v0, p.u1, p.v1), seams=p.seams) for p in parts]


def _by_corners(flat: np.ndarray, picture: np.ndarray, part: _Part, papers: Papers, depth: int) -> list[_Part] | None:
    """Cut a shape that is no rectangle at the corners between its prints, so that all pieces become rectangles."""
    part = _tight(flat, part)
    window = flat[part.v0 : part.v1, part.u0 : part.u1]
    if _full(flat, part):
        return [part]
    if depth >= 4 or min(window.shape) < 12:
        return None
    best: tuple[float, list[_Part]] | None = None
    for axis, at in _corner_cuts(window):
        halves = [_tight(flat, half) for half in _cut(part, axis, at)]
        if not any(_full(flat, half) for half in halves):
            continue  # every cut must free a whole print: prints are taken off one by one
        pieces = [_by_corners(flat, picture, half, papers, depth + 1) for half in halves]
        if any(piece is None for piece in pieces):
            continue
        joined = [one for piece in pieces if piece for one in piece]
        worth = _seam_strength(picture, part, axis, at) + 3.0 * _size_share(joined, papers)
        if best is None or worth > best[0]:
            best = (worth, joined)
    if best is None or best[0] < 1.2:
        return None
    return best[1]


def _full(flat: np.ndarray, part: _Part) -> bool:
    window = flat[part.v0 : part.v1, part.u0 : part.u1]
    return bool(window.size and min(window.shape) >= 12 and window.mean() >= FULL)


def _tight(flat: np.ndarray, part: _Part) -> _Part:
    """The part without empty rows and columns at its edges."""
    window = flat[part.v0 : part.v1, part.u0 : part.u1]
    rows, columns = np.flatnonzero(window.mean(axis=1) > 0.04), np.flatnonzero(window.mean(axis=0) > 0.04)
    if not rows.size or not columns.size:
        return part
    u0, v0 = part.u0, part.v0
    return _Part(u0 + int(columns[0]), v0 + int(rows[0]), u0 + int(columns[-1]) + 1, v0 + int(rows[-1]) + 1, part.seams)


def _corner_cuts(window: np.ndarray) -> list[tuple[int, int]]:
    """Places (axis 0: a vertical cut, 1: a horizontal one) where the shape's edge jumps."""
    cuts = []
    for axis, turned in ((0, window), (1, window.T)):
        first = np.argmax(turned, axis=0).astype(np.float32)
        last = (turned.shape[0] - 1 - np.argmax(turned[::-1], axis=0)).astype(np.float32)
        for edge in (first, last):
            ahead, behind = np.roll(edge, -3), np.roll(edge, 3)
            jump = np.abs(ahead - behind)
            jump[:6] = jump[-6:] = 0
            least = max(6.0, 0.02 * turned.shape[0])
            while jump.max(initial=0) > least:
                peak = int(np.argmax(jump))
                level = jump[max(0, peak - 5) : peak + 6]
                at = max(0, peak - 5) + int(np.flatnonzero(level > 0.7 * level.max()).mean().round())
                cuts.append((axis, at + 1))
                jump[max(0, peak - 8) : peak + 9] = 0
                if len(cuts) > 12:
                    return cuts
    return list(dict.fromkeys(cuts))


def _cut(part: _Part, axis: int, at: int) -> tuple[_Part, _Part]:
    top, right, bottom, left = part.seams
    if axis == 0:
        x = part.u0 + at
        return (
            _Part(part.u0, part.v0, x, part.v1, (top, True, bottom, left)),
            _Part(x, part.v0, part.u1, part.v1, (top, right, bottom, True)),
        )
    y = part.v0 + at
    return (
        _Part(part.u0, part.v0, part.u1, y, (top, right, True, left)),
        _Part(part.u0, y, part.u1, part.v1, (True, right, bottom, left)),
    )


def _aligned_small(picture: np.ndarray, part: _Part, papers: Papers) -> list[_Part] | None:
    """``_aligned`` on a picture of at most 500 pixels, its cuts given back in the size of the large one."""
    if papers.per_inch is None or _known(part, papers):
        return None
    scale = max(1.0, max(picture.shape[:2]) / 500)
    small = cv2.resize(picture, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    small = small if small.ndim == 3 else small[..., None]
    found = _aligned(
        small, _Part(0, 0, small.shape[1], small.shape[0]), replace(papers, per_inch=papers.per_inch / scale)
    )
    if found is None:
        return None
    return [
        _Part(round(p.u0 * scale), round(p.v0 * scale), round(p.u1 * scale), round(p.v1 * scale), p.seams)
        for p in found
    ]


def _aligned(picture: np.ndarray, part: _Part, papers: Papers) -> list[_Part] | None:
    """Take apart a full rectangle that is itself no known size, where straight seams give pieces of known sizes."""
    if papers.per_inch is None or _known(part, papers):
        return None
    best: tuple[float, list[_Part]] | None = None
    for axis, at, strength in _step_candidates(picture, part):
        halves = _cut(part, axis, at)
        for pieces in (list(halves), *_deeper(picture, halves, papers)):
            if _size_share(pieces, papers) == 1.0 and (best is None or strength > best[0]):
                best = (strength, pieces)
    return best[1] if best else None


def _deeper(picture: np.ndarray, halves: tuple[_Part, _Part], papers: Papers) -> list[list[_Part]]:
    """Three in a row: one half is a known size, the other is cut once more."""
    known = [_known(half, papers) for half in halves]
    if sum(known) != 1:
        return []
    half, other = halves[known.index(False)], halves[known.index(True)]
    return [[other, *_cut(half, axis, at)] for axis, at, _ in _step_candidates(picture, half)]


def _step_candidates(picture: np.ndarray, part: _Part) -> list[tuple[int, int, float]]:
    """The strongest straight steps that cross most of the part: axis, place, strength."""
    window = picture[part.v0 : part.v1, part.u0 : part.u1]
    found = []
    for axis in (0, 1):
        turned = window if axis == 0 else window.transpose(1, 0, 2)
        if min(turned.shape[:2]) < 40:
            continue
        strength = _crossing(turned)
        edge = max(12, turned.shape[1] // 12)
        strength[:edge] = strength[-edge:] = 0
        for _ in range(4):
            at = int(np.argmax(strength))
            if strength[at] < CROSSING:
                break
            found.append((axis, at, float(strength[at])))
            strength[max(0, at - 6) : at + 7] = 0
    return found


def _crossing(turned: np.ndarray) -> np.ndarray:
    """For each column, in how many of 16 pieces along it a step stands out from its neighbourhood (0..1)."""
    pieces = np.array_split(np.arange(turned.shape[0]), 16)
    profile = np.stack([np.median(turned[rows], axis=0) for rows in pieces])  # (16, columns, channels)
    step = np.zeros(profile.shape[:2])
    step[:, 2:-2] = np.abs(profile[:, 3:-1] + profile[:, 4:] - profile[:, :-4] - profile[:, 1:-3]).max(axis=2) / 2
    thin = np.zeros_like(step)
    thin[:, 2:-2] = np.abs(profile[:, 2:-2] - (profile[:, :-4] + profile[:, 4:]) / 2).max(axis=2)
    step = np.maximum(step, thin)
    near = np.maximum(np.roll(step, 1, axis=1), np.roll(step, -1, axis=1))
    peak = np.maximum(step, near)
    ground = np.median(np.stack([np.roll(step, n, axis=1) for n in (-12, -10, -8, -6, -5, 5, 6, 8, 10, 12)]), axis=0)
    return (peak > np.maximum(2.5 * ground, 4.0)).mean(axis=0) + 0.001 * np.minimum(step.mean(axis=0), 100)


def _seam_strength(picture: np.ndarray, part: _Part, axis: int, at: int) -> float:
    window = picture[part.v0 : part.v1, part.u0 : part.u1]
    turned = window if axis == 0 else window.transpose(1, 0, 2)
    if min(turned.shape[:2]) < 32:
        return 0.0
    inside = np.abs(turned[:, max(0, at - 3) : at + 3]).max(axis=2).min(axis=1) > 1.5  # rows where both prints are
    if inside.sum() < 32:
        return 0.0
    strength = _crossing(turned[inside])
    return float(strength[max(0, at - 3) : at + 4].max(initial=0))


def _size_share(parts: list[_Part], papers: Papers) -> float:
    return float(np.mean([_known(part, papers) for part in parts])) if papers.per_inch else 0.0


def _known(part: _Part, papers: Papers) -> bool:
    """Whether a part has the size of a common print; blurred, with its shadow, it stands out larger than its paper."""
    per_inch = papers.per_inch
    if per_inch is None:
        return False
    sides = sorted(((part.u1 - part.u0) / per_inch * 25.4, (part.v1 - part.v0) / per_inch * 25.4))
    return any(
        all(-papers.smaller_mm <= side - paper <= papers.larger_mm for side, paper in zip(sides, pair, strict=True))
        for pair in papers.sides_mm
    )
