"""Lines of lettering in a picture: where something stands that may be read, level or running up the picture.

Letters of one line are alike: parts of one tone that stand out from what is about them, of one height, in a row, close
together. A fence or leaves may look so too; whether anything can be read there is for a recogniser to say.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

LONG_PX = 1200  # a picture's long side at the finest look; coarser ones see larger letters
LOOKS = 3  # each at half the size of the one before
TALL = (9, 44)  # height of letters at a look [px]
STANDS, CODES = 0.9, 14.0  # how far letters stand from the mean about them: in local spreads, and in codes
ABOUT = 41  # side of what is about them [px]
LEAST = 4  # letters of a line
MOST_PARTS = 4000  # of a look: the most alike tall ones are enough
LINES = 5
LETTER_PX = 34  # height that letters are given for reading
JOINED = 0.38  # of the way from letters to ground: what is nearer the letters belongs to them


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of lettering. ``pixels``: dark on light, level, its letters ``LETTER_PX`` high (uint8); ``upwards``: it
    was turned a quarter clockwise for that. ``parts``: how many letters it seems to hold; ``box``: x, y, width, height
    in the picture."""

    pixels: np.ndarray
    parts: int
    box: tuple[int, int, int, int]
    upwards: bool = False


def lettering(grey: np.ndarray, most: int = LINES) -> tuple[Line, ...]:
    """The lines that look most like lettering, best first.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
    """
    found: list[tuple[float, Line]] = []
    for upwards in (False, True):
        own = np.rot90(grey, -1) if upwards else grey
        own = np.ascontiguousarray(own)
        for look in range(LOOKS):
            times = max(1.0, max(own.shape) / LONG_PX) * 2**look
            if min(own.shape) / times < 3 * TALL[0]:
                break
            small = (
                own if times == 1 else cv2.resize(own, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
            )
            for dark in (True, False):
                for score, box in _rows(small if dark else 255 - small):
                    line = _cut(own, box, times, dark=dark, parts=int(score), upwards=upwards, shape=grey.shape)
                    found.append((score, line))
    kept: list[Line] = []
    for _, line in sorted(found, key=lambda one: -one[0]):
        if len(kept) < most and not any(_overlap(line.box, other.box) for other in kept):
            kept.append(line)
    return tuple(kept)


def _rows(grey: np.ndarray) -> list[tuple[float, np.ndarray]]:
    """Rows of dark parts alike: how many letters, weighted by how alike they are, and x, y, right, foot, height."""
    light = grey.astype(np.float32)
    mean = cv2.blur(light, (ABOUT, ABOUT))
    spread = np.sqrt(np.maximum(cv2.blur(light * light, (ABOUT, ABOUT)) - mean * mean, 0))
    out = mean - light
    mask = (out > np.maximum(CODES, STANDS * spread)).astype(np.uint8)
    _, label, stats, middles = cv2.connectedComponentsWithStats(mask, connectivity=8)
    wide, tall, area = (stats[:, n].astype(float) for n in (2, 3, 4))
    fits = (tall >= TALL[0]) & (tall <= TALL[1]) & (wide <= 1.6 * tall) & (area >= 0.14 * wide * tall)
    fits &= area <= 0.95 * wide * tall
    fits[0] = False
    numbers = np.flatnonzero(fits)
    if numbers.size < LEAST:
        return []
    numbers = numbers[:MOST_PARTS]
    held = np.flatnonzero(mask)
    of_part = label.ravel()[held]
    tone = np.bincount(of_part, light.ravel()[held], stats.shape[0])[numbers] / area[numbers]
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3).ravel()[held]  # a stroke is four times as wide as this, on the
    rim = 4 * np.bincount(of_part, depth, stats.shape[0])[numbers] / area[numbers]  # whole, for its middle is deeper
    return _joined(stats[numbers].astype(float), middles[numbers], tone, rim)


def _joined(
    stats: np.ndarray, middles: np.ndarray, tone: np.ndarray, stroke: np.ndarray
) -> list[tuple[float, np.ndarray]]:
    order = np.argsort(middles[:, 0])
    stats, tone, stroke = stats[order], tone[order], stroke[order]
    left, top, wide, tall = stats[:, 0], stats[:, 1], stats[:, 2], stats[:, 3]
    after = np.full(len(stats), -1)
    for n in range(len(stats)):
        near = np.flatnonzero(left[n + 1 : n + 400] < left[n] + wide[n] + 1.3 * tall[n]) + n + 1
        near = near[left[near] > left[n] + 0.3 * wide[n]]
        level = np.minimum(top[near] + tall[near], top[n] + tall[n]) - np.maximum(top[near], top[n])
        like = level > 0.55 * np.minimum(tall[near], tall[n])
        like &= np.maximum(tall[near], tall[n]) < 1.9 * np.minimum(tall[near], tall[n])
        like &= np.abs(tone[near] - tone[n]) < 28
        like &= np.maximum(stroke[near], stroke[n]) < 1.7 * np.minimum(stroke[near], stroke[n])
        near = near[like]
        if near.size:
            after[n] = near[int(np.argmin(left[near]))]
    rows = []
    for first in np.setdiff1d(np.flatnonzero(after >= 0), after):
        row = [int(first)]
        while after[row[-1]] >= 0 and len(row) < 60:
            row.append(int(after[row[-1]]))
        if len(row) < LEAST:
            continue
        at = np.array(row)
        even = 1 / (1 + (tone[at].std() / 12) ** 2 + (stroke[at].std() / stroke[at].mean() / 0.3) ** 2)
        right, foot = (left[at] + wide[at]).max(), (top[at] + tall[at]).max()
        box = np.array([left[at].min(), top[at].min(), right, foot, np.median(tall[at]), np.median(tone[at])])
        rows.append((len(row) * float(even), box))
    return rows


def _cut(
    own: np.ndarray, box: np.ndarray, times: float, *, dark: bool, parts: int, upwards: bool, shape: tuple[int, ...]
) -> Line:
    tall = box[4] * times
    x, y, right, foot = box[:4] * times
    pad = 0.6 * tall
    x0, y0 = max(0, int(x - 2 * pad)), max(0, int(y - pad))
    x1, y1 = min(own.shape[1], int(right + 2 * pad)), min(own.shape[0], int(foot + pad))
    part = own[y0:y1, x0:x1]
    scale = LETTER_PX / max(tall, 1)
    flags = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=flags)
    part = _alone(part if dark else 255 - part, float(box[5]))
    where = (x0, y0, x1 - x0, y1 - y0)
    if upwards:  # turned clockwise: across is down there
        where = (y0, shape[0] - x1, y1 - y0, x1 - x0)
    return Line(pixels=part, parts=parts, box=where, upwards=upwards)


def _alone(part: np.ndarray, tone: float) -> np.ndarray:
    """The letters alone on white: what is not their tone, too tall, or runs out of the cut is no letter."""
    light = part.astype(np.float32)
    band = light[int(0.45 * LETTER_PX) : -int(0.45 * LETTER_PX)]
    other = band[band > tone + CODES]
    ground = float(np.median(other)) if other.size else 255.0
    clean = np.clip((light - tone) / max(ground - tone, CODES), 0, 1)
    count, label, stats, _ = cv2.connectedComponentsWithStats((clean < JOINED).astype(np.uint8), connectivity=8)
    left, top, wide, tall = (stats[:, n] for n in range(4))
    letter = (tall <= 1.7 * LETTER_PX) & (left > 0) & (top > 0)
    letter &= (left + wide < part.shape[1]) & (top + tall < part.shape[0])
    letter[0] = False
    near = cv2.dilate(letter[label].astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    near &= letter[label] | (label == 0)
    return np.where(near, 255 * clean, 255).astype(np.uint8)


def _overlap(one: tuple[int, int, int, int], other: tuple[int, int, int, int]) -> bool:
    wide = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    high = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    return wide > 0 and high > 0 and wide * high > 0.3 * min(one[2] * one[3], other[2] * other[3])
