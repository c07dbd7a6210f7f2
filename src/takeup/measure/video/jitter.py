"""Line jitter: the RMS of each line's sideways shift about the smooth path of its field.

Successive lines of one field are laid over each other by iterated least squares, twice: once by one half of the line
(every second of eight pieces), once by the other. What the picture itself changes from line to line differs between the
halves; what the tape shifts is the same in both. So the shift's variance is the covariance of the two halves, and
texture, slanted edges and noise add nothing to it. If shifts are independent from line to line, the steps between lines
have twice their variance. Lines without enough upright detail have no say, and a picture without enough such lines has
no answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, SIDES, TOP
from takeup.measure.video.loops import loops

ROUNDS = ((3.5, 2), (1.2, 3))  # blur [px] and how often: first whatever is far, then finely
FARTHEST_PX = 16.0
SMOOTH_LINES = 15  # the path of a field: a running median over so many lines
PIECES = 8
KNOWN_PX = 0.1  # lines known better than this weigh alike
LINES = 160  # of a field are enough


@dataclass(frozen=True, slots=True, kw_only=True)
class Jitter:
    """``square_px``: variance of the lines' shift, for a 720-sample line; None where too few lines could be laid.

    One field's own figure may be less than 0 by chance; the mean of many is not.
    """

    square_px: float | None
    lines: int  # steps between lines that had a say


def line_jitter(
    luma: np.ndarray, bits: int, parity: int, *, sharp_enough: float, least_lines: int, low: bool = False
) -> Jitter:
    """Measure one field of a picture.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    parity : int
        0: its even lines, 1: its odd ones
    sharp_enough : float
        A step between two lines has a say when either half knows it to this many pixels (one standard deviation).
    least_lines : int
        So many steps must have a say.
    low : bool
        Of a field with more than ``LINES`` lines, the lower ones.
    """
    unit = 2.0 ** (bits - 8)
    field = luma[TOP + parity : luma.shape[0] - HEAD_SWITCH : 2, SIDES : luma.shape[1] - SIDES]
    lines = (field[-LINES:] if low else field[:LINES]).astype(np.float32) / unit
    if len(lines) < least_lines or lines.shape[1] < 8 * PIECES:
        return Jitter(square_px=None, lines=0)
    shift, spread = _steps(lines)
    usable = (spread < sharp_enough).all(axis=0) & (np.abs(shift) < FARTHEST_PX).all(axis=0)
    number = int(usable.sum())
    if number < max(least_lines, SMOOTH_LINES):
        return Jitter(square_px=None, lines=number)
    one, other = shift[:, usable]
    one, other, known = one - _path(one), other - _path(other), np.square(spread[:, usable]).sum(axis=0)
    apart = _width(one - other)
    if apart / 2 > 2 * sharp_enough:
        return Jitter(square_px=None, lines=number)
    # a half that was laid wrongly pulls no further than the widest shift likely; surely known lines weigh more
    bound = 3.5 * max(_width((one + other) / 2), 0.05)
    product = np.clip(one, -bound, bound) * np.clip(other, -bound, bound)
    both = float(np.average(product, weights=1 / (known + KNOWN_PX**2)))
    return Jitter(square_px=both / 2 * (720 / luma.shape[1]) ** 2, lines=number)


def _steps(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shift of each line against the one above it by either half, and how surely it is known; shape (2, lines - 1)."""
    shift = np.zeros((2, len(lines) - 1), np.float32)
    spread, room = np.zeros_like(shift), np.empty(lines.shape[1], np.float32)
    ends = -(-np.arange(PIECES + 1, dtype=np.int64) * lines.shape[1] // PIECES)
    for blur, rounds in ROUNDS:
        soft = cv2.GaussianBlur(lines, (0, 0), sigmaX=blur, sigmaY=0.01)
        loops().lay_lines(soft, rounds, 4 * blur, 2 * FARTHEST_PX, room, ends, shift, spread)
    return shift, spread


def _width(values: np.ndarray) -> float:
    """Standard deviation of a normal distribution as wide as the middle four fifths."""
    low, high = np.percentile(values, [10, 90])
    return float(high - low) / 2.563


def _path(shift: np.ndarray) -> np.ndarray:
    """Running median of the steps: slanted edges bend a whole neighbourhood, jitter does not."""
    half = SMOOTH_LINES // 2
    padded = np.pad(shift, half, mode="reflect")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, SMOOTH_LINES), axis=1)
