"""Specks: small marks that stand alone where all about them is smooth. On the lid and in the smooth parts of pictures.

In texture a speck and a leaf look alike, so nothing is told there: better few specks that are specks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.windows import Place, Window, within

DUST = "dust"
MOST_WINDOW_PX, MOST_PICTURES = 1_500_000, 3
MOST_SPOTS = 240  # kept of one scan
LARGEST_MM = 1.5
SPECK_PX = 15  # a wider mark is no speck
EVEN = 14  # codes between the darkest and the brightest of the ground about a speck in a picture
STEADY = 7.0  # how many times the unrest about it a speck must stand out
NEARLY = 0.8  # of what a speck must stand out: texture has many marks between that and all of it, dust hardly any
DARK = 70.0  # bright points on a ground darker than this are stars and lamps


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One mark: its middle ``x``, ``y`` and size [scan px], how much brighter or darker [codes]; ``on_lid``: beside the
    pictures."""

    x: float
    y: float
    size: float
    codes: float
    on_lid: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Specks:
    """Specks of one picture. ``count``: less as many as nearly were specks, for so many may be its texture's;
    ``smooth``: share of the picture looked at in which specks can be told; ``looked``: pixels looked at; ``area``: box
    of the place with them [px]."""

    count: int
    smooth: float
    looked: int
    area: tuple[float, float, float, float]


def spots(first: FirstLook) -> tuple[Spot, ...]:
    """The marks of a whole scan, found in its miniature, those on the lid first, the clearest first."""
    small, block = first.small.pixels, first.small.block
    per_mm = (first.ppi / block if first.ppi else max(small.shape[:2]) / 14.0) / 25.4
    grey = _grey(small)
    lid = first.ground(max(2.0, 1.5 * per_mm))
    inside = np.zeros(lid.shape, bool)
    for one in first.pictures.prints:
        inside |= first.inside(one, max(3.0, 2.0 * per_mm))
    away, unrest, base = _standing_out(grey, 9)
    unrest *= np.where(lid, np.float32(6.0), np.float32(STEADY + 1))
    limit = np.maximum(unrest, np.where(lid, np.float32(6.0), np.float32(12.0)), out=unrest)
    marks = _marks(away, base, limit, lid | inside, most_px=max(6.0, LARGEST_MM * per_mm), least_area=1)
    found = [
        Spot(x=(x + 0.5) * block, y=(y + 0.5) * block, size=size * block, codes=codes, on_lid=bool(lid[int(y), int(x)]))
        for x, y, size, codes in marks
    ]
    found.sort(key=lambda spot: (not spot.on_lid, -abs(spot.codes) * spot.size))
    return tuple(found[:MOST_SPOTS])


def dust_places(first: FirstLook) -> list[Place]:
    """The middles of the largest pictures, worth every pixel."""

    def area(corners: tuple[tuple[float, float], ...]) -> float:
        return float(cv2.contourArea(np.asarray(corners, np.float32)))

    places = []
    largest = sorted(first.pictures.prints, key=lambda one: -area(one.corners))[:MOST_PICTURES]
    for one in largest:
        corners = np.asarray(one.corners)
        middle = corners.mean(axis=0)
        width, height = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[3] - corners[0]))
        turn = np.deg2rad(abs(one.tilt))
        width, height = width * np.cos(turn) - height * np.sin(turn), height * np.cos(turn) - width * np.sin(turn)
        if min(width, height) < 100:
            continue
        shrink = min(1.0, (MOST_WINDOW_PX / (width * height)) ** 0.5)
        width, height = int(width * shrink * 0.94), int(height * shrink * 0.94)
        place = within(
            Place(
                y=int(middle[1] - height / 2), x=int(middle[0] - width / 2), width=width, height=height, purpose=DUST
            ),
            first.size,
        )
        places += [place] if place is not None else []
    return places


def specks(windows: Sequence[Window], full_scale: int, *, dark_only: bool) -> tuple[Specks, ...]:
    """Specks in the middles of pictures.

    Parameters
    ----------
    dark_only : bool
        On film dust only takes light away; on prints it is brighter or darker than what lies under it.
    """
    found = []
    for window in windows:
        grey = _grey(window.pixels if full_scale == 255 else (window.pixels >> 8).astype(np.uint8))
        away, unrest, base = _standing_out(grey, 15)
        near = np.ones((31, 31), np.uint8)
        rough = cv2.subtract(cv2.dilate(base, near), cv2.erode(base, near))
        quiet = float(np.quantile(unrest[::8, ::8], 0.1))
        smooth = (rough <= EVEN) & (unrest <= min(1.5 * quiet + 0.15, 4.0))
        limit = np.maximum(15.0, STEADY * unrest)
        away = np.minimum(away, 0) if dark_only else np.where((base < DARK) & (away > 0), 0, away)
        marks = _marks(away, base, limit, smooth, most_px=SPECK_PX, least_area=2, share=NEARLY)
        whole = int(sum(abs(codes) > limit[int(y), int(x)] for x, y, _, codes in marks))
        place = window.place
        area = (place.x, place.y, place.width, place.height)
        found.append(
            Specks(count=max(2 * whole - len(marks), 0), smooth=float(smooth.mean()), looked=grey.size, area=area)
        )
    return tuple(found)


def _grey(pixels: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(pixels[..., 0] if pixels.shape[2] == 1 else cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))


def _standing_out(grey: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What stands out from the median about it, how restless it is there (clipped, so that a speck adds little), and
    that median."""
    base = cv2.medianBlur(grey, size)
    away = cv2.subtract(grey, base, dtype=cv2.CV_32F)
    near = np.minimum(cv2.absdiff(grey, base), 5) * np.uint8(40)
    unrest = cv2.blur(near, (2 * size + 1, 2 * size + 1)).astype(np.float32)
    unrest /= 40
    return away, np.maximum(unrest, np.float32(0.4), out=unrest), base


def _marks(
    away: np.ndarray,
    base: np.ndarray,
    limit: np.ndarray,
    where: np.ndarray,
    *,
    most_px: float,
    least_area: int,
    share: float = 1.0,
) -> list[tuple[float, float, float, float]]:
    """Small connected marks beyond a share of their limit: x, y, size and codes."""
    height = np.abs(away)
    strong = (height > (limit if share == 1.0 else np.float32(share) * limit)) & where
    height *= 2
    weak = (height > limit).view(np.uint8)
    del height
    count, labels, stats, middles = cv2.connectedComponentsWithStats(weak, connectivity=8)
    if count > 60_000:
        return []
    peaks = np.unique(labels[strong])
    found = []
    for label in peaks[peaks > 0]:
        left, top, width, height, area = stats[label]
        if max(width, height) > most_px or area < least_area:
            continue
        part = away[top : top + height, left : left + width][labels[top : top + height, left : left + width] == label]
        if abs(part.mean()) < 0.6 * np.abs(part).mean():
            continue  # bright and dark beside each other: texture or a sharpened edge
        x, y = middles[label]
        found.append((float(x), float(y), float(max(width, height)), float(part[np.argmax(np.abs(part))])))
    return found
