"""Where a scan's pixels come from: how often enlarging and lossy packing are told, and how often natives are wronged.

Natives are photographs that packages ship, made three times smaller by areas, with a lens, grain of several kinds, a
scanner's noise and sometimes its sharpening. ``TAKEUP_TRIALS`` sets the trials of each kind (200), ``TAKEUP_PHOTOS`` a
folder of further photographs.
"""

from __future__ import annotations

import io
import os
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from takeup.measure.scan.origin import origin
from takeup.measure.scan.windows import Place, Window

SIZE = 900
KERNELS = (
    "cv-nearest", "cv-linear", "cv-cubic", "cv-lanczos", "cv-area", "pil-linear", "pil-cubic", "pil-lanczos",
    "vips-linear", "vips-cubic", "vips-lanczos3", "vips-affine",
)  # fmt: skip
FACTORS = (1.25, 1.5, 2.0, 8 / 3, 4.0)
QUALITIES = (75, 85, 90, 95, 97, 98, 99)


def run() -> list[dict]:
    """Trials of every kind; the share that is told rightly."""
    trials = int(os.environ.get("TAKEUP_TRIALS", "200"))
    results = [_natives(trials)]
    for factor in FACTORS:
        results.append(_enlarged(trials, factor))
    for quality in QUALITIES:
        results.append(_packed(trials, quality))
    return results


def _natives(trials: int) -> dict:
    wrong = []
    for seed in range(trials):
        found = looked(native(np.random.default_rng([1, seed])))
        enlarged = found.enlarged is None or found.enlarged.factor != 1.0
        if enlarged or found.blocks is None or found.blocks.certainty >= 0.8:
            wrong.append((seed, found.enlarged and found.enlarged.factor, found.blocks and found.blocks.certainty))
    return _line("native scans wronged", len(wrong) / trials, 0.005, False, f"{len(wrong)} of {trials} {wrong[:4]}")


def _enlarged(trials: int, factor: float) -> dict:
    told = right = 0
    missed = []
    for seed in range(trials):
        rng = np.random.default_rng([2, seed, round(factor * 1000)])
        small = native(rng, int(SIZE / factor) + 16)
        kernel = KERNELS[seed % len(KERNELS)]
        found = looked(enlarge(small, factor, kernel)).enlarged
        value = found.factor if found is not None and found.factor is not None else 1.0
        told += value > 1.05
        right += abs(value / factor - 1) < 0.01
        if value <= 1.05:
            missed.append(kernel)
    detail = f"factor right {right} of {trials}; missed {missed[:6]}"
    return _line(f"enlarged {factor:.3f} times, told", told / trials, 0.99, True, detail)


def _packed(trials: int, quality: int) -> dict:
    told = placed = 0
    for seed in range(trials):
        rng = np.random.default_rng([3, seed, quality])
        pixels = pack(native(rng, deep=False), quality, coarse=bool(seed % 2))
        x, y = (int(v) for v in rng.integers(0, 8, 2))
        pixels = pixels[y:, x:]
        found = looked(pixels.astype(np.uint16) * 257 if seed % 5 == 0 else pixels).blocks
        told += found is not None and found.certainty >= 0.8
        placed += found is not None and found.cropped == (x, y)
    return _line(f"packed at {quality}, told", told / trials, 0.99, True, f"phase right {placed} of {trials}")


def _line(name: str, share: float, wanted: float, at_least: bool, detail: str) -> dict:
    met = share >= wanted if at_least else share <= wanted
    return {"name": name, "ratio": share, "wanted": f"{wanted} or {'more' if at_least else 'less'}", "met": met,
            "detail": detail}  # fmt: skip


def looked(pixels: np.ndarray):
    """Four places of a scan, as a check looks at them."""
    side = min(448, *pixels.shape[:2])
    ends = [(0, 0), (1, 1), (1, 0), (0, 1)]
    kept = []
    for down, across in ends:
        y, x = (pixels.shape[0] - side) * down, (pixels.shape[1] - side) * across
        kept.append(Window(place=Place(y, x, side, side), pixels=pixels[y : y + side, x : x + side]))
    return origin(kept, int(np.iinfo(pixels.dtype).max))


@cache
def photographs() -> tuple[np.ndarray, ...]:
    """Photographs made three times smaller by areas: nothing of their own packing is left."""
    from skimage import data
    from sklearn.datasets import load_sample_images

    found = [data.retina(), data.astronaut(), data.hubble_deep_field(), data.brick(), data.grass(), data.gravel()]
    found += [data.coffee(), data.chelsea(), data.rocket(), data.immunohistochemistry(), *load_sample_images().images]
    folder = os.environ.get("TAKEUP_PHOTOS")
    for path in sorted(Path(folder).rglob("*.[jJ][pP]*[gG]")) if folder else []:
        read = cv2.imread(str(path))
        if read is not None and min(read.shape[:2]) >= 1000:
            found.append(read[..., ::-1])
    small = []
    for image in found:
        colour = np.repeat(image[..., None], 3, axis=2) if image.ndim == 2 else image[..., :3]
        size = (colour.shape[1] // 3, colour.shape[0] // 3)
        small.append(cv2.resize(np.ascontiguousarray(colour), size, interpolation=cv2.INTER_AREA).astype(np.float32))
    return tuple(small)


def native(rng: np.random.Generator, size: int = SIZE, *, deep: bool = True) -> np.ndarray:
    """A scan as a scanner gives it: uint8, or uint16 for one in five."""
    art = photographs()[rng.integers(len(photographs()))]
    while art.shape[0] < size:
        art = np.concatenate([art, art[::-1]])
    while art.shape[1] < size:
        art = np.concatenate([art, art[:, ::-1]], axis=1)
    y, x = rng.integers(0, art.shape[0] - size + 1), rng.integers(0, art.shape[1] - size + 1)
    scan = art[y : y + size, x : x + size] * rng.uniform(0.5, 0.9) + rng.uniform(8, 25)
    grain = rng.choice(["none", "white", "film", "film", "poisson"])
    if grain in ("white", "film"):
        field = rng.normal(0, 1, (size, size)).astype(np.float32)
        field = cv2.GaussianBlur(field, (0, 0), rng.uniform(0.6, 1.6)) if grain == "film" else field
        scan = scan + (field / field.std() * rng.uniform(1, 6))[..., None]
    if lens := float(rng.choice([0, 0, 0.5, 0.7, 1.0, 1.2])):
        scan = cv2.GaussianBlur(scan, (0, 0), lens)
    if grain == "poisson":
        light = rng.uniform(2, 12)
        scan = rng.poisson(np.clip(scan, 0, None) * light) / light
    scan = scan + rng.normal(0, rng.uniform(0.8, 2), (size, size, 1 if rng.random() < 0.3 else 3))
    if rng.random() < 0.2:
        scan = scan + rng.uniform(0.3, 1) * (scan - cv2.GaussianBlur(scan, (0, 0), 1.0))
    if rng.random() < 0.2:
        scan = scan.mean(axis=2, keepdims=True)
    if deep and rng.random() < 0.2:
        return np.clip(np.rint(scan * 257), 0, 65535).astype(np.uint16)
    return np.clip(np.rint(scan), 0, 255).astype(np.uint8)


def enlarge(pixels: np.ndarray, factor: float, kernel: str) -> np.ndarray:
    """Enlarged by one of three libraries, whose kernels and phases differ."""
    import pyvips
    from PIL import Image

    size = round(pixels.shape[1] * factor), round(pixels.shape[0] * factor)
    library, name = kernel.split("-")
    if library == "cv":
        how = {"nearest": 0, "linear": 1, "cubic": 2, "area": 3, "lanczos": 4}[name]
        return cv2.resize(pixels, size, interpolation=how).reshape(size[1], size[0], -1)
    if library == "pil":
        pil = {"linear": Image.BILINEAR, "cubic": Image.BICUBIC, "lanczos": Image.LANCZOS}[name]
        planes = [Image.fromarray(pixels[..., c].astype(np.float32)) for c in range(pixels.shape[2])]
        made = np.stack([np.asarray(plane.resize(size, pil)) for plane in planes], axis=2)
        return np.clip(np.rint(made), 0, np.iinfo(pixels.dtype).max).astype(pixels.dtype)
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    if name == "affine":
        bigger = image.affine([factor, 0, 0, factor], interpolate=pyvips.Interpolate.new("bicubic"))
    else:
        bigger = image.resize(factor, kernel=name)
    return bigger.numpy().reshape(bigger.height, bigger.width, -1)


def pack(pixels: np.ndarray, quality: int, *, coarse: bool) -> np.ndarray:
    """To JPEG and back; ``coarse``: colour at half the resolution."""
    from PIL import Image

    file = io.BytesIO()
    more = {"subsampling": 2 if coarse else 0} if pixels.shape[2] == 3 else {}
    Image.fromarray(pixels.squeeze()).save(file, "JPEG", quality=quality, **more)
    return np.asarray(Image.open(file)).reshape(pixels.shape)
