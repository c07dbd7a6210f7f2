"""Takes shapes of several touching prints apart, only where there is evidence: a corner between them, a straight step
across the whole shape, pieces of sizes that prints have. Otherwise the shape stays whole or is given up as unsure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.seams_sizes import Papers, is_known, rarity
from takeup.measure.scan.shapes import Shape, flattened, is_oval, part_of
from takeup.measure.scan.sides import Box

FULL = 0.965  # share of a box that a print fills, rounded corners and deckle edges included
CROSSING = 0.6  # share of a seam's length along which it must be seen
CERTAIN = 0.85  # the same where the whole could be one print too
PLAIN = 0.95  # nothing better is looked for
LEAST_SEAM_MM = 45.0
LEAST_STEP = 2.0  # codes of 255: medians over a sixteenth of a seam stand some 0.3 codes about the truth
LEAST_MM = 30.0  # a line closer to the outline is a border's
MOST_PLACES = 8  # where a part is tried to be cut
MOST_PARTS = 48  # looked at in one shape: more than that is no bed of prints but a pattern
DEPTH = 5  # cuts one after the other: six in a row


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


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to explain a part: its prints, the weakest seam between them, whether all have sizes that prints have."""

    prints: tuple[_Part, ...]
    seam: float
    known: bool


def take_apart(away: np.ndarray, mask: np.ndarray, shape: Shape, papers: Papers) -> list[Piece] | None:
    """The prints that a shape is made of; none when seams are seen that cannot be told safely, None when its outline is
    that of no print and nothing in it shows seams.

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
    sheet = _Sheet(flat, picture, papers)
    way = _best_way(sheet, start, {}, 0)
    if way is None or (len(way.prints) > 1 and not way.known):
        if not _has_seam(sheet, start):
            return None
        sheet = _Sheet(flat, picture, replace(papers, smaller_mm=papers.unseen_mm), loose=True)
        way = _best_way(sheet, start, {}, 0)
        if way is None or not way.known:
            return []
    return [Piece(box=part_of(shape.box, p.u0, p.v0, p.u1, p.v1), seams=p.seams) for p in way.prints]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A shape laid straight: where it is, what it shows above the lid."""

    flat: np.ndarray
    picture: np.ndarray
    papers: Papers
    loose: bool = False  # parts of papers may not be seen, so that only fitted sides tell their size


def _best_way(sheet: _Sheet, part: _Part, seen: dict[_Part, _Way | None], depth: int) -> _Way | None:
    """The best explanation of a part as whole prints; None when there is none.

    A part that is one print of a known size stays one unless certain seams give only known sizes; a full rectangle of
    no known size may also stay whole, but not when a certain seam runs through its middle: then nobody can tell.
    """
    part = _tight(sheet.flat, part)
    if part in seen:
        return seen[part]
    seen[part] = None
    full, known = _full(sheet.flat, part, 0.85 if sheet.loose else FULL), _known(part, sheet.papers)
    cuts = (
        _ways_cut(sheet, part, seen, depth)
        if depth < DEPTH and len(seen) < MOST_PARTS and not _too_small(part, sheet)
        else []
    )
    sure = [way for way in cuts if way.known and (way.seam >= CERTAIN or not (full and known))]
    if sure:
        best: _Way | None = max(sure, key=lambda way: _ease(way, sheet.papers))
    elif full and known and not depth and any(_is_block(sheet, way) for way in cuts):
        best = None  # four prints of a size that nobody knows, or one large one of four pictures
    elif full and (known or depth or not (any(way.seam >= CERTAIN for way in cuts) and _has_seam(sheet, part))):
        best = _Way((part,), 2.0, known)
    else:
        best = None
    seen[part] = best
    return best


def _ease(way: _Way, papers: Papers) -> tuple[bool, bool, int, float, int]:
    """How easily a way is believed: by its seams, then by how common its sizes are, then by how few prints it needs."""
    rarest = max(rarity(p.u1 - p.u0, p.v1 - p.v0, papers) for p in way.prints)
    return way.seam >= CERTAIN, way.seam >= PLAIN, -rarest, min(way.seam, 1.0), -len(way.prints)


def _is_block(sheet: _Sheet, way: _Way) -> bool:
    """Whether certain seams part something into prints of one size, and each of them again: a line through the middle
    of a picture alone does not."""
    papers = sheet.papers
    slack = 2.0 * papers.per_inch / 25.4 if papers.per_inch else 6.0
    wide, high = [p.u1 - p.u0 for p in way.prints], [p.v1 - p.v0 for p in way.prints]
    alike = max(wide) - min(wide) <= slack and max(high) - min(high) <= slack
    return way.seam >= PLAIN and alike and all(_has_seam(sheet, one) for one in way.prints)


def _ways_cut(sheet: _Sheet, part: _Part, seen: dict[_Part, _Way | None], depth: int) -> list[_Way]:
    """Explanations of a part by one cut across it and what becomes of both sides."""
    ways = []
    for axis, at, strength in _places(sheet, part):
        parts = [_tight(sheet.flat, half) for half in _cut(part, axis, at)]
        if depth and not any(_known(half, sheet.papers) for half in parts):
            continue  # once a block is parted, prints are taken off one by one
        halves = [_best_way(sheet, half, seen, depth + 1) for half in parts]
        if any(half is None for half in halves):
            continue
        found = [half for half in halves if half is not None]
        prints = tuple(one for half in found for one in half.prints)
        ways.append(_Way(prints, min(strength, *(half.seam for half in found)), all(half.known for half in found)))
        if ways[-1].known and ways[-1].seam >= PLAIN:
            break
    return ways


def _has_seam(sheet: _Sheet, part: _Part) -> bool:
    """Whether a step runs certainly through the middle of a part, along more than film is wide."""
    lengths = (part.v1 - part.v0, part.u1 - part.u0)
    least = LEAST_SEAM_MM * sheet.papers.per_inch / 25.4 if sheet.papers.per_inch else 0.0
    return any(sure >= CERTAIN and lengths[axis] >= least for axis, _, sure in _places(sheet, part))


def _places(sheet: _Sheet, part: _Part) -> list[tuple[int, int, float]]:
    """Where a part may be cut (axis 0: a vertical cut, 1: a horizontal one): a step seen along most of it, or a corner
    of its outline; nearest to its ends what would free a print of a known size."""
    window = sheet.flat[part.v0 : part.v1, part.u0 : part.u1]
    shown = sheet.picture[part.v0 : part.v1, part.u0 : part.u1]
    corners = [] if window.mean() >= 0.995 else _corner_cuts(window)
    found: list[tuple[int, int, float]] = []
    for axis in (0, 1):
        turned, there = (shown, window) if axis == 0 else (shown.transpose(1, 0, 2), window.T)
        least = _least(sheet.papers, turned.shape[1])
        if turned.shape[0] < 24 or turned.shape[1] < 2 * least:
            continue
        strength = _crossing(turned, there)
        strength[:least] = strength[-least:] = 0
        mine = strength.copy()
        for at in _peaks(_where_known(mine, turned.shape[1], sheet.papers), 5) + _peaks(mine, 2):
            found.append((axis, at, float(mine[at])))
        for side, at in corners:
            if side == axis:
                near = slice(max(0, at - 3), at + 4)
                found.append((axis, at, float(strength[near].max(initial=0.0))))
    best: dict[tuple[int, int], float] = {}
    for axis, at, sure in found:
        best[axis, at] = max(sure, best.get((axis, at), 0.0))
    return sorted(((axis, at, sure) for (axis, at), sure in best.items()), key=lambda one: -one[2])[:MOST_PLACES]


def _peaks(strength: np.ndarray, most: int) -> list[int]:
    left = strength.copy()
    found: list[int] = []
    while len(found) < most and left.max(initial=0.0) >= CROSSING:
        at = int(np.argmax(left))
        found.append(at)
        left[max(0, at - 4) : at + 5] = 0
    return found


def _where_known(strength: np.ndarray, length: int, papers: Papers) -> np.ndarray:
    """The strengths of only those cuts that leave a known side of paper at one end."""
    if papers.per_inch is None:
        return np.zeros_like(strength)
    scale = papers.per_inch / 25.4
    allowed = np.zeros(length, bool)
    for side in {side for pair in papers.sides_mm for side in pair}:
        low, high = int((side - papers.smaller_mm) * scale), int(np.ceil((side + papers.larger_mm) * scale))
        allowed[max(0, low) : max(0, high)] = True
        allowed[max(0, length - high) : max(0, length - low)] = True
    return np.where(allowed, strength, 0.0)


def _least(papers: Papers, length: int) -> int:
    return max(12, round(LEAST_MM * papers.per_inch / 25.4)) if papers.per_inch else max(12, length // 8)


def _too_small(part: _Part, sheet: _Sheet) -> bool:
    wide, high = part.u1 - part.u0, part.v1 - part.v0
    return max(wide, high) < 2 * _least(sheet.papers, max(wide, high))


def _full(flat: np.ndarray, part: _Part, least: float = FULL) -> bool:
    window = flat[part.v0 : part.v1, part.u0 : part.u1]
    return bool(window.size and min(window.shape) >= 12 and window.mean() >= least)


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


def _crossing(turned: np.ndarray, there: np.ndarray) -> np.ndarray:
    """For each column, in how many of 16 pieces along it a step stands out from its neighbourhood (0..1).

    Only pieces count in which the shape lies at both sides of the column: prints of different sizes touch along a part.
    """
    size = (turned.shape[1], 16 * 5)
    few = cv2.resize(np.ascontiguousarray(turned), size, interpolation=cv2.INTER_AREA).reshape(16, 5, size[0], -1)
    profile = np.median(few, axis=1)  # (16, columns, channels)
    inside = (
        cv2.resize(np.ascontiguousarray(there).view(np.uint8) * 255, (size[0], 16), interpolation=cv2.INTER_AREA) > 229
    )
    step = np.zeros(profile.shape[:2])
    step[:, 2:-2] = np.abs(profile[:, 3:-1] + profile[:, 4:] - profile[:, :-4] - profile[:, 1:-3]).max(axis=2) / 2
    thin = np.zeros_like(step)
    thin[:, 2:-2] = np.abs(profile[:, 2:-2] - (profile[:, :-4] + profile[:, 4:]) / 2).max(axis=2)
    step = np.maximum(step, thin)
    near = np.maximum(np.roll(step, 1, axis=1), np.roll(step, -1, axis=1))
    peak = np.maximum(step, near)
    ground = np.median(np.stack([np.roll(step, n, axis=1) for n in (-12, -10, -8, -6, -5, 5, 6, 8, 10, 12)]), axis=0)
    both = _within(inside, 1) & _within(inside, -1)
    count = both.sum(axis=0)
    seen = ((peak > np.maximum(2.5 * ground, LEAST_STEP)) & both).sum(axis=0) / np.maximum(count, 1)
    seen[count < 3] = 0
    return seen + 0.001 * np.minimum(step.mean(axis=0), 100)


def _within(inside: np.ndarray, side: int) -> np.ndarray:
    """For each column, whether the shape lies somewhere in the 8 to 56 columns at one side: a white border may not."""
    found = np.zeros_like(inside)
    for reach in range(8, min(57, inside.shape[1]), 8):
        if side > 0:
            found[:, :-reach] |= inside[:, reach:]
        else:
            found[:, reach:] |= inside[:, :-reach]
    return found


def _known(part: _Part, papers: Papers) -> bool:
    return is_known(part.u1 - part.u0, part.v1 - part.v0, papers)
