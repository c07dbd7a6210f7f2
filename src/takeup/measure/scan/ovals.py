"""The true outline of an oval or round print: where the codes step all round it, not where it stands out with its
shadow."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from takeup.measure.scan.sides import Box

AROUND = 360  # places looked at
INSIDE, OUTSIDE = 9, 3  # pixels at both sides of the outline that stands out
CLEAR_STEP = 5.0  # times the noise of what is compared
ROUND = 0.03  # share by which the axes of a round print differ at most: it has no turn
LEAST = 0.5  # share of all places at which the end must be clear
ROUNDS, NEAR_PX = 4, 0.8  # of leaving out what lies off the oval


def oval_of(away: np.ndarray, box: Box, noise: float) -> Box:
    """The box round an oval print along its axes; a round one has no turn. As it was where its end is not clear.

    Parameters
    ----------
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid [codes of 255].
    box : Box
        Round the oval as it stands out.
    noise : float
        Spread of one lid pixel [codes].
    """
    for _ in range(2):
        points = _ends(away, box, noise)
        if len(points) < LEAST * AROUND:
            return box
        for _ in range(ROUNDS):
            off = np.abs(_off(points, box))
            close = off <= max(NEAR_PX, 2.0 * float(np.median(off)))
            if close.sum() < LEAST * AROUND:
                return box
            box = _through(points[close])
    return box


def _axes(box: Box) -> tuple[np.ndarray, np.ndarray]:
    a = np.deg2rad(box.tilt)
    return np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])


def _ends(away: np.ndarray, box: Box, noise: float) -> np.ndarray:
    """Where the codes step most, seen from inside to outside, at places all round an oval: shape (n, 2) [px]."""
    t = (np.arange(AROUND) + 0.5) / AROUND * 2 * np.pi
    across, down = _axes(box)
    half = np.array([box.width, box.height]) / 2
    middle = np.array([box.x, box.y])
    on = middle + np.outer(half[0] * np.cos(t), across) + np.outer(half[1] * np.sin(t), down)
    out = np.outer(half[1] * np.cos(t), across) + np.outer(half[0] * np.sin(t), down)
    out /= np.hypot(out[:, 0], out[:, 1])[:, None]
    d = np.arange(-INSIDE - 2, OUTSIDE + 3).astype(float)
    places = (on[None] + d[:, None, None] * out[None] - 0.5).astype(np.float32)
    codes = cv2.remap(away, places[..., 0], places[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    codes = codes.reshape(len(d), AROUND, -1)
    steps = (np.abs(codes[2:] - codes[:-2]).sum(axis=2) / 2)[1:-1]
    at = np.argmax(steps, axis=0)
    near = np.clip(at + np.arange(-1, 2)[:, None], 0, len(steps) - 1)
    mass = np.take_along_axis(steps, near, axis=0)
    ends = (d[2:-2][near] * mass).sum(axis=0) / np.maximum(mass.sum(axis=0), 1e-9)
    clear = steps.max(axis=0) >= CLEAR_STEP * noise * (1.5 * codes.shape[2]) ** 0.5
    points: np.ndarray = (on + ends[:, None] * out)[clear]
    return points


def _off(points: np.ndarray, box: Box) -> np.ndarray:
    """How far outside an oval some points lie [px], near it."""
    across, down = _axes(box)
    u, v = (points - [box.x, box.y]) @ across, (points - [box.x, box.y]) @ down
    reach = np.hypot(u / (box.width / 2), v / (box.height / 2))
    return (reach - 1) * np.hypot(u, v) / np.maximum(reach, 1e-6)


def _through(points: np.ndarray) -> Box:
    (x, y), (across, down), angle = cv2.fitEllipse(points.astype(np.float32))
    turn = (angle + 45) % 90 - 45
    if round((angle - turn) / 90) % 2:
        across, down = down, across
    box = Box(x=x, y=y, width=across, height=down, tilt=turn)
    if abs(across - down) <= ROUND * max(across, down):
        return replace(box, tilt=0.0)
    return box
