"""Invented scans: prints on a bed, a slide in its gate, pages of paper. Seeded arrays of RGB."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.invent.places import grain

LID = 246.0
STRIP = 512  # rows worked on at a time


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One print on the bed: its picture, its size, where its middle lies and how it is turned [inches, degrees]."""

    picture: np.ndarray  # RGB 0..255
    width_in: float
    height_in: float
    middle_in: tuple[float, float]
    tilt: float  # clockwise as seen
    border_in: float = 0.0  # white paper round the picture


def bed(prints: list[Print], size_in: tuple[float, float], ppi: int, seed: int) -> np.ndarray:
    """A scan of the whole bed, as the scanner gives it; uint8, shape (rows, columns, 3)."""
    dice = np.random.default_rng(seed)
    width, height = round(size_in[0] * ppi), round(size_in[1] * ppi)
    cells = dice.uniform(-2, 2, (9, 7)).astype(np.float32)
    noise = dice.standard_normal((STRIP, 1024, 3), dtype=np.float32) * np.float32(1.2)
    out = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, STRIP):  # strips: a bed is never held as floats
        rows = min(STRIP, height - top)
        down = np.linspace(top, top + rows, rows, dtype=np.float32) / height * 8
        across = np.linspace(0, 6, width, dtype=np.float32)
        lid = LID + cv2.remap(cells, np.tile(across, (rows, 1)), np.tile(down[:, None], (1, width)), cv2.INTER_LINEAR)
        for left in range(0, width, 1024):
            here = lid[:, left : left + 1024, None]
            rolled = noise[:: int(dice.choice([-1, 1])), :: int(dice.choice([-1, 1]))]
            out[top : top + rows, left : left + 1024] = cv2.convertScaleAbs(here + rolled[:rows, : here.shape[1]])
    for at, one in enumerate(prints):
        _lay(out, one, ppi, seed + at)
    return out


def _lay(out: np.ndarray, one: Print, ppi: int, seed: int) -> None:
    """Lay one print on the bed: its shadow, then its paper; only the part of the bed it covers is touched."""
    wide, tall = round(one.width_in * ppi), round(one.height_in * ppi)
    paper = np.full((tall, wide, 3), (240, 238, 232), np.uint8)
    border = round(one.border_in * ppi)
    inner = (wide - 2 * border, tall - 2 * border)
    how = cv2.INTER_AREA if one.picture.shape[1] > inner[0] else cv2.INTER_CUBIC
    picture = cv2.resize(one.picture.astype(np.uint8), inner, interpolation=how)
    for top in range(0, inner[1], STRIP):
        part = grain(picture[top : top + STRIP], seed + top, 4.0)
        paper[border + top : border + top + len(part), border : wide - border] = cv2.convertScaleAbs(
            np.maximum(part, 0)
        )
    turned = cv2.getRotationMatrix2D((0, 0), -one.tilt, 1.0)[:, :2]  # OpenCV counts the other way
    half_x, half_y = np.abs(turned) @ (wide / 2, tall / 2) + round(0.08 * ppi)
    cx, cy = one.middle_in[0] * ppi, one.middle_in[1] * ppi
    left, top = max(0, int(cx - half_x)), max(0, int(cy - half_y))
    right, foot = min(out.shape[1], int(cx + half_x)), min(out.shape[0], int(cy + half_y))
    turn = cv2.getRotationMatrix2D((wide / 2 - 0.5, tall / 2 - 0.5), -one.tilt, 1.0)
    turn[:, 2] += np.array([cx - left - wide / 2, cy - top - tall / 2])
    size = (right - left, foot - top)
    laid = cv2.warpAffine(paper, turn, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpAffine(np.full((tall, wide), 255, np.uint8), turn, size, flags=cv2.INTER_LINEAR)
    small = cv2.resize(cover, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    moved = np.roll(small, (round(0.0015 * ppi), round(0.00075 * ppi)), (0, 1))
    shadow = cv2.resize(cv2.GaussianBlur(moved, (0, 0), 0.00125 * ppi), size, interpolation=cv2.INTER_LINEAR)
    for at in range(0, foot - top, STRIP):
        rows = slice(at, min(at + STRIP, foot - top))
        here = out[top:foot, left:right][rows].astype(np.float32)
        share = cover[rows, :, None].astype(np.float32) / 255
        here *= 1 - (0.1 / 255) * shadow[rows, :, None] * (1 - share)
        here += (laid[rows] - here) * share
        out[top:foot, left:right][rows] = cv2.convertScaleAbs(here)


def slide(picture: np.ndarray, size: tuple[int, int], seed: int) -> np.ndarray:
    """A slide scanned in 16 bits: the picture with its fine grain, dark as slides are; uint16."""
    dice = np.random.default_rng(seed)
    resized = cv2.resize(np.rint(picture * 257).astype(np.uint16), size, interpolation=cv2.INTER_CUBIC)
    for top in range(0, size[1], STRIP):
        part = grain(resized[top : top + STRIP].astype(np.float32) / 257, seed + top, 3.0)
        linear = np.clip(part / 255, 0.004, 0.985) ** np.float32(1.15) * np.float32(65535)
        linear += dice.uniform(-20, 20, (len(part), 1, 1)).astype(np.float32)
        resized[top : top + STRIP] = np.clip(np.rint(linear), 0, 65535)
    return resized


def page(ink: np.ndarray, seed: int) -> np.ndarray:
    """A page of paper from its ink (0 none, 1 full): cream paper with fibres, dark ink; uint8."""
    dice = np.random.default_rng(seed)
    height, width = ink.shape
    fibres = cv2.GaussianBlur(dice.standard_normal((height, width), dtype=np.float32), (0, 0), 1.2)
    soft = cv2.GaussianBlur(ink.astype(np.float32), (0, 0), 0.7)
    out = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, STRIP):
        rows = slice(top, min(top + STRIP, height))
        paper = np.array((240, 235, 222), np.float32) + 5 * fibres[rows, :, None]
        part = paper + (np.array((38, 34, 40), np.float32) - paper) * soft[rows, :, None]
        part += dice.standard_normal(part.shape[:2] + (1,), dtype=np.float32)
        out[rows] = cv2.convertScaleAbs(np.maximum(part, 0))
    return out
