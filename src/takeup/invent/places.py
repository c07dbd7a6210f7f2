"""Invented pictures: the harbour town of Port Ellery and people in it, painted by numbers. Seeded arrays."""

from __future__ import annotations

import cv2
import numpy as np

PALETTES = (
    ((214, 222, 231), (104, 121, 112), (172, 158, 134)),
    ((236, 214, 188), (121, 96, 82), (188, 146, 112)),
    ((198, 216, 230), (86, 108, 92), (139, 154, 112)),
    ((228, 206, 176), (98, 88, 96), (164, 136, 120)),
)  # sky, hill, ground


def town(seed: int, width: int, height: int) -> np.ndarray:
    """A view of the town with texture at every scale; RGB floats 0..255, shape (height, width, 3)."""
    dice = np.random.default_rng(seed)
    sky, hill, ground = (np.array(colour, np.float32) for colour in PALETTES[seed % len(PALETTES)])
    rows = np.linspace(0, 1, height, dtype=np.float32)[:, None, None]
    picture = sky * (1.02 - 0.2 * rows) + 7 * clouds(dice, width, height, 5)[..., None]
    across = np.arange(width, dtype=np.float32) / width
    ridge = np.full(width, 0.52)
    for k in (1, 2, 5, 11):
        ridge += 0.05 / k * np.sin(across * 6.28 * k * dice.uniform(0.6, 1.3) + dice.uniform(0, 6))
    picture = np.where(rows > ridge[None, :, None], hill * (1.3 - 0.45 * rows), picture)
    picture = np.where(rows > 0.76, ground * (1.35 - 0.45 * rows), picture).astype(np.float32)
    picture = np.array(np.broadcast_to(picture, (height, width, 3)), np.float32)
    for _ in range(4):
        _house(picture, dice)
    for _ in range(int(dice.integers(2, 6))):
        _person(picture, dice)
    texture = clouds(dice, width, height, 9)
    depth = np.where(rows[..., 0] > 0.5, 9.0, 3.0).astype(np.float32)
    return np.clip(picture + (texture * depth)[..., None], 6, 246)


def clouds(dice: np.random.Generator, width: int, height: int, octaves: int) -> np.ndarray:
    """Smooth noise of many scales, mean 0, deviation about 1; shape (height, width)."""
    out = np.zeros((height, width), np.float32)
    for octave in range(1, octaves + 1):
        cells = dice.standard_normal((2**octave + 2, 2**octave + 2), dtype=np.float32)
        out += cv2.resize(cells, (width, height), interpolation=cv2.INTER_CUBIC) * 0.75**octave
    return out / float(out.std())


def _house(picture: np.ndarray, dice: np.random.Generator) -> None:
    height, width = picture.shape[:2]
    left, wide = int(width * dice.uniform(0.02, 0.85)), int(width * dice.uniform(0.08, 0.16))
    top, foot = int(height * dice.uniform(0.46, 0.6)), int(height * 0.78)
    wall = tuple(float(value) for value in dice.uniform(170, 235, 3))
    cv2.rectangle(picture, (left, top), (left + wide, foot), wall, -1, cv2.LINE_AA)
    roof = np.array([(left - 6, top), (left + wide // 2, top - wide // 2), (left + wide + 6, top)], np.int32)
    cv2.fillPoly(picture, [roof], (112.0, 66.0, 58.0), cv2.LINE_AA)
    for row in range(2):
        for column in range(2):
            x = left + int(wide * (0.16 + 0.44 * column))
            y = top + int((foot - top) * (0.15 + 0.4 * row))
            cv2.rectangle(picture, (x, y), (x + wide // 5, y + (foot - top) // 5), (58.0, 66.0, 78.0), -1, cv2.LINE_AA)


def _person(picture: np.ndarray, dice: np.random.Generator) -> None:
    height, width = picture.shape[:2]
    tall = int(height * dice.uniform(0.2, 0.34))
    x, foot = int(width * dice.uniform(0.2, 0.8)), int(height * dice.uniform(0.84, 0.97))
    coat = tuple(float(value) for value in dice.integers(30, 190, 3))
    cv2.ellipse(picture, (x, foot - tall * 2 // 5), (tall // 6, tall * 2 // 5), 0, 0, 360, coat, -1, cv2.LINE_AA)
    cv2.circle(picture, (x, foot - tall * 9 // 10), tall // 9, (222.0, 182.0, 152.0), -1, cv2.LINE_AA)


def grain(picture: np.ndarray, seed: int, deviation: float) -> np.ndarray:
    """The picture with independent noise on every value, as a sensor or an emulsion gives it."""
    dice = np.random.default_rng(seed)
    tile = dice.standard_normal((771, 771, 3), dtype=np.float32)
    tile = np.float32(deviation) * (np.float32(0.8) * tile[..., :1] + np.float32(0.6) * tile[..., ::-1])
    out = picture.astype(np.float32)
    for top in range(0, out.shape[0], 771):
        for left in range(0, out.shape[1], 771):
            part = out[top : top + 771, left : left + 771]
            turned = tile[:: int(dice.choice([-1, 1])), :: int(dice.choice([-1, 1]))]
            part += turned[: part.shape[0], : part.shape[1]]
    return out
