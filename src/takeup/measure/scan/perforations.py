"""Reads the scale of a film by its own perforations: equal holes in a row at equal distances."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

LEAST = 8  # holes in a row
MOST = 400  # shapes like a hole: with more of them it is a texture
ALONG, ACROSS = (0.34, 0.50), (0.48, 0.70)  # a hole's sides as shares of the pitch: 1.98 x 2.79 mm at 4.75 mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Perforations:
    """``along``: "x" or "y"; ``pitch``: from hole to hole [px of the array]; ``error``: of it [px]."""

    along: str
    pitch: float
    holes: int
    error: float


def perforations(grey: np.ndarray) -> Perforations | None:
    """The longest row of perforations in a picture of film; None where there is none.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        At least six pixels from one hole to the next.

    Notes
    -----
    Holes are brighter or darker than the film, by what lies behind it: each of a few levels is tried in both ways.
    Only a hole's shape against the distance to the next one tells film from windows of a house.
    """
    otsu, _ = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    best: Perforations | None = None
    for level in sorted({int(otsu), 240, 205, 40}):
        for way in (cv2.THRESH_BINARY, cv2.THRESH_BINARY_INV):
            _, mask = cv2.threshold(grey, level, 255, way)
            count, _, stats, middles = cv2.connectedComponentsWithStats(mask, connectivity=4)
            if count - 1 < LEAST:
                continue
            for along, swap in (("x", [0, 1]), ("y", [1, 0])):
                one = _row(middles[:, swap], stats[:, [2 + n for n in swap]].astype(float), stats[:, 4], along)
                if one is not None and (best is None or one.holes > best.holes):
                    best = one
    return best


def _row(middles: np.ndarray, sides: np.ndarray, area: np.ndarray, along: str) -> Perforations | None:
    width, height = sides[:, 0], sides[:, 1]
    shape = (area > 0.72 * width * height) & (width > 3) & (height > width) & (height < 2.1 * width)
    points, wide, high = middles[shape], width[shape], height[shape]
    if not LEAST <= len(points) <= MOST:
        return None
    order = np.argsort(points[:, 0])
    points, wide, high = points[order], wide[order], high[order]
    chains: list[list[int]] = []
    last: dict[int, int] = {}
    for n in range(len(points)):
        for m in range(n - 1, -1, -1):
            step = points[n] - points[m]
            alike = abs(wide[n] - wide[m]) <= 0.12 * wide[m] + 1 and abs(high[n] - high[m]) <= 0.12 * high[m] + 1
            if step[0] > 3.2 * wide[n]:
                break
            if alike and step[0] > 1.8 * wide[n] and abs(step[1]) < 0.12 * step[0] and m in last:
                last[n] = last.pop(m)
                chains[last[n]].append(n)
                break
        else:
            last[n] = len(chains)
            chains.append([n])
            continue
        if n not in last:
            last[n] = len(chains)
            chains.append([n])
    longest = max(chains, key=len)
    return _fit(points[longest], wide[longest], high[longest], along) if len(longest) >= LEAST else None


def _fit(points: np.ndarray, wide: np.ndarray, high: np.ndarray, along: str) -> Perforations | None:
    k = np.arange(len(points), dtype=float)
    (across, x0), (down, y0) = (np.polyfit(k, points[:, n], 1) for n in (0, 1))
    pitch = float(np.hypot(across, down))
    spread = float(np.std(points[:, 0] - across * k - x0))
    sides = float(np.median(wide)) / pitch, float(np.median(high)) / pitch
    if spread > 0.03 * pitch or not (ALONG[0] < sides[0] < ALONG[1] and ACROSS[0] < sides[1] < ACROSS[1]):
        return None
    error = spread / np.sqrt(len(k)) * np.sqrt(12) / len(k)
    return Perforations(along=along, pitch=pitch, holes=len(points), error=error)
