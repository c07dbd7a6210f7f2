"""Outlines of what stands out from the lid, and what shape each is: one rectangle, an oval, several prints in one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.sides import Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """One connected thing on the bed, in miniature pixels.

    ``fill``: its area over that of its box, as far as the box lies on the bed. ``straight``: share of its outline that
    lies along the box's own directions. ``touches``: whether it meets the bed's limit (top, right, bottom, left).
    """

    contour: np.ndarray  # (n, 2) float32
    box: Box
    fill: float
    straight: float
    edged: float  # share of its outline made of long straight pieces, in whatever directions
    touches: tuple[bool, bool, bool, bool]

    @property
    def mean_size(self) -> float:
        return (self.box.width * self.box.height) ** 0.5


def outlines(mask: np.ndarray, least_px: float) -> list[Shape]:
    """Shapes of all things at least ``least_px`` wide and high, largest first."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    shapes = []
    for contour in contours:
        if len(contour) < 2 * least_px:
            continue
        shape = describe(contour[:, 0, :].astype(np.float32), mask.shape)
        if min(shape.box.width, shape.box.height) >= least_px:
            shapes.append(shape)
    return sorted(shapes, key=lambda shape: -shape.box.width * shape.box.height)


def describe(contour: np.ndarray, bed: tuple[int, ...]) -> Shape:
    """What shape an outline has.

    Parameters
    ----------
    contour : ndarray, shape (n, 2), float32
        Pixel centres of the outline, as OpenCV counts them.
    bed : tuple of int
        Rows and columns of the bed.
    """
    points = contour + 0.5
    tilt, straight = main_direction(points)
    box = box_along(points, tilt)
    if straight < 0.75 and len(contour) >= 50:
        box = _round_box(points) or _round_box(_hull(points)) or box
    area = float(cv2.contourArea(contour)) + 0.5 * len(contour)
    rows, columns = bed[:2]
    frame = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float32)
    on_bed, _ = cv2.intersectConvexConvex(box.corners().astype(np.float32), frame)
    low, high = points.min(0), points.max(0)
    touches = (
        bool(low[1] <= 2.0), bool(high[0] >= columns - 2.0), bool(high[1] >= rows - 2.0), bool(low[0] <= 2.0),
    )  # fmt: skip
    fill = area / max(on_bed, 1.0)
    return Shape(
        contour=contour, box=box, fill=fill, straight=straight, edged=edged(contour), touches=touches
    )  # fmt: skip


def _hull(points: np.ndarray) -> np.ndarray:
    """Places a pixel apart on the tightest outline without dents: a pale part of an oval that the lid swallows."""
    corners = cv2.convexHull(points.astype(np.float32))[:, 0, :]
    ends = np.roll(corners, -1, axis=0)
    counts = np.maximum(1, np.hypot(*(ends - corners).T)).astype(int)
    return np.concatenate(
        [one + (two - one) * (np.arange(n) / n)[:, None] for one, two, n in zip(corners, ends, counts, strict=True)]
    )


def _round_box(points: np.ndarray) -> Box | None:
    """The box along the axes of an oval; None when the outline is none. A round one lies straight."""
    (x, y), (across, down), angle = cv2.fitEllipse(points.astype(np.float32))
    tilt = (angle + 45) % 90 - 45 if abs(across - down) > 0.03 * max(across, down) else 0.0
    if round((angle - tilt) / 90) % 2:
        across, down = down, across
    found = Box(x=x, y=y, width=across, height=down, tilt=tilt)
    return found if _off_oval(points, found) < 0.03 else None


def _off_oval(points: np.ndarray, box: Box) -> float:
    """How far nine tenths of an outline keep to the oval in a box, in shares of its half-axes."""
    a = np.deg2rad(box.tilt)
    x, y = points[:, 0] - box.x, points[:, 1] - box.y
    u = (x * np.cos(a) + y * np.sin(a)) / (box.width / 2)
    v = (-x * np.sin(a) + y * np.cos(a)) / (box.height / 2)
    return float(np.percentile(np.abs(np.hypot(u, v) - 1), 90))


def edged(contour: np.ndarray) -> float:
    """The share of an outline that consists of straight pieces longer than a tenth of its reach: paper has edges."""
    corners = cv2.approxPolyDP(contour[:, None, :], 3.0, True)[:, 0, :]
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    reach = float(np.hypot(*np.ptp(contour, axis=0)))
    return float(sides[sides >= 0.1 * reach].sum() / max(sides.sum(), 1e-9))


def main_direction(points: np.ndarray) -> tuple[float, float]:
    """The direction in which most of an outline runs, from -45 to 45 degrees, and the share of it that does.

    Pieces of the outline vote with their length for their direction modulo 90 degrees; lines through the points
    near each side of the box then sharpen it.
    """
    step = max(12, len(points) // 80)
    ahead = np.roll(points, -step, axis=0) - points
    length = np.hypot(ahead[:, 0], ahead[:, 1])
    angle = np.rad2deg(np.arctan2(ahead[:, 1], ahead[:, 0])) % 90.0
    weight = np.where(length / step > 0.68, length, 0.0)
    counts, _ = np.histogram(angle, bins=360, range=(0, 90), weights=weight)
    spread = np.hanning(35)[1:-1]
    smooth = np.convolve(np.concatenate([counts[-20:], counts, counts[:20]]), spread, "same")[20:-20]
    peak = (int(np.argmax(smooth)) + 0.5) / 4
    away = (angle - peak + 45) % 90 - 45
    near = np.abs(away) <= 6
    if not weight[near].sum():
        return 0.0, 0.0
    tilt = (peak + float(np.average(away[near], weights=weight[near])) + 45) % 90 - 45
    straight = float(weight[near].sum() / max(length.sum(), 1e-9))
    for _ in range(2):
        tilt = _sharpened(points, tilt)
    return (tilt + 45) % 90 - 45, straight


def _sharpened(points: np.ndarray, tilt: float) -> float:
    """A direction from straight lines through the outline's points near each side of its box."""
    a = np.deg2rad(tilt)
    u = points[:, 0] * np.cos(a) + points[:, 1] * np.sin(a)
    v = -points[:, 0] * np.sin(a) + points[:, 1] * np.cos(a)
    turns, weights = [], []
    for along, across in ((u, v), (v, -u)):
        for side in (np.percentile(across, 1), np.percentile(across, 99)):
            near = np.abs(across - side) <= max(4.0, 0.03 * float(np.ptp(across)))
            if near.sum() < 20:
                continue
            line = np.stack([along[near], across[near]], axis=1).astype(np.float32)
            dx, dy, _, _ = cv2.fitLine(line, cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
            if abs(dx) > 0.9:
                turns.append(float(np.rad2deg(np.arctan2(dy, dx) if dx > 0 else np.arctan2(-dy, -dx))))
                weights.append(float(np.ptp(along[near])) ** 2)
    if not turns:
        return tilt
    order = np.argsort(turns)
    run = np.cumsum(np.array(weights)[order])
    return tilt + turns[order[int(np.searchsorted(run, run[-1] / 2))]]


def box_along(points: np.ndarray, tilt: float) -> Box:
    """The box with a given tilt round some points; a speck of dust at a side hardly moves it."""
    a = np.deg2rad(tilt)
    u = points[:, 0] * np.cos(a) + points[:, 1] * np.sin(a)
    v = -points[:, 0] * np.sin(a) + points[:, 1] * np.cos(a)
    left, right, top, bottom = u.min() - 0.5, u.max() + 0.5, v.min() - 0.5, v.max() + 0.5
    x, y = (left + right) / 2, (top + bottom) / 2
    return Box(
        x=float(x * np.cos(a) - y * np.sin(a)),
        y=float(x * np.sin(a) + y * np.cos(a)),
        width=float(right - left),
        height=float(bottom - top),
        tilt=float(tilt),
    )


def is_oval(shape: Shape) -> bool:
    """Whether the outline is an ellipse along its box (an oval or round print)."""
    if not 0.72 <= shape.fill <= 0.85:
        return False
    points = shape.contour + 0.5
    return _off_oval(points, shape.box) < 0.05 or _off_oval(_hull(points), shape.box) < 0.03


def flattened(mask: np.ndarray, box: Box) -> np.ndarray:
    """The part of an array inside a box, turned so that the box lies straight."""
    size = (max(1, round(box.width)), max(1, round(box.height)))
    corners = box.corners()[:3].astype(np.float32) - 0.5
    target = np.array([[0, 0], [size[0], 0], [size[0], size[1]]], np.float32) - 0.5
    return cv2.warpAffine(mask, cv2.getAffineTransform(corners, target), size, flags=cv2.INTER_LINEAR)


def part_of(box: Box, u0: float, v0: float, u1: float, v1: float) -> Box:
    """A smaller box inside another, by its own coordinates from the top left."""
    a = np.deg2rad(box.tilt)
    u, v = (u0 + u1) / 2 - box.width / 2, (v0 + v1) / 2 - box.height / 2
    return Box(
        x=box.x + u * np.cos(a) - v * np.sin(a),
        y=box.y + u * np.sin(a) + v * np.cos(a),
        width=u1 - u0,
        height=v1 - v0,
        tilt=box.tilt,
    )
