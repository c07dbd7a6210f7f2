"""Invented rulers, charts and things that only look like them, laid on a glass. Truth by construction.

Everything is a function of a thing's own millimetres (which tick, which patch a point lies on), asked at 3 x 3 points
of every pixel; blur and noise come last. No outline is traced, no spectrum is used.
"""

from __future__ import annotations

import cv2
import numpy as np

MM = 25.4
FINE = 3


def glass(size_px, level=246.0, tint=(0.0, 0.0, 0.0)) -> np.ndarray:
    """An empty lid, float32, (rows, columns, 3); it darkens by two codes from left to right."""
    width, height = size_px
    ramp = np.linspace(0, -2, width, dtype=np.float32)[None, :, None]
    return np.full((height, width, 3), level, np.float32) + ramp + np.float32(tint)


def lay(pixels, ppi, centre_mm, size_mm, tilt, paint, ppi_down=None) -> None:
    """Lay a thing on the glass. ``paint(u, v) -> (colour, there)``: own millimetres from its top left corner in,
    codes (..., 3) and where it is out. ``tilt``: degrees, clockwise as seen."""
    px, py = ppi / MM, (ppi_down or ppi) / MM
    a = np.deg2rad(tilt)
    half = np.array(size_mm) / 2
    turn = np.abs([[np.cos(a), np.sin(a)], [np.sin(a), np.cos(a)]])
    low, high = (np.array(centre_mm) + sign * (turn @ half) for sign in (-1, 1))
    x0, x1 = max(0, int(low[0] * px) - 3), min(pixels.shape[1], int(high[0] * px) + 4)
    y0, y1 = max(0, int(low[1] * py) - 3), min(pixels.shape[0], int(high[1] * py) + 4)
    for top in range(y0, y1, 200):
        rows = min(200, y1 - top)
        x = ((np.arange((x1 - x0) * FINE) + 0.5) / FINE + x0) / px - centre_mm[0]
        y = ((np.arange(rows * FINE) + 0.5) / FINE + top) / py - centre_mm[1]
        u = x[None, :] * np.cos(a) + y[:, None] * np.sin(a) + half[0]
        v = -x[None, :] * np.sin(a) + y[:, None] * np.cos(a) + half[1]
        colour, there = paint(u, v)
        there = there & (u >= 0) & (v >= 0) & (u <= size_mm[0]) & (v <= size_mm[1])
        alpha = cv2.resize(there.astype(np.float32), (x1 - x0, rows), interpolation=cv2.INTER_AREA)[..., None]
        part = cv2.resize((colour * there[..., None]).astype(np.float32), (x1 - x0, rows), interpolation=cv2.INTER_AREA)
        pixels[top : top + rows, x0:x1] = pixels[top : top + rows, x0:x1] * (1 - alpha) + part.reshape(rows, -1, 3)


def ruler(
    unit="mm", length=150, lengths=(3.0, 4.5, 6.5), thick=0.2, body=(232.0, 228.0, 215.0), ink=(35.0,) * 3, first=5.0,
    digits=True,
):  # fmt: skip
    """A ruler's paint and size [mm]. ``unit``: mm, inch (sixteenths), half (0.5 mm), plain (mm, all ticks alike)."""
    step = {"mm": 1.0, "plain": 1.0, "half": 0.5, "inch": MM / 16, "eighth": MM / 8}[unit]
    count = int(length / step)
    size = (length + 2 * first, 26.0)

    def paint(u, v):
        k = np.rint((u - first) / step).astype(int)
        at = np.abs(u - first - k * step) <= thick / 2
        reach = np.where((k >= 0) & (k <= count), _reach(k, unit, lengths), 0.0)
        dark = at & (v <= reach)
        if digits:
            cycle = {"mm": 10, "plain": 10, "half": 20, "inch": 16, "eighth": 8}[unit]
            near = np.rint((u - first) / step / cycle).astype(int)
            across, down = u - first - near * step * cycle, v - max(lengths) - 1.2
            box = (np.abs(across) < 1.2) & (down > 0) & (down < 3.2) & (near >= 0) & (near * cycle <= count)
            dark |= box & ((np.abs(down - 1.6 * (near % 3)) < 0.25) | (np.abs(across - 0.9 + (near % 2) * 1.5) < 0.22))
        return np.where(dark[..., None], np.float32(ink), np.float32(body)), np.ones(u.shape, bool)

    return paint, size


def _reach(k, unit, lengths):
    short, middle, long = lengths
    if unit == "plain":
        return np.full(k.shape, short)
    if unit in ("mm", "half"):
        cycle = 10 if unit == "mm" else 20
        reach = np.where(k % cycle == 0, long, np.where(k % (cycle // 2) == 0, middle, short))
        return np.where((k % 2 == 1), short * 0.6, reach) if unit == "half" else reach
    whole = 16 if unit == "inch" else 8
    reach = np.full(k.shape, short * 0.7)
    for part, share in ((whole // 8, 0.85), (whole // 4, 1.1), (whole // 2, 1.4)):
        if part >= 1:
            reach = np.where(k % part == 0, short * share, reach)
    return np.where(k % whole == 0, long, reach)


def finished(pixels, seed=0, blur=0.5, noise=2.0) -> np.ndarray:
    """The lens, the sensor: uint8."""
    pixels = cv2.GaussianBlur(pixels, (0, 0), blur) if blur else pixels
    pixels = pixels + np.random.default_rng(seed).normal(0, noise, pixels.shape)
    return np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
