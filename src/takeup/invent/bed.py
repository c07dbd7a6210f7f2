"""Invented scans: prints on a bed, a slide in its gate, pages of paper. Seeded arrays of RGB."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.invent.places import grain

LID = 246.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """One print on the bed: its picture, its size, where its middle lies and how it is turned [inches, degrees]."""

    picture: np.ndarray  # RGB floats 0..255
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
    lid = LID + cv2.resize(cells, (width, height), interpolation=cv2.INTER_LINEAR)
    noise = (dice.standard_normal((1024, 1024, 3), dtype=np.float32) * 1.2).astype(np.float32)
    out = np.empty((height, width, 3), np.uint8)
    for top in range(0, height, 1024):
        for left in range(0, width, 1024):
            here = lid[top : top + 1024, left : left + 1024, None]
            rolled = noise[:: int(dice.choice([-1, 1])), :: int(dice.choice([-1, 1]))]
            part = here + rolled[: here.shape[0], : here.shape[1]]
            out[top : top + 1024, left : left + 1024] = cv2.convertScaleAbs(part)
    for at, one in enumerate(prints):
        _lay(out, one, ppi, seed + at)
    return out


def _lay(out: np.ndarray, one: Print, ppi: int, seed: int) -> None:
    """Lay one print on the bed: its shadow, then its paper; only the part of the bed it covers is touched."""
    wide, tall = round(one.width_in * ppi), round(one.height_in * ppi)
    paper = np.full((tall, wide, 3), (240, 238, 232), np.float32)
    border = round(one.border_in * ppi)
    inner = (wide - 2 * border, tall - 2 * border)
    how = cv2.INTER_AREA if one.picture.shape[1] > inner[0] else cv2.INTER_CUBIC
    picture = cv2.resize(one.picture, inner, interpolation=how)
    paper[border : tall - border, border : wide - border] = grain(picture, seed, 4.0)
    turned = cv2.getRotationMatrix2D((0, 0), -one.tilt, 1.0)[:, :2]  # OpenCV counts the other way
    half_x, half_y = np.abs(turned) @ (wide / 2, tall / 2) + round(0.08 * ppi)
    cx, cy = one.middle_in[0] * ppi, one.middle_in[1] * ppi
    left, top = max(0, int(cx - half_x)), max(0, int(cy - half_y))
    right, foot = min(out.shape[1], int(cx + half_x)), min(out.shape[0], int(cy + half_y))
    turn = cv2.getRotationMatrix2D((wide / 2 - 0.5, tall / 2 - 0.5), -one.tilt, 1.0)
    turn[:, 2] += (cx - left - wide / 2, cy - top - tall / 2)
    size = (right - left, foot - top)
    codes = cv2.convertScaleAbs(paper)
    laid = cv2.warpAffine(codes, turn, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpAffine(np.full((tall, wide), 255, np.uint8), turn, size, flags=cv2.INTER_LINEAR)
    small = cv2.resize(cover, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    moved = np.roll(small, (round(0.0015 * ppi), round(0.00075 * ppi)), (0, 1))
    shadow = cv2.resize(cv2.GaussianBlur(moved, (0, 0), 0.00125 * ppi), size, interpolation=cv2.INTER_LINEAR)
    here = out[top:foot, left:right].astype(np.float32)
    share = cover[..., None].astype(np.float32) / 255
    here *= 1 - (0.1 / 255) * shadow[..., None] * (1 - share)
    here += (laid - here) * share
    out[top:foot, left:right] = cv2.convertScaleAbs(here)


def slide(picture: np.ndarray, size: tuple[int, int], seed: int) -> np.ndarray:
    """A slide scanned in 16 bits: the picture with its fine grain, dark as slides are; uint16."""
    resized = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
    linear = (grain(resized, seed, 3.0) / 255).clip(0.004, 0.985) ** 1.15
    return (
        np.rint(linear * 65535 + np.random.default_rng(seed).uniform(-20, 20, (size[1], 1, 1)))
        .clip(0, 65535)
        .astype(np.uint16)
    )


def page(ink: np.ndarray, seed: int) -> np.ndarray:
    """A page of paper from its ink (0 none, 1 full): cream paper with fibres, dark ink; uint8."""
    dice = np.random.default_rng(seed)
    height, width = ink.shape
    fibres = cv2.GaussianBlur(dice.standard_normal((height, width), dtype=np.float32), (0, 0), 1.2)
    paper = np.array((240, 235, 222), np.float32) + 5.0 * fibres[..., None]
    soft = cv2.GaussianBlur(ink.astype(np.float32), (0, 0), 0.7)[..., None]
    out = paper * (1 - soft) + np.array((38, 34, 40), np.float32) * soft
    return np.clip(out + dice.standard_normal((height, width, 1), dtype=np.float32), 0, 255).astype(np.uint8)
