"""What each shape on the glass is: prints with their paper's true sides, paper that a person must cut, or no paper."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from takeup.measure.scan.lid import Lid
from takeup.measure.scan.ovals import oval_of
from takeup.measure.scan.seams import Piece, take_apart
from takeup.measure.scan.seams_sizes import Papers, has_known_size
from takeup.measure.scan.shapes import Shape, is_oval
from takeup.measure.scan.sides import Box, Fitted, fit_box, grown
from takeup.measure.scan.sides_hidden import FARTHEST_IN, Bare, by_border, by_size, unseen, without_border
from takeup.measure.scan.sides_step import SEEN
from takeup.measure.scan.sides_wander import at_teeth

FOOT_IN = 0.95  # the widest border of a print: an instant picture's foot
BESIDE_IN = 0.45  # how far inside a side may lie of which a neighbour's edge was seen instead
STRAIGHT = 0.6  # share of an outline along its box, under which it is no print's own
FULL_PAGE = 0.94  # share of its box that a page fills, dog-ears and torn corners left out
CLEAR, ALL_CLEAR = 0.75, 3.4  # share of one side seen, and of four together, where edges alone speak for a print

Told = tuple[list[Fitted], list[Shape], list[Shape]]


def each_shape(
    away: np.ndarray, mask: np.ndarray, shapes: list[Shape], ground: Lid, per_inch: float, papers: Papers, *,
    many: bool = True,
) -> Told:  # fmt: skip
    """What each shape is: prints with their paper, paper that cannot be told apart, and what is no paper at all.

    Where not ``many`` are sought but one page, a shape with a page's outline is that page, and the lines in it writing.
    """
    found: list[Fitted] = []
    unsure: list[Shape] = []
    other: list[Shape] = []
    for shape in shapes:
        if any(lies_in(shape.box, fitted.box) for fitted in found):
            continue
        prints, parts, things = _told(away, mask, shape, ground, per_inch, papers, many=many)
        found += prints
        unsure += parts
        other += things
    return found, unsure, other


def _told(
    away: np.ndarray, mask: np.ndarray, shape: Shape, ground: Lid, per_inch: float, papers: Papers, *, many: bool
) -> Told:  # fmt: skip
    """One shape's prints; else the shape itself, where it is paper that cannot be told apart, or no paper."""
    curved = shape.straight < STRAIGHT and not is_oval(shape)
    page = not many and not curved and shape.fill >= FULL_PAGE
    pieces = [Piece(box=shape.box)] if page else None if curved else _parts(away, mask, shape, ground, papers)
    if pieces is not None and not pieces:
        return [], [shape], []  # several prints, and no saying which
    if pieces is None:
        alone = _fit(away, mask, shape, Piece(box=shape.box), ground, per_inch, papers, whole=False)
        clear = min(alone.covered) >= CLEAR and sum(alone.covered) >= ALL_CLEAR
        if _is_print(alone, shape, papers) and (clear or has_known_size(alone.box, papers)):
            return [alone], [], []  # a blank back, or a pale part that melts into the lid: its edges are seen
        return ([], [shape], []) if _is_paper(shape) else ([], [], [shape])
    fits = [_fit(away, mask, shape, piece, ground, per_inch, papers, parted=len(pieces) > 1) for piece in pieces]
    parted = len(fits) == 1 or all(has_known_size(fitted.box, papers) for fitted in fits)
    if parted and all(_is_print(fitted, shape, papers) for fitted in fits):
        return fits, [], []
    return ([], [shape], []) if _is_paper(shape) else ([], [], [shape])


def _parts(away: np.ndarray, mask: np.ndarray, shape: Shape, ground: Lid, papers: Papers) -> list[Piece] | None:
    rows, columns = ground.level.shape[:2]
    middle = ground.level[min(max(int(shape.box.y), 0), rows - 1), min(max(int(shape.box.x), 0), columns - 1)]
    return take_apart(away, mask, shape, papers, float(middle.mean()))


def _fit(
    away: np.ndarray, mask: np.ndarray, shape: Shape, piece: Piece, ground: Lid, per_inch: float, papers: Papers, *,
    parted: bool = False, whole: bool = True,
) -> Fitted:  # fmt: skip
    if is_oval(shape):
        return Fitted(box=oval_of(away, shape.box, ground.noise), sure=(9.0, 9.0, 9.0, 9.0))
    others = mask.copy()
    cv2.drawContours(others, [np.rint(shape.contour).astype(np.int32)[:, None]], -1, 0, cv2.FILLED)
    others = cv2.dilate(others, np.ones((9, 9), np.uint8))
    fitted = fit_box(
        away, others, piece.box, noise=ground.noise, outward_px=0.4 * per_inch,
        inward_px=(0.06 if whole else 0.35) * per_inch, held=piece.seams,
    )  # fmt: skip
    if parted:  # beyond a seam another picture lies, whose tones say nothing of how this paper ends
        ramps = tuple(ramp and not seam for ramp, seam in zip(fitted.ramps, piece.seams, strict=True))
        return at_teeth(away, others, replace(fitted, ramps=ramps), ground.noise, piece.seams)  # type: ignore[arg-type]
    weak = [n for n in range(4) if _is_weak(fitted, n)]
    if weak:
        fitted = grown(
            away, others, fitted, weak, noise=ground.noise, outward_px=FARTHEST_IN * per_inch,
            inward_px=BESIDE_IN * per_inch,
        )  # fmt: skip
    else:  # a wide white border, or the foot of an instant picture, may lie outside all that was looked at
        fitted = grown(
            away, others, fitted, [0, 1, 2, 3], noise=ground.noise, outward_px=FOOT_IN * per_inch, inward_px=0.0
        )
    fitted = _with_hidden(away, others, fitted, ground.noise, per_inch, papers)
    return at_teeth(away, others, fitted, ground.noise, piece.seams)


def _with_hidden(
    away: np.ndarray, others: np.ndarray, fitted: Fitted, noise: float, per_inch: float, papers: Papers
) -> Fitted:
    """The same with the sides that are still not seen looked for where its size or its other borders put them."""
    seen = not any(_is_weak(fitted, n) for n in range(4)) and has_known_size(fitted.box, papers)
    bare = without_border(away, fitted.box, noise, per_inch)
    if seen and len(bare.sides) > 1:
        bare = Bare()  # a picture that runs out at more than one side is of a known size by itself
    for n in bare.sides:
        further = by_border(away, others, fitted, n, bare.width, noise)
        if not seen:
            further = further or by_size(away, others, fitted, n, papers, noise, BESIDE_IN * per_inch)
        fitted = further or (fitted if seen else unseen(fitted, n))
    for n in range(4):
        if _is_weak(fitted, n):
            fitted = by_size(away, others, fitted, n, papers, noise, BESIDE_IN * per_inch) or fitted
    return fitted


def _is_weak(fitted: Fitted, n: int) -> bool:
    """Whether a side is no edge of paper that was seen along most of its length."""
    return fitted.sure[n] < 1 or fitted.covered[n] < SEEN or fitted.ramps[n]


def _is_print(fitted: Fitted, shape: Shape, papers: Papers) -> bool:
    """Whether all sides of a print were seen that do not meet the limit of the scan. One of them may be seen along a
    short part only (white border on a white lid) where it gives the print a size that prints have."""
    own = upright(fitted)
    weak = [n for n in range(4) if _is_weak(own, n) and not shape.touches[n]]
    if len(weak) == 1 and own.sure[weak[0]] >= 1 and not own.ramps[weak[0]]:
        return has_known_size(own.box, papers)
    return not weak


def lies_in(small: Box, large: Box) -> bool:
    """Whether most of a box lies in another."""
    one, two = small.corners().astype(np.float32), large.corners().astype(np.float32)
    shared, _ = cv2.intersectConvexConvex(one, two)
    return shared > 0.7 * small.width * small.height


def without_inner(found: list[Fitted]) -> list[Fitted]:
    order = sorted(found, key=lambda fitted: -fitted.box.width * fitted.box.height)
    kept: list[Fitted] = []
    for fitted in order:
        if not any(lies_in(fitted.box, other.box) for other in kept):
            kept.append(fitted)
    return kept


def _is_paper(shape: Shape) -> bool:
    """Whether what stands out has the straight outline of paper; a face or a lamp in a picture has not."""
    straight = shape.edged > 0.8 and shape.straight > 0.35 or shape.edged > 0.7 and shape.straight > 0.5
    return straight and 0.4 < shape.fill < 1.1


def is_scene(found: list[Fitted], unsure: list[Shape], other: list[Shape]) -> bool:
    """Whether what stands out is mostly no paper: then the scan is one pale or dark picture, with no lid."""
    boxes = [fitted.box for fitted in found] + [shape.box for shape in unsure]
    paper = sum(box.width * box.height for box in boxes)
    rest = [shape.box for shape in other if not any(lies_in(shape.box, box) for box in boxes)]
    return paper <= 2 * sum(box.width * box.height for box in rest)


def upright(fitted: Fitted) -> Fitted:
    """The same with a tilt from -45 to 45 degrees, so that its first side is the one on top."""
    turns = round((fitted.box.tilt - ((fitted.box.tilt + 45) % 90 - 45)) / 90) % 4
    box = replace(fitted.box, tilt=(fitted.box.tilt + 45) % 90 - 45)
    if turns % 2:
        box = replace(box, width=fitted.box.height, height=fitted.box.width)
    if not turns:
        return replace(fitted, box=box)
    sure, covered, ramps = (tuple(np.roll(s, turns)) for s in (fitted.sure, fitted.covered, fitted.ramps))
    return Fitted(box=box, sure=sure, covered=covered, ramps=ramps)
