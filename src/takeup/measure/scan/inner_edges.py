"""Finds strong, straight, clean edges inside a picture on its miniature: those of a target, a drawn frame, a rule."""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.scan import edges
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.windows import Place, within

ALONG_PX, SIDE_PX = 200, 44
MOST_EACH_WAY = 3
TRIED = 16
ONE_TONE = 8  # codes to each side
TWO_TONES = 0.92  # of a miniature: what is left are the edges
LONGEST = 1200  # of a miniature: edges are looked for on one of half its size beyond


def inner_places(first: FirstLook) -> list[tuple[Place, bool]]:
    """Places of such edges, and whether each runs across the scan."""
    small, block = first.small.pixels, first.small.block
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY) if small.shape[2] == 3 else small[..., 0]
    grey = grey.astype(np.float32)
    if max(grey.shape) > LONGEST:
        grey, block = cv2.resize(grey[: grey.shape[0] // 2 * 2, : grey.shape[1] // 2 * 2], None, fx=0.5, fy=0.5,
                                 interpolation=cv2.INTER_AREA), 2 * block  # fmt: skip
    found: list[tuple[Place, bool]] = []
    for rows in (False, True):
        turned = np.ascontiguousarray(grey.T) if rows else grey
        size = first.size[::-1] if rows else first.size
        for x, y in _candidates(turned, block):
            place = _window(turned, block, x, y)
            place = within(place, size) if place is not None else None
            if place is None or place.width < 2 * SIDE_PX or place.height < ALONG_PX // 2:
                continue
            if rows:
                place = Place(y=place.x, x=place.y, width=place.height, height=place.width, purpose=place.purpose)
            found.append((place, rows))
            if sum(one[1] == rows for one in found) == MOST_EACH_WAY:
                break
    return found


def two_toned(first: FirstLook) -> bool:
    """Whether a scan shows two even tones and the edges between them, no more: a drawn target, not a photograph."""
    small = first.small.pixels
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY) if small.shape[2] == 3 else small[..., 0]
    counts = cv2.calcHist([np.ascontiguousarray(grey)], [0], None, [256], [0, 256]).ravel()
    held = np.convolve(counts, np.ones(2 * ONE_TONE + 1), mode="same")
    first_tone = int(held.argmax())
    rest = counts.copy()
    rest[max(0, first_tone - ONE_TONE) : first_tone + ONE_TONE + 1] = 0
    both = float(held.max() + np.convolve(rest, np.ones(2 * ONE_TONE + 1), mode="same").max())
    return both >= TWO_TONES * counts.sum()


def _candidates(grey: np.ndarray, block: int) -> list[tuple[int, int]]:
    """Where a steep edge runs down the miniature for long, steepest first: (x, y) of middles."""
    tall = max(9, ALONG_PX // block) | 1
    step = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3)
    lean = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3)
    straight = np.minimum(np.abs(step), 200.0) * (np.abs(lean) < 0.6 * np.abs(step))
    wide = max(5, tall // 4) | 1
    run = cv2.boxFilter(cv2.dilate(straight, np.ones((1, wide), np.uint8)), -1, (1, tall))
    run = cv2.boxFilter(run, -1, (wide, 1))
    tops, rest = [], run.copy()
    for _ in range(TRIED):
        _, value, _, (x, y) = cv2.minMaxLoc(rest)
        if value < 40:
            break
        tops.append((x, y))
        rest[max(0, y - tall // 2) : y + tall // 2 + 1, max(0, x - wide) : x + wide + 1] = 0
    return tops


def _window(grey: np.ndarray, block: int, x: int, y: int) -> Place | None:
    """The place in the scan, when the miniature shows one clean edge and even sides there."""
    half, tall = max(7, SIDE_PX // block), max(9, ALONG_PX // block)
    top, left = max(0, y - tall // 2), max(0, x - half)
    part = grey[top : top + tall, left : left + 2 * half + 1].astype(np.float64)
    line = edges.edge_line(part, rows=False) if min(part.shape) >= 9 else None
    if line is None or abs(line.slope) > 0.35 or line.scatter_px > 0.3:
        return None
    apart = edges.normal_distance(part.shape, line)
    near = 2.5
    left_side, right_side = part[apart < -near], part[apart > near]
    if min(left_side.size, right_side.size) < 3 * tall:
        return None
    height = abs(float(np.median(right_side) - np.median(left_side)))
    uneven = max(float(left_side.std()), float(right_side.std()))
    if height < 30 or uneven > 0.05 * height:
        return None
    middle = left + line.at + line.slope * (y - top) + 0.5
    reach = SIDE_PX + abs(line.slope) * ALONG_PX / 2
    return Place(
        y=int(y * block - ALONG_PX // 2), x=int(middle * block - reach), width=int(2 * reach), height=ALONG_PX,
        purpose="edge",
    )  # fmt: skip
