"""The frames of a microfiche: a grid of small pictures with even strips between them, found by those strips alone.

The strips between frames all show the same ground and run from edge to edge; what lies between four of them is a frame.
A grid is told only where its frames agree in size and step; anything else is for a person.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples

REACH = 4.0  # degrees to either side
LOOK_PX = 1400  # long side at which the turn is sought
NEAR_GROUND = 16.0  # codes
THIN = 0.4  # of the way from ground to paper: in a strip of two pixels the lens leaves no purer ground
STRIP = 0.94  # share of a strip that is ground
SOME = 0.06  # share of a line across a frame that must not be ground: a frame's own margin is paper, not ground
LEAST_FRAMES = 4
ALIKE = 0.05  # by which the sizes of frames may differ, of the size
STEADY = 0.03  # by which steps may differ, of the step
LEAST_SIDE = 0.02  # of the fiche's long side
EMPTY = 0.985  # share of ground at which a place of the grid holds no frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Fiche:
    """Frames in reading order, each four corners (x, y) clockwise from its top left, in pixels of what was looked at.

    ``tilt`` clockwise as seen [degrees]. ``doubtful``: strips were seen, yet what lies between them is no even grid;
    then there are no frames.
    """

    frames: tuple[tuple[tuple[float, float], ...], ...] = ()
    tilt: float = 0.0
    rows: int = 0
    columns: int = 0
    doubtful: bool = False


def fiche_frames(grey: np.ndarray) -> Fiche | None:
    """Find the frames of a fiche; None where no strips run across it: then it is one frame, or no fiche.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        The whole scan in miniature; negative or positive.
    """
    if grey.ndim != 2 or grey.dtype != np.uint8 or min(grey.shape, default=0) < 64:
        raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
    doubtful = False
    best: Fiche | None = None
    for level in _grounds(grey):
        away = np.abs(grey.astype(np.int16) - level)
        for reach in (NEAR_GROUND, max(NEAR_GROUND, THIN * float(np.percentile(away, 90)))):
            near = (away <= reach).astype(np.uint8)
            near = cv2.morphologyEx(near, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
            tilt = _tilt(near)
            found = _grid(_level(near, tilt))
            if found is None:
                continue
            boxes, rows, columns, even = found
            doubtful |= not even
            if even and (best is None or len(boxes) > len(best.frames)):
                corners = tuple(_corners(box, tilt, grey.shape) for box in boxes)
                best = Fiche(frames=corners, tilt=tilt, rows=rows, columns=columns)
        if best is not None:
            break
    return best or (Fiche(doubtful=True) if doubtful else None)


def _grounds(grey: np.ndarray) -> list[float]:
    """Levels that the strips may have: of the outer edge first, then the most frequent light and dark ones."""
    edge = max(2, min(grey.shape) // 60)
    ring = np.concatenate([grey[:edge].ravel(), grey[-edge:].ravel(), grey[:, :edge].ravel(), grey[:, -edge:].ravel()])
    counts = cv2.GaussianBlur(np.bincount(grey.ravel(), minlength=256).astype(np.float32)[None], (0, 0), 3).ravel()
    peaks = [n for n in range(1, 255) if counts[n] >= counts[n - 1] and counts[n] > counts[n + 1]]
    peaks = sorted(peaks, key=lambda n: -counts[n])[:4]
    levels = [float(np.median(ring))]
    levels += [float(peak) for peak in peaks if all(abs(peak - level) > NEAR_GROUND / 2 for level in levels)]
    return levels


def _tilt(near: np.ndarray) -> float:
    """The turn at which strips of ground stand out most sharply along both axes [degrees, clockwise]."""
    scale = min(1.0, LOOK_PX / max(near.shape))
    small = cv2.resize(near.astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 1.0)  # else no turn is as sharp as none, whose pixels are not mixed
    coarse = cv2.resize(small, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)

    def sharp(tilt: float) -> float:
        level = _level(coarse if step > 0.1 else small, tilt)
        inner = level[level.shape[0] // 12 : -level.shape[0] // 12, level.shape[1] // 12 : -level.shape[1] // 12]
        return float((np.diff(inner.mean(axis=0)) ** 2).sum() + (np.diff(inner.mean(axis=1)) ** 2).sum())

    best, step = 0.0, 0.5
    steps = np.arange(-REACH, REACH + step / 2, step)
    while True:
        best = max(steps, key=sharp)
        if step < 0.05:
            return float(best)
        step /= 3
        steps = best + step * np.arange(-3, 4)


def _level(pixels: np.ndarray, tilt: float) -> np.ndarray:
    """Turned back about the middle; what comes in from outside is ground."""
    if abs(tilt) < 1e-6:
        return pixels
    rows, columns = pixels.shape
    turn = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), tilt, 1.0)
    how = cv2.INTER_NEAREST if pixels.dtype == np.uint8 else cv2.INTER_LINEAR
    return cv2.warpAffine(pixels, turn, (columns, rows), flags=how, borderValue=1)


def _runs(lines: np.ndarray, least: int) -> list[tuple[int, int]]:
    """Stretches that are no strip, at least so long: (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (~lines).astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def _between(near: np.ndarray, axis: int, least: int) -> list[tuple[int, int]]:
    """Stretches between strips, summed up along an axis. A thin strip that stands a hair askew lies in two lines by
    turns, so ground counts for the line beside it too; stretches are given back whole."""
    wide = cv2.dilate(np.ascontiguousarray(near), np.ones((3, 1) if axis == 1 else (1, 3), np.uint8), borderValue=0)
    runs = _runs(wide.mean(axis=axis) > STRIP, least)
    size = near.shape[1 - axis]
    return [(first - 1 if first else 0, last + 1 if last < size else size) for first, last in runs]


def _grid(near: np.ndarray) -> tuple[list[tuple[int, int, int, int]], int, int, bool] | None:
    """Boxes (left, top, right, foot) in reading order, rows, columns, and whether they make an even grid."""
    least = max(12, int(LEAST_SIDE * max(near.shape)))
    bands = _between(near, 1, least)
    bands = [band for band in bands if near[band[0] : band[1]].mean() < 1 - SOME]
    if not bands:
        return None
    heights = np.array([foot - top for top, foot in bands])
    usual = float(np.median(heights))
    bands = [band for band, height in zip(bands, heights, strict=True) if height > 0.6 * usual]  # no line of title
    rows_of = [[(left, top, right, foot) for left, right in _between(near[top:foot], 0, least)] for top, foot in bands]
    most = max(len(row) for row in rows_of)
    if not most or (most == 1 and len(bands) == 1):
        return None
    # A heading as tall as a row is told by having no frames like the others'.
    sizes = np.array([(box[2] - box[0], box[3] - box[1]) for row in rows_of for box in row], float)
    size = np.median(sizes, axis=0)
    rows_of = [row for row in rows_of if any(abs((box[2] - box[0]) / size[0] - 1) <= ALIKE for box in row)]
    boxes = [box for row in rows_of for box in row]
    if len(boxes) < LEAST_FRAMES:
        return None
    sizes = np.array([(box[2] - box[0], box[3] - box[1]) for box in boxes], float)
    alike = bool((np.abs(sizes / size - 1) <= ALIKE).all())
    even = alike and _steady([box[0] for box in boxes], size[0]) and _steady([box[1] for box in boxes], size[1])
    return boxes, len(rows_of), most, even


def _steady(starts: list[int], size: float) -> bool:
    """Whether frames start at whole steps from each other."""
    places = np.unique(np.asarray(starts, float))
    groups = np.split(places, np.flatnonzero(np.diff(places) > 0.3 * size) + 1)
    middles = np.array([group.mean() for group in groups])
    if any(np.ptp(group) > ALIKE * size for group in groups):
        return False
    if middles.size < 2:
        return True
    steps = np.diff(middles)
    step = float(steps.min())
    whole = np.rint(steps / step)
    return bool(step < 1.6 * size and (np.abs(steps / whole / step - 1) <= STEADY).all())


def _corners(box: tuple[int, int, int, int], tilt: float, shape: tuple[int, int]) -> tuple[tuple[float, float], ...]:
    left, top, right, foot = box
    a, middle = np.deg2rad(tilt), np.array([shape[1] / 2, shape[0] / 2])
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    points = np.array([(left, top), (right, top), (right, foot), (left, foot)], float) - middle
    return tuple((float(x), float(y)) for x, y in points @ turn.T + middle)
