"""Line jitter: the RMS of each line's sideways shift about the smooth path of its field.

Successive lines of one field are laid over each other by iterated least squares. If shifts are independent from line to
line the steps between lines spread by the square root of two more. Lines without enough upright detail have no say, and
a picture without enough such lines has no answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, TOP

ROUNDS = 4
FARTHEST_PX = 12.0
SMOOTH_LINES = 15  # the path of a field: a running median over so many lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Jitter:
    """``rms_px``: for a 720-sample line; None where too few lines could be laid over each other."""

    rms_px: float | None
    lines: int  # steps between lines that had a say


def line_jitter(luma: np.ndarray, bits: int, parity: int, *, sharp_enough: float, least_lines: int) -> Jitter:
    """Measure one field of a picture.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    parity : int
        0: its even lines, 1: its odd ones
    sharp_enough : float
        A step between two lines has a say when its shift is known to this many pixels (one standard deviation).
    least_lines : int
        So many steps must have a say.
    """
    unit = 2.0 ** (bits - 8)
    lines = luma[TOP + parity : luma.shape[0] - HEAD_SWITCH : 2].astype(np.float32) / unit
    shift, spread = _steps(lines)
    usable = (spread < sharp_enough) & (np.abs(shift) < FARTHEST_PX)
    number = int(usable.sum())
    if number < max(least_lines, SMOOTH_LINES):
        return Jitter(rms_px=None, lines=number)
    low, high = np.percentile(_off_path(shift[usable]), [10, 90])
    wide = float(high - low) / 2.563  # of a normal distribution, one standard deviation
    own = float(np.median(spread[usable]))
    rms = np.sqrt(max(wide**2 - own**2, 0.0) / 2) * 720 / luma.shape[1]
    return Jitter(rms_px=float(rms), lines=number)


def _steps(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shift of each line against the one above it [px], and how surely it is known [px]."""
    soft = cv2.GaussianBlur(lines, (0, 0), sigmaX=1.2, sigmaY=0.01)
    above, below = soft[:-1], soft[1:]
    shift = np.zeros(len(above), np.float32)
    x = np.arange(lines.shape[1], dtype=np.float32)[None, :]
    y = np.repeat(np.arange(len(above), dtype=np.float32)[:, None], lines.shape[1], 1)
    moved = below
    for _ in range(ROUNDS):
        slope = np.zeros_like(above)
        slope[:, 1:-1] = ((above + moved)[:, 2:] - (above + moved)[:, :-2]) / 4
        apart = moved - above
        inside = np.ones_like(x, bool)
        inside[:, :2] = inside[:, -2:] = False
        power = np.square(slope * inside).sum(axis=1) + 1e-6
        # an edge that is not in both lines pulls far: large differences are held to what noise explains
        size = 2.5 * 1.4826 * np.median(np.abs(apart), axis=1, keepdims=True) + 0.5
        weight = np.minimum(1.0, size / np.maximum(np.abs(apart), 1e-6)) * inside
        # moved(x) = below(x + shift); below is above moved right by s: moved is right when shift = s
        step = (weight * slope * apart).sum(axis=1) / ((weight * slope * slope).sum(axis=1) + 1e-6)
        shift = np.clip(shift - step, -2 * FARTHEST_PX, 2 * FARTHEST_PX)
        moved = cv2.remap(below, x + shift[:, None], y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    left = np.square(weight * (moved - above)).mean(axis=1)
    upright = power - lines.shape[1] * left * 0.15  # what noise alone gives of slope
    return shift, np.sqrt(left * 4.2 / np.maximum(upright, 1e-3))


def _off_path(shift: np.ndarray) -> np.ndarray:
    """Steps less their running median: slanted edges bend a whole neighbourhood, jitter does not."""
    half = SMOOTH_LINES // 2
    padded = np.pad(shift, half, mode="reflect")
    return shift - np.median(np.lib.stride_tricks.sliding_window_view(padded, SMOOTH_LINES), axis=1)
