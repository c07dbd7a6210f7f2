"""Pictures harmed by known laws: negatives, faded dyes, dust, show-through. Seeded; photographs come from packages."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
from make.scan import photographs

MASK = np.array([0.25, 0.65, 0.95])  # densities of a colour negative's clear film
CONTRAST = np.array([0.62, 0.60, 0.58]) * 0.6
FADE = np.array([[0.55, 0.03, 0.02], [0.03, 0.85, 0.04], [0.02, 0.03, 0.70]])
STAIN = np.array([0.02, 0.06, 0.12])


def linear(codes: np.ndarray) -> np.ndarray:
    """Light of sRGB codes (IEC 61966-2-1), 0 to 1."""
    x = np.asarray(codes, float) / 255
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


def codes(light: np.ndarray) -> np.ndarray:
    """sRGB codes of light, not rounded."""
    x = np.clip(light, 0, 1)
    return 255 * np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


@cache
def pictures() -> tuple[np.ndarray, ...]:
    """Parts of photographs, averaged down: 24 different scenes."""
    made = []
    for photo in photographs()[:6]:
        rows, columns = photo.shape[:2]
        for top, left in ((0, 0), (rows // 3, 0), (0, columns // 3), (rows // 3, columns // 3)):
            part = photo[top : top + rows * 2 // 3, left : left + columns * 2 // 3]
            shape = (150, round(150 * part.shape[0] / part.shape[1]))
            made.append(cv2.resize(np.ascontiguousarray(part), shape, interpolation=cv2.INTER_AREA))
    return tuple(made)


def negative(photo: np.ndarray, *, grey: bool = False) -> np.ndarray:
    """What passes through its negative: T = 10 ** -(mask + contrast * log10 of exposure), 3 decades of exposure."""
    if grey:
        photo = np.repeat(photo.mean(axis=2, keepdims=True), 3, axis=2)
    decades = 3 + np.log10(np.maximum(linear(photo), 1e-3))
    if grey:
        return 10 ** -(0.28 + 0.5 * decades)
    return 10 ** -(MASK + CONTRAST * decades)


def framed(light: np.ndarray, clear: np.ndarray, sides: tuple[int, int, int, int]) -> np.ndarray:
    """A frame of film with its clear edge about it: top, foot, left, right [px]."""
    top, foot, left, right = sides
    shape = (light.shape[0] + top + foot, light.shape[1] + left + right, light.shape[2])
    made = np.broadcast_to(10.0**-clear, shape).copy()
    made[top : shape[0] - foot, left : shape[1] - right] = light
    return made


def muted(photo: np.ndarray) -> np.ndarray:
    """The same scene in quieter colours, with a black and a white in it: greys lie between them, as in most rooms."""
    quiet = photo.mean(axis=2, keepdims=True) * 0.65 + 0.35 * photo
    quiet[:6, :12], quiet[:6, 12:24] = 8, 250
    return np.rint(quiet).astype(np.uint8)


def faded(photo: np.ndarray) -> np.ndarray:
    """A scan of its faded print, 8 bits: density becomes FADE x density + STAIN."""
    d = -np.log10(np.maximum(linear(photo), 1 / 4096))
    return np.rint(codes(10 ** -(d @ FADE.T + STAIN))).astype(np.uint8)


def dusty(photo: np.ndarray, seed: int, colour: float = 245.0, specks: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Ellipses of 1 to 4 pixels and three hairs, drawn four times as large; the picture and how much each covers."""
    rng = np.random.default_rng(seed)
    rows, columns = photo.shape[:2]
    large = np.zeros((4 * rows, 4 * columns), np.uint8)
    for _ in range(specks):
        at = (int(rng.integers(40, 4 * columns - 40)), int(rng.integers(40, 4 * rows - 40)))
        half = tuple(int(v) for v in rng.uniform(2, 8, 2))
        cv2.ellipse(large, at, half, float(rng.uniform(0, 180)), 0, 360, 255, -1)
    for _ in range(3):
        steps = np.cumsum(rng.normal(0, 0.15, 40)) + rng.uniform(0, 6.3)
        path = np.cumsum(np.stack([np.cos(steps), np.sin(steps)], axis=1), axis=0)
        start = rng.uniform((50, 50), (columns - 50, rows - 50))
        cv2.polylines(large, [(4 * (path + start)).astype(np.int32)], False, 255, 5)
    cover = cv2.resize(large, (columns, rows), interpolation=cv2.INTER_AREA) / 255 * 0.85
    made = photo * (1 - cover[..., None]) + colour * cover[..., None]
    return np.clip(np.rint(made), 0, 255).astype(np.uint8), cover
