"""How far the lines of a page of text are turned, from the profile of its ink across candidate directions."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples

REACH = 12.0  # degrees to either side


@dataclass(frozen=True, slots=True, kw_only=True)
class TextTilt:
    """``tilt`` is clockwise as seen [degrees]; ``clear``: how far the best direction stands out (1: not at all)."""

    tilt: float
    clear: float


def text_tilt(grey: np.ndarray) -> TextTilt | None:
    """The turn of a page's lines; None when there is too little ink to tell.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        The page, best at 100 to 200 pixels per inch.

    Notes
    -----
    For each candidate direction the ink pixels are counted in strips along it; text gives the sharpest profile (largest
    sum of squared differences between neighbouring strips) along its own lines. Known method (projection profile);
    searched coarse to fine to 0.01 degrees.
    """
    if grey.ndim != 2 or grey.size == 0:
        raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
    x, y = _ink(grey)
    if x.size < 800:
        return None
    coarse = np.arange(-REACH, REACH + 0.01, 0.25)
    scores = np.array([_score(x, y, angle) for angle in coarse])
    best = float(coarse[int(np.argmax(scores))])
    clear = float(scores.max() / max(np.median(scores), 1e-9))
    for step in (0.05, 0.01):
        near = best + np.arange(-6, 7) * step
        fine = np.array([_score(x, y, angle) for angle in near])
        best = float(near[int(np.argmax(fine))])
    return TextTilt(tilt=best, clear=clear)


def _ink(grey: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where ink lies: clearly darker than its surroundings, and no thick black (a picture, a shadow, a fold)."""
    ground = cv2.medianBlur(cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), 15)
    ground = cv2.resize(ground, grey.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    dark = (ground.astype(np.int16) - grey > 30).astype(np.uint8)
    thick = cv2.morphologyEx(dark, cv2.MORPH_OPEN, np.ones((13, 13), np.uint8))
    dark[cv2.dilate(thick, np.ones((15, 15), np.uint8)) > 0] = 0
    edge = max(4, min(grey.shape) // 50)
    y, x = np.nonzero(dark[edge:-edge, edge:-edge])
    keep = slice(None, None, max(1, x.size // 60000))
    return x[keep].astype(np.float32), y[keep].astype(np.float32)


def _score(x: np.ndarray, y: np.ndarray, angle: float) -> float:
    a = np.deg2rad(angle)
    across = y * np.cos(a) - x * np.sin(a)
    counts = np.bincount((across - across.min()).astype(np.int32)).astype(np.float64)
    return float((np.diff(counts) ** 2).sum())
