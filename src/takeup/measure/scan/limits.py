"""Where a print runs over the limit of the scan, and where a scanner shows a dark frame round its glass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.scan.brightness import mean_of_channels
from takeup.measure.scan.sides import Box

PAST_MM = 1.0  # a shadow is narrower: what stands out further than this from a side is paper
MOST_FRAME_IN = 0.5
SAME, GAP = 8.0, 0.04  # codes off the frame; share of the line beside it: a dark lid goes on between its prints
DARK, JUMP = 60.0, 30.0  # codes: what a frame is at most, and how far the glass beside it stands above it


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Lines of a dark frame at each limit of the scan [miniature pixels]."""

    top: int = 0
    right: int = 0
    bottom: int = 0
    left: int = 0


def dark_frame(pixels: np.ndarray, per_inch: float) -> Frame:
    """The even dark frame that some scanners show round their glass.

    A frame's lines are dark and even along nearly their whole length, and the glass begins with a jump of brightness,
    everywhere: where the dark goes on between bright things it is a dark lid.
    """
    most = round(MOST_FRAME_IN * per_inch)
    turned = pixels.transpose(1, 0, 2)
    left, right = _lines(turned, most), _lines(turned[::-1], most)
    top, bottom = _lines(pixels, most), _lines(pixels[::-1], most)
    return Frame(
        top=0 if _goes_on(pixels, top, left, right) else top,
        right=0 if _goes_on(turned[::-1], right, top, bottom) else right,
        bottom=0 if _goes_on(pixels[::-1], bottom, left, right) else bottom,
        left=0 if _goes_on(turned, left, top, bottom) else left,
    )


def _goes_on(pixels: np.ndarray, deep: int, before: int, after: int) -> bool:
    """Whether what looked like a frame is seen past its end as well, between ``before`` and ``after``."""
    if not deep:
        return False
    lines = mean_of_channels(pixels[: deep + 2])
    inside = lines[-1, before : lines.shape[1] - after]
    level = float(np.median(lines[: max(1, deep - 2)]))
    return bool(inside.size and (np.abs(inside - level) <= SAME).mean() > GAP)


def _lines(pixels: np.ndarray, most: int) -> int:
    if min(most + 4, pixels.shape[0]) < 8 or np.percentile(mean_of_channels(pixels[:1]), 90) > DARK:
        return 0
    first = mean_of_channels(pixels[: most + 4])
    middle = np.median(first, axis=1)
    even = np.percentile(first, 90, axis=1) <= DARK
    glass = np.flatnonzero(~even)
    if not glass.size or glass[0] > most:
        return 0
    end = int(glass[0])
    after = middle[end + 1 : end + 4]
    return end + 2 if after.size and after.max() - middle[: max(1, end)].mean() >= JUMP else 0


def over_limits(
    box: Box, away: np.ndarray, mask: np.ndarray, noise: float, per_inch: float
) -> tuple[float, float, float, float]:
    """How far each side (top, right, bottom, left) must be moved outward to the limit of the scan, because what lies
    between the two is paper [miniature pixels]; 0 where it is lid.

    Parameters
    ----------
    box : Box
        A print as its sides were found, tilted by less than 45 degrees.
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid.
    mask : ndarray, shape (rows, columns), uint8
        What stands out from the lid.
    noise : float
        Spread of one lid pixel [codes].
    """
    rows, columns = mask.shape
    a = np.deg2rad(box.tilt)
    out = [np.array([np.sin(a), -np.cos(a)]), np.array([np.cos(a), np.sin(a)])]
    out += [-out[0], -out[1]]
    corners = box.corners()
    moved = []
    for side in range(4):
        across = side % 2 == 0
        line = 0 if side in (0, 3) else (rows if across else columns) - 1
        ends = sorted(corners[[side, (side + 1) % 4], 0 if across else 1])
        trim = 0.08 * (ends[1] - ends[0])
        first, last = max(0, int(ends[0] + trim)), min(columns if across else rows, int(ends[1] - trim))
        if last - first < 12 or min(box.width, box.height) < 16:
            moved.append(0.0)
            continue
        at = np.arange(first, last) + 0.5
        fixed = np.full_like(at, line + 0.5)
        points = np.stack([at, fixed] if across else [fixed, at], axis=1)
        depth = (box.height if across else box.width) / 2
        past = (points - [box.x, box.y]) @ out[side] - depth
        shown = away[line, first:last] if across else away[first:last, line]
        stands = (mask[line, first:last] if across else mask[first:last, line]) > 0
        paper = stands & (past > PAST_MM * per_inch / 25.4)
        if np.median(past) <= 0:  # its side is seen at the limit or beyond
            moved.append(0.0)
            continue
        deeper = min(int(np.ceil(np.median(past))) + 4, (rows if across else columns) - 1)
        inner = line + deeper if side in (0, 3) else line - deeper
        beside = away[inner, first:last] if across else away[first:last, inner]
        goes_on = _alike(shown.mean(axis=1), beside.mean(axis=1), noise)
        drawn = stands & (past > 0.9) if goes_on else np.zeros_like(stands)
        met = paper.mean() > 0.5 or drawn.mean() > 0.5
        moved.append(float(max(0.0, np.median(past) + 0.5)) if met else 0.0)
    return moved[0], moved[1], moved[2], moved[3]


def _alike(one: np.ndarray, two: np.ndarray, noise: float) -> bool:
    """Whether the same picture runs through two lines of codes: what a shadow on a lid never does."""
    smooth = [np.convolve(line, np.ones(5) / 5, "valid") for line in (one, two)]
    spreads = [float(line.std()) for line in smooth]
    if min(spreads) < 2.0 * noise + 1.0 or spreads[0] < 0.4 * spreads[1]:  # at its very end a print is blurred out
        return False
    return float(np.corrcoef(smooth[0], smooth[1])[0, 1]) > 0.7
