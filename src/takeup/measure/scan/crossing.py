"""Prints whose boxes lie in each other: each is looked at again without the other; what still crosses is doubtful."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from takeup.measure.scan.lid import Lid
from takeup.measure.scan.seams_sizes import Papers, has_known_size
from takeup.measure.scan.shapes import flattened
from takeup.measure.scan.sides import Box, Fitted, fit_box, stretched
from takeup.measure.scan.sides_hidden import by_size

INTO_IN = 0.5  # how far a side may have gone into a neighbour whose border is lost on the lid
SEAM_PX = 2.5  # miniature pixels by which boxes may lie in each other: a seam's width
SEEN_APART = 0.5  # of the side next to the other print, that must be seen without it


def crossing_apart(
    found: list[Fitted], away: np.ndarray, mask: np.ndarray, ground: Lid, per_inch: float, papers: Papers
) -> tuple[list[Fitted], list[Box]]:
    """Prints that do not lie in each other: a side that went into a neighbour is looked for again without it."""
    kept = list(found)
    doubtful: list[Box] = []
    for one in range(len(kept)):
        for two in range(one):
            if not _cross(kept[one].box, kept[two].box):
                continue
            sized = _by_sizes((kept[one], kept[two]), away, ground, papers)
            if sized is not None:
                kept[one], kept[two] = sized
                continue
            turns = [
                _refit(kept[n].box, kept[m].box, away, mask, ground, per_inch) for n, m in ((one, two), (two, one))
            ]
            first = int(turns[1][2] > turns[0][2])  # the one whose own paper begins the farther from that side
            own, other = ((one, two), (two, one))[first]
            if turns[first][1] >= SEEN_APART and not _cross(turns[first][0].box, kept[other].box):
                kept[own] = turns[first][0]
            else:
                doubtful += [kept[one].box, kept[two].box]
    return [fitted for fitted in kept if fitted.box not in doubtful], doubtful


def _by_sizes(
    both: tuple[Fitted, Fitted], away: np.ndarray, ground: Lid, papers: Papers
) -> tuple[Fitted, Fitted] | None:
    """Two prints apart when each whose size is none that prints have is given one by the side next to the other."""
    free = np.zeros(away.shape[:2], np.uint8)
    ended = []
    for own, other in (both, both[::-1]):
        if has_known_size(own.box, papers):
            ended.append(own)
            continue
        nearest, _ = _next_to(own.box, other.box)
        found = by_size(away, free, own, nearest, papers, ground.noise, INTO_IN * (papers.per_inch or 0.0))
        if found is None:
            return None
        ended.append(found)
    return None if _cross(ended[0].box, ended[1].box) else (ended[0], ended[1])


def _next_to(box: Box, other: Box) -> tuple[int, float]:
    """Which side of a print reaches into another, and how far [miniature pixels]."""
    corners = other.corners()
    a = np.deg2rad(box.tilt)
    u = (corners[:, 0] - box.x) * np.cos(a) + (corners[:, 1] - box.y) * np.sin(a)
    v = -(corners[:, 0] - box.x) * np.sin(a) + (corners[:, 1] - box.y) * np.cos(a)
    into = (v.max() + box.height / 2, box.width / 2 - u.min(), box.height / 2 - v.min(), u.max() + box.width / 2)
    nearest = int(np.argmin(into))
    return nearest, float(into[nearest])


def _cross(one: Box, two: Box, slack: float = SEAM_PX) -> bool:
    """Whether two prints lie in each other by more than a seam's width."""
    first, second = (
        replace(box, width=box.width - slack, height=box.height - slack).corners().astype(np.float32)
        for box in (one, two)
    )
    shared, _ = cv2.intersectConvexConvex(first, second)
    return shared > 0


def _refit(
    box: Box, other: Box, away: np.ndarray, mask: np.ndarray, ground: Lid, per_inch: float
) -> tuple[Fitted, float, int]:
    """A print's sides again, from the part of its box that lies outside another print, which is not looked at; and how
    much of the side next to that print is seen, and how many lines from it on nothing stands out from the lid."""
    hidden = np.zeros_like(mask)
    cv2.fillConvexPoly(hidden, np.rint((other.corners() - 0.5) * 16).astype(np.int32), 255, shift=4)
    hidden = cv2.dilate(hidden, np.ones((9, 9), np.uint8))
    shared = [0.0] * 4
    nearest, into = _next_to(box, other)
    shared[nearest] = -into - 2.0
    fitted = fit_box(
        away, hidden, stretched(box, (shared[0], shared[1], shared[2], shared[3])), noise=ground.noise,
        outward_px=3.0, inward_px=0.4 * per_inch,
    )  # fmt: skip
    lines = np.rot90(flattened(mask, box), nearest).mean(axis=1)
    empty = int(np.argmax(lines > 127)) if (lines > 127).any() else lines.size
    return fitted, fitted.covered[nearest] if fitted.sure[nearest] >= 1 else 0.0, empty
