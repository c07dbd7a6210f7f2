"""Takes shapes of several touching prints apart, only where there is evidence: a corner between them, a straight step
across the whole shape, pieces of sizes that prints have. Otherwise the shape stays whole or is given up as unsure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.seams_proof import LINE, OPEN, PAPER, proof
from takeup.measure.scan.seams_sizes import Papers, is_known, rarity
from takeup.measure.scan.seams_steps import CERTAIN, CROSSING, corner_cuts, crossing, is_drawn, peaks
from takeup.measure.scan.shapes import Shape, flattened, is_oval, part_of
from takeup.measure.scan.sides import Box

FULL = 0.965  # share of a box that a print fills, rounded corners and deckle edges included
PLAIN = 0.95  # nothing better is looked for
LEAST_SEAM_MM = 45.0
LEAST_MM = 30.0  # a line closer to the outline is a border's
MOST_PLACES = 8  # where a part is tried to be cut
MOST_PARTS = 48  # looked at in one shape: more than that is no bed of prints but a pattern
CORNER_PX = 10  # by which the jump of an outline may lie off: shadows and the softness of the scan
BESIDE_PX = 8  # from a seam, where both prints must lie
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
    """One way to explain a part: its prints, the weakest seam between them, whether all have sizes that prints have;
    how well its cuts are proven to be paper's ends, and whether another way explains the part just as well."""

    prints: tuple[_Part, ...]
    seam: float
    known: bool
    proof: int = PAPER
    doubtful: bool = False


def take_apart(
    away: np.ndarray, mask: np.ndarray, shape: Shape, papers: Papers, level: float = 247.0
) -> list[Piece] | None:
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
    level : float
        The lid's own code there.
    """
    if is_oval(shape):
        return [Piece(box=shape.box)]
    own = np.zeros_like(mask)
    cv2.drawContours(own, [np.rint(shape.contour).astype(np.int32)[:, None]], -1, 255, cv2.FILLED)
    flat = flattened(own, shape.box) > 127
    picture = flattened(away, shape.box)
    picture = picture if picture.ndim == 3 else picture[..., None]
    start = _Part(0, 0, flat.shape[1], flat.shape[0])
    sheet = _Sheet(flat, picture, papers, level)
    if _full(flat, start) and is_drawn(picture, flat):
        return [Piece(box=shape.box)]
    way = _best_way(sheet, start, {}, 0)
    if way is None or (len(way.prints) > 1 and not way.known):
        if not _has_seam(sheet, start):
            return None
        sheet = _Sheet(flat, picture, replace(papers, smaller_mm=papers.unseen_mm), level, loose=True)
        way = _best_way(sheet, start, {}, 0)
        if way is None or not way.known:
            return []
    if way.doubtful or _is_one_too(sheet, _tight(flat, start), way):
        return []
    return [Piece(box=part_of(shape.box, p.u0, p.v0, p.u1, p.v1), seams=p.seams) for p in way.prints]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A shape laid straight: where it is, what it shows above the lid."""

    flat: np.ndarray
    picture: np.ndarray
    papers: Papers
    level: float  # of the ground
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
    parted = [way for way in cuts if way.known and way.proof > LINE]
    sure = [way for way in parted if way.seam >= CERTAIN or not (full and known)]
    if sure:
        best: _Way | None = _easiest(sure, sheet.papers)
    elif full and known and not depth and any(_is_block(sheet, way) for way in cuts):
        best = None  # four prints of a size that nobody knows, or one large one of four pictures
    elif full and (known or depth or not (any(way.seam >= CERTAIN for way in cuts) and _has_seam(sheet, part))):
        best = _Way((part,), 2.0, known)
    else:
        best = None
    seen[part] = best
    return best


def _easiest(sure: list[_Way], papers: Papers) -> _Way:
    """The way that is believed; marked as doubtful where its cuts are not proven to be paper's ends and seams as clear
    give other prints of known sizes."""
    best = max(sure, key=lambda way: (way.proof, *_ease(way, papers)))
    if best.proof >= PAPER or best.seam < CERTAIN:
        return best
    others = (way for way in sure if way.seam >= CERTAIN and way.proof >= best.proof and not _parts_further(best, way))
    return replace(best, doubtful=best.doubtful or any(others))


def _is_one_too(sheet: _Sheet, start: _Part, way: _Way) -> bool:
    """Whether two prints of a way, or all, may be one print of a known size, since no end of paper is proven between
    them. A seam that runs on between other prints is none: two pictures would have a line at one place."""
    if len(way.prints) > 2 and way.proof < PAPER and _known(start, sheet.papers) and _full(sheet.flat, start):
        return True
    ends: list[tuple[int, int, bool]] = []
    for at, one in enumerate(way.prints):
        for two in way.prints[:at]:
            axis = 0 if abs(one.u0 - two.u0) > abs(one.v0 - two.v0) else 1
            whole = _Part(min(one.u0, two.u0), min(one.v0, two.v0), max(one.u1, two.u1), max(one.v1, two.v1))
            seam = max(one.u0, two.u0) if axis == 0 else max(one.v0, two.v0)
            end = min(one.u1, two.u1) if axis == 0 else min(one.v1, two.v1)
            if abs(seam - end) > 4 or not _full(sheet.flat, whole):
                continue
            at_seam = seam - (whole.v0 if axis else whole.u0)
            one_too = _known(whole, sheet.papers) and _proof(sheet, whole, axis, at_seam) < PAPER
            ends.append((axis, seam, one_too))
    alike = [sum(axis == other and abs(at - place) <= 6 for other, place, _ in ends) for axis, at, _ in ends]
    return any(one_too and count < 2 for (_, _, one_too), count in zip(ends, alike, strict=True))


def _parts_further(one: _Way, two: _Way, slack: int = 8) -> bool:
    """Whether every print of a way lies in one of another's: they are the same, or that one leaves some in one."""

    def lies(p: _Part, q: _Part) -> bool:
        return min(p.u0 - q.u0, p.v0 - q.v0, q.u1 - p.u1, q.v1 - p.v1) >= -slack

    return all(any(lies(p, q) for q in two.prints) for p in one.prints)


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
        known = all(half.known for half in found)
        proven = _proof(sheet, part, axis, at) if known else OPEN
        way = _Way(
            prints, min(strength, *(half.seam for half in found)), known,
            min(proven, *(half.proof for half in found)), any(half.doubtful for half in found),
        )  # fmt: skip
        ways.append(way)
        if way.known and way.seam >= PLAIN and way.proof >= PAPER and not way.doubtful:
            break
    return ways


def _proof(sheet: _Sheet, part: _Part, axis: int, at: int) -> int:
    """What a cut is by what lies at both sides of it; where the outline has a corner there, paper ends."""
    window = sheet.flat[part.v0 : part.v1, part.u0 : part.u1]
    if window.mean() < 0.995 and any(
        side == axis and abs(at - place) <= CORNER_PX for side, place in corner_cuts(window)
    ):
        return PAPER
    shown = sheet.picture[part.v0 : part.v1, part.u0 : part.u1]
    shown, there = (shown, window) if axis == 0 else (shown.transpose(1, 0, 2), window.T)
    both = np.flatnonzero(there[:, max(0, at - BESIDE_PX)] & there[:, min(at + BESIDE_PX, there.shape[1] - 1)])
    if not both.size:
        return OPEN
    return proof(shown[both[0] : both[-1] + 1], at, sheet.papers.per_inch, sheet.level)


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
    corners = [] if window.mean() >= 0.995 else corner_cuts(window)
    found: list[tuple[int, int, float]] = []
    for axis in (0, 1):
        turned, there = (shown, window) if axis == 0 else (shown.transpose(1, 0, 2), window.T)
        least = _least(sheet.papers, turned.shape[1])
        if turned.shape[0] < 24 or turned.shape[1] < 2 * least:
            continue
        strength = crossing(turned, there)
        strength[:least] = strength[-least:] = 0
        mine = strength.copy()
        for at in peaks(_where_known(mine, turned.shape[1], sheet.papers), 5) + peaks(mine, 2):
            found.append((axis, at, float(mine[at])))
        for side, at in corners:
            if side == axis and least <= at <= turned.shape[1] - least:  # no print is narrower
                near = strength[max(0, at - CORNER_PX) : at + CORNER_PX + 1]
                if near.max(initial=0.0) >= CROSSING:  # the seam itself tells its place better than the outline's jump
                    at = max(0, at - CORNER_PX) + int(np.argmax(near))
                found.append((axis, at, float(strength[max(0, at - 3) : at + 4].max(initial=0.0))))
    best: dict[tuple[int, int], float] = {}
    for axis, at, sure in found:
        best[axis, at] = max(sure, best.get((axis, at), 0.0))
    return sorted(((axis, at, sure) for (axis, at), sure in best.items()), key=lambda one: -one[2])[:MOST_PLACES]


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


def _known(part: _Part, papers: Papers) -> bool:
    return is_known(part.u1 - part.u0, part.v1 - part.v0, papers)
