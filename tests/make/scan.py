"""Invented scans with known truth: beds of prints, pages of text, slides. Seeded; photographs come from packages.

Rendered unlike the detector works: prints are drawn by signed distance to their outline (no masks, no thresholds), lid
and shadows are continuous functions, noise is added last. Truth is the outline itself, in the contract's coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np
from make.photographs import photograph as shipped

SIZES_IN = ((3.5, 5.0), (4.0, 6.0), (3.5, 3.5), (5.0, 7.0), (2.5, 3.5), (3.0, 3.0))


@dataclass
class Bed:
    """A scan and what truly lies on it."""

    pixels: np.ndarray
    ppi: float
    corners: list[np.ndarray] = field(default_factory=list)  # each (4, 2), clockwise from the top left as it lies
    tilts: list[float] = field(default_factory=list)


@cache
def photographs() -> tuple[np.ndarray, ...]:
    """Real colour photographs that the test packages ship (scikit-image, scikit-learn)."""
    found = [shipped(name) for name in ("astronaut", "coffee", "chelsea", "rocket", "china.jpg", "flower.jpg")]
    found.append(cv2.cvtColor(shipped("camera"), cv2.COLOR_GRAY2RGB))
    return tuple(found)


def photograph(rng: np.random.Generator, width: int, height: int) -> np.ndarray:
    """A random crop of a real photograph, float32, stretched to a size."""
    image = photographs()[rng.integers(len(photographs()))]
    rows, columns = image.shape[:2]
    scale = min(columns / width, rows / height)
    w, h = int(width * scale), int(height * scale)
    x, y = rng.integers(0, columns - w + 1), rng.integers(0, rows - h + 1)
    part = image[y : y + h, x : x + w]
    if rng.random() < 0.5:
        part = part[:, ::-1]
    return cv2.resize(np.ascontiguousarray(part), (width, height), interpolation=cv2.INTER_CUBIC).astype(np.float32)


def lid(rng: np.random.Generator, rows: int, columns: int, level: float, swing: float) -> np.ndarray:
    """A lid of slowly changing brightness."""
    y, x = 2 * np.pi * np.linspace(0, 1, rows)[:, None], 2 * np.pi * np.linspace(0, 1, columns)
    field_ = np.zeros((rows, columns), np.float32)
    for _ in range(4):
        fy, fx, phase = rng.uniform(-1.3, 1.3), rng.uniform(-1.3, 1.3), rng.uniform(0, 6.28)
        down, across = np.exp(1j * (fy * y + phase)), np.exp(1j * fx * x)  # sin(a + b) of the two
        field_ += down.imag.astype(np.float32) * across.real.astype(np.float32)
        field_ += down.real.astype(np.float32) * across.imag.astype(np.float32)
    field_ *= swing / max(float(np.abs(field_).max()), 1e-6)
    return np.repeat((level + field_)[..., None], 3, axis=2) + rng.uniform(-1, 1, 3).astype(np.float32)


def outline(centre: tuple[float, float], size: tuple[float, float], tilt: float) -> np.ndarray:
    """Corners clockwise from the print's own top left; tilt positive clockwise as seen (y down)."""
    a = np.deg2rad(tilt)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    w, h = size
    own = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    return own @ turn.T + np.asarray(centre)


def put(
    pixels: np.ndarray, art: np.ndarray, corners: np.ndarray, shape: str = "plain", seed: int = 0, shadow=None
) -> None:
    """Lay a print (float32 art) on the bed, antialiased by signed distance; ``shadow``: (dx, dy, blur, depth)."""
    rows, columns = pixels.shape[:2]
    pad = 12
    x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int) - pad, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(0)).astype(int) + pad, (columns, rows))
    yy, xx = np.mgrid[y0:y1, x0:x1].astype(np.float32) + 0.5
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    w, h = float(np.hypot(*across)), float(np.hypot(*down))
    u = ((xx - corners[0][0]) * across[0] + (yy - corners[0][1]) * across[1]) / w
    v = ((xx - corners[0][0]) * down[0] + (yy - corners[0][1]) * down[1]) / h
    inside = _distance(u, v, w, h, shape, seed)
    alpha = np.clip(inside + 0.5, 0, 1)[..., None]
    part = pixels[y0:y1, x0:x1]
    if shadow is not None:
        dx, dy, blur, depth = shadow
        moved = cv2.warpAffine(alpha[..., 0], np.float32([[1, 0, dx], [0, 1, dy]]), alpha.shape[1::-1])
        part -= depth * cv2.GaussianBlur(moved, (0, 0), blur)[..., None]
    map_x = (u * art.shape[1] / w - 0.5).astype(np.float32)
    map_y = (v * art.shape[0] / h - 0.5).astype(np.float32)
    shown = cv2.remap(art, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    pixels[y0:y1, x0:x1] = part * (1 - alpha) + shown * alpha


def _distance(u, v, w, h, shape, seed):
    if shape == "oval":
        r = np.hypot((u - w / 2) / (w / 2), (v - h / 2) / (h / 2))
        return (1 - r) * min(w, h) / 2
    if shape == "deckle":  # a wavy knife: 0.5 mm at 150 ppi
        u = u + 1.2 * np.sin(v * 0.55 + seed)
        v = v + 1.2 * np.sin(u * 0.55 + 2 * seed)
    inside = np.minimum(np.minimum(u, w - u), np.minimum(v, h - v))
    if shape == "rounded":
        r = 0.06 * min(w, h)
        qx, qy = np.abs(u - w / 2) - (w / 2 - r), np.abs(v - h / 2) - (h / 2 - r)
        inside = r - np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) - np.minimum(np.maximum(qx, qy), 0)
    return inside


def art_for(rng, size_px, ppi, kind):
    """A print's face: a photograph, with a white border or faded where asked."""
    w, h = int(round(size_px[0])), int(round(size_px[1]))
    if kind == "back":
        art = np.full((h, w, 3), rng.uniform(232, 240), np.float32)
        return art + rng.uniform(-2, 2, 3).astype(np.float32)
    art = photograph(rng, w, h)
    if kind == "faded":
        ramp = np.linspace(-8, 8, w, dtype=np.float32)[None, :, None]
        art = np.clip(0.35 * art + 165 + ramp, 0, 255)
    if kind == "bordered":
        b = int(rng.uniform(0.12, 0.30) * ppi)
        white = np.full_like(art, rng.uniform(236, 244))
        white[b : h - b, b : w - b] = cv2.resize(art, (w - 2 * b, h - 2 * b), interpolation=cv2.INTER_AREA)
        art = white
    return art


def bed(
    seed, *, variant="clean", ppi=150, size_in=(12, 17), steep=False, shadow=True, many=None, shape="plain", noise=1.5
):
    """A bed of prints. ``variant``: clean, bordered, faded, black, mixed, back."""
    rng = np.random.default_rng(seed)
    rows, columns = int(size_in[1] * ppi), int(size_in[0] * ppi)
    pixels = lid(rng, rows, columns, 20 if variant == "black" else 247, 2 if variant == "black" else 5)
    made = Bed(pixels, ppi)
    wanted = many or int(rng.integers(3, 8))
    boxes: list[np.ndarray] = []
    for _ in range(400):
        if len(boxes) == wanted:
            break
        size = np.array(SIZES_IN[rng.integers(len(SIZES_IN))]) * ppi
        if rng.random() < 0.5:
            size = size[::-1]
        tilt = float(rng.uniform(-45, 45) if steep else rng.uniform(-6, 6))
        reach = np.abs(outline((0, 0), tuple(size), tilt)).max(0) + 0.12 * ppi
        if (2 * reach > (columns, rows)).any():
            continue
        centre = rng.uniform(reach, np.array([columns, rows]) - reach)
        corners = outline(tuple(centre), tuple(size), tilt)
        grown = outline(tuple(centre), tuple(size + 0.12 * ppi), tilt)
        if any(_meet(grown, other) for other in boxes):
            continue
        kind = {"mixed": rng.choice(["clean", "bordered", "faded"]), "back": rng.choice(["clean", "back"])}.get(
            variant, variant
        )
        side = (1, 2, 1.6, float(rng.uniform(10, 35))) if shadow and variant != "black" else None
        put(pixels, art_for(rng, size, ppi, kind), corners, shape, seed, side)
        boxes.append(grown)
        made.corners.append(corners)
        made.tilts.append(tilt)
    return finish_bed(made, rng, noise)


def touching(seed, *, ppi=150, gap=None):
    """Two or three prints side by side, 0 to 1 px apart, at one angle; others apart."""
    rng = np.random.default_rng(seed)
    pixels = lid(rng, 17 * ppi, 12 * ppi, 247, 5)
    made = Bed(pixels, ppi)
    tilt = float(rng.uniform(-6, 6))
    sizes = [np.array(SIZES_IN[rng.integers(4)]) * ppi for _ in range(2)]
    a = np.deg2rad(tilt)
    axis = np.array([np.cos(a), np.sin(a)])
    start = np.array([6.0, 7.0]) * ppi + rng.uniform(-1, 1, 2) * 0.5 * ppi
    apart = rng.uniform(0, 1) if gap is None else gap
    middle = start + axis * ((sizes[0][0] + sizes[1][0]) / 2 + apart) - axis * sizes[0][0] / 2
    slide = rng.uniform(-0.5, 0.5) * ppi if rng.random() < 0.7 else 0.0
    centres = [start - axis * sizes[0][0] / 2, middle + np.array([-axis[1], axis[0]]) * slide]
    for size, centre in zip(sizes, centres):
        corners = outline(tuple(centre), tuple(size), tilt)
        put(pixels, art_for(rng, size, ppi, "clean"), corners, shadow=(1, 2, 1.6, 20.0))
        made.corners.append(corners)
        made.tilts.append(tilt)
    return finish_bed(made, rng, 1.5)


def overlapping(seed, *, ppi=150):
    """Two prints, one partly over the other, at different angles."""
    rng = np.random.default_rng(seed)
    made = Bed(lid(rng, 17 * ppi, 12 * ppi, 247, 5), ppi)
    for n in range(2):
        centre = np.array([5.0 + 2.2 * n, 7.0 + 2.0 * n]) * ppi + rng.uniform(-0.2, 0.2, 2) * ppi
        tilt = float(rng.uniform(4, 14)) * (1 if n else -1)
        corners = outline(tuple(centre), (4 * ppi, 6 * ppi), tilt)
        put(made.pixels, art_for(rng, np.array([4.0, 6.0]) * ppi, ppi, "clean"), corners, shadow=(1, 2, 1.6, 20.0))
        made.corners.append(corners)
        made.tilts.append(tilt)
    return finish_bed(made, rng, 1.5)


def finish_bed(made: Bed, rng, noise: float, dust: int = 60) -> Bed:
    """Dust, the lens, the sensor: the last things that happen to a scan."""
    pixels = made.pixels
    rows, columns = pixels.shape[:2]
    for _ in range(dust):
        at = (int(rng.integers(columns)), int(rng.integers(rows)))
        axes = (int(rng.integers(1, 3)), int(rng.integers(1, 3)))
        cv2.ellipse(pixels, at, axes, float(rng.uniform(0, 180)), 0, 360, [float(rng.uniform(60, 210))] * 3, -1)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.6)
    pixels += rng.normal(0, noise, pixels.shape).astype(np.float32)
    made.pixels = np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
    return made


def _meet(a: np.ndarray, b: np.ndarray) -> bool:
    area, _ = cv2.intersectConvexConvex(a.astype(np.float32), b.astype(np.float32))
    return area > 0


def overlap(a: np.ndarray, b: np.ndarray) -> float:
    """Intersection over union of two convex outlines."""
    one, two = np.asarray(a, np.float32), np.asarray(b, np.float32)
    shared, _ = cv2.intersectConvexConvex(one, two)
    return shared / (cv2.contourArea(one) + cv2.contourArea(two) - shared)


PAGE_LINES = (
    "Port Ellery, the third of May", "Dear Aunt Rosalind, the harbour froze again this week and",
    "the children walked to school over the ice. Your parcel came",
    "on Tuesday; the seed potatoes are in the cellar and the",
    "almanac is on the shelf beside the clock. Father says the",
    "barn roof will last another winter if the wind is kind.",
    "We think of you often and hope the new kitchen is warm.", "Please tell Edwin that his pony is well and very fat.",
)  # fmt: skip


def page(seed=0, *, ppi=300, size_in=(8.27, 11.69), tilt=0.0, paper=236.0, noise=2.0, lines=PAGE_LINES) -> np.ndarray:
    """A typed page that fills the whole scan, grey uint8; the text turned by ``tilt`` degrees clockwise."""
    from PIL import Image, ImageDraw, ImageFont

    rng = np.random.default_rng(seed)
    rows, columns = int(size_in[1] * ppi), int(size_in[0] * ppi)
    sheet = Image.new("L", (columns, rows), int(paper))
    draw = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(size=ppi * 0.16)
    for n, text in enumerate([*lines, *lines, *lines]):
        draw.text((ppi * 0.9, ppi * (1.0 + 0.36 * n)), text, fill=45, font=font)
    pixels = np.asarray(sheet, np.float32)
    if tilt:
        turn = cv2.getRotationMatrix2D((columns / 2, rows / 2), -tilt, 1.0)
        pixels = cv2.warpAffine(pixels, turn, (columns, rows), flags=cv2.INTER_CUBIC, borderValue=paper)
    pixels = pixels + rng.normal(0, noise, pixels.shape)
    return np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
