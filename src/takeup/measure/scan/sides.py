"""Finds the true sides of a print by adding up along each whole side: a step of one code shows where no threshold does.

A side is looked for from the lid inwards, so that the paper is found and not the picture on it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.scan.sides_step import SEEN, Line, Side, look_along

ALONG = 0.8  # the sides beside one that was moved far must be seen along so much of their new length


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in miniature pixels, origin at the outer corner of the top left one; tilt clockwise as seen [deg]."""

    x: float  # centre
    y: float
    width: float
    height: float
    tilt: float

    def corners(self) -> np.ndarray:
        """Four corners clockwise from the top left as it lies, shape (4, 2)."""
        a = np.deg2rad(self.tilt)
        turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([self.width, self.height]) / 2
        return half @ turn + np.array([self.x, self.y])


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A print's box after all its sides were looked for. ``sure``: of top, right, bottom, left."""

    box: Box
    sure: tuple[float, float, float, float]
    covered: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    ramps: tuple[bool, bool, bool, bool] = (False, False, False, False)


def fit_box(
    away: np.ndarray, others: np.ndarray, box: Box, *, noise: float, outward_px: float, inward_px: float,
    held: tuple[bool, bool, bool, bool] = (False, False, False, False), rounds: int = 3,
) -> Fitted:  # fmt: skip
    """Move a box's sides to where the paper ends.

    Parameters
    ----------
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid [codes of 255].
    others : ndarray, shape (rows, columns), uint8
        Non-zero where another print lies: never looked at.
    box : Box
        Where the print is thought to be.
    noise : float
        Spread of one lid pixel [codes].
    outward_px, inward_px : float
        How far outside and inside the first box the paper's end may lie.
    held : four bool
        Sides (top, right, bottom, left) that are known (a seam, the bed's limit) and only moved by a pixel or two.
    """
    sure = [0.0] * 4
    for turn in range(rounds):
        reach = outward_px if turn == 0 else 4.0
        sides = [
            side_of(
                away,
                others,
                box,
                n,
                noise=noise,
                outward=3.0 if held[n] else reach,
                inward=3.0 if held[n] else (inward_px if not turn else 4.0),
            )  # fmt: skip
            for n in range(4)
        ]
        if not turn:
            sure = [side.sure for side in sides]
        box = _moved(box, sides)
    top, right, bottom, left = (side.covered for side in sides)
    ramps = (sides[0].ramp, sides[1].ramp, sides[2].ramp, sides[3].ramp)
    return Fitted(
        box=box, sure=(sure[0], sure[1], sure[2], sure[3]), covered=(top, right, bottom, left), ramps=ramps
    )  # fmt: skip


def grown(
    away: np.ndarray,
    others: np.ndarray,
    fitted: Fitted,
    sides: list[int],
    *,
    noise: float,
    outward_px: float,
    inward_px: float,
) -> Fitted:
    """Sides that were not truly seen, looked for again much further out: a white sky on a white lid hides a third of
    a print, yet along its whole length its paper's edge stands out by a code or two.

    Parameters
    ----------
    sides : list of int
        Which (0 top, 1 right, 2 bottom, 3 left).
    outward_px, inward_px : float
        How far out the paper may end, and how far inside, where a short step of something else was taken for the side.
    """
    for n in sides:
        ways = (
            ((0.0, inward_px), (outward_px, 0.0))
            if fitted.sure[n] >= 1 and not fitted.ramps[n]
            else ((outward_px, 0.0),)
        )
        for outward, inward in ways:
            found = side_of(away, others, fitted.box, n, noise=noise, outward=outward, inward=inward, deep=True)
            if found.sure < 1 or found.covered < SEEN or found.ramp or abs(found.offset) < 4:
                continue
            moved = [0.0] * 4
            moved[n] = found.offset
            box = stretched(fitted.box, (moved[0], moved[1], moved[2], moved[3]))
            again = fit_box(away, others, box, noise=noise, outward_px=4.0, inward_px=4.0)
            beside = min(again.covered[(n + 1) % 4], again.covered[(n + 3) % 4])
            if again.sure[n] >= 1 and again.covered[n] >= SEEN and beside >= min(ALONG, *fitted.covered):
                fitted = again
                break
    return fitted


def _moved(box: Box, sides: list[Side]) -> Box:
    weights = np.array([side.weight for side in sides])
    slopes = np.array([side.slope for side in sides])
    turn = _middle(slopes, weights) if weights.sum() > 0 else 0.0
    top, right, bottom, left = (side.offset for side in sides)
    box = stretched(box, (top, right, bottom, left))
    return replace(box, tilt=box.tilt - float(np.rad2deg(np.arctan(turn))))


def stretched(box: Box, outward: tuple[float, float, float, float]) -> Box:
    """A box with its sides (top, right, bottom, left) moved outward by some pixels."""
    top, right, bottom, left = outward
    a = np.deg2rad(box.tilt)
    dx, dy = (right - left) / 2, (bottom - top) / 2
    return replace(
        box,
        x=box.x + dx * np.cos(a) - dy * np.sin(a),
        y=box.y + dx * np.sin(a) + dy * np.cos(a),
        width=max(4.0, box.width + left + right),
        height=max(4.0, box.height + top + bottom),
    )


def _middle(values: np.ndarray, weights: np.ndarray) -> float:
    """Weighted mean of the values that agree with their weighted median."""
    order = np.argsort(values)
    run = np.cumsum(weights[order])
    median = values[order][int(np.searchsorted(run, run[-1] / 2))]
    near = np.abs(values - median) <= 0.004
    return float(np.average(values[near], weights=weights[near] + 1e-12))


def side_of(
    away: np.ndarray, others: np.ndarray, box: Box, which: int, *, noise: float, outward: float, inward: float,
    deep: bool = False, near: tuple[tuple[float, ...], float] | None = None,
) -> Side:  # fmt: skip
    """Look for one side of a box (0 top, 1 right, 2 bottom, 3 left), as ``look_along`` does."""
    a = np.deg2rad(box.tilt + 90.0 * which)
    along, out = np.array([np.cos(a), np.sin(a)]), np.array([np.sin(a), -np.cos(a)])
    length = box.width if which % 2 == 0 else box.height
    depth = box.height if which % 2 == 0 else box.width
    line = Line(middle=np.array([box.x, box.y]) + out * depth / 2, along=along, out=out, length=length)
    return look_along(
        away, others, line, noise=noise, outward=outward, inward=min(inward, depth / 3), deep=deep, near=near
    )
