"""The lid or card behind the prints on a bed: its colour, how it shades from place to place, how noisy it is."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples
from takeup.measure.scan.brightness import mean_of_channels

ROUNDS = ((14.0, 2), (8.0, 3), (5.0, 4), (4.0, 5), (3.0, 6), (2.0, 7))  # cut [codes], cosine waves per side: from the
# stiffest surface to one that follows a lid's shading, so that a pale print is out before the surface can bend to it


LOOKED_AT_PX = 500  # long side of what the lid is sought in
LEAST_SCALE = 2  # so that a small scan's noise is averaged too: pixel by pixel a bare lid would not look even
ROUGH = 4.0  # codes, of 5 x 5 pixels: more is texture or an edge, no lid
STEEP, NOISES = 0.7, 6.0  # codes a pixel by which a lid shades at most, or so many times what its noise gives
LEAK = 3  # px: what hangs together with the rim by less has come through a gap in paper's edge
TIGHT = 2.0  # codes from the surface, within which a ring counts as even


@dataclass(frozen=True, slots=True, kw_only=True)
class Lid:
    """The ground of a bed scan.

    ``level`` : float32, shape of the miniature: what the lid would show at every pixel, also under the prints.
    ``noise`` : spread of one lid pixel about that level (robust standard deviation) [codes of 255].
    ``share`` : share of the scan's outermost ring that shows lid [0..1].
    """

    level: np.ndarray
    noise: float
    share: float


def lid(pixels: np.ndarray, *, reach: float = 14.0, least_share: float = 0.2, least_even: float = 0.45) -> Lid | None:
    """Find the lid of a bed scan; None when its edges show no even ground.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, channels), uint8
        The miniature of a scan, one or three channels.
    reach : float
        How far the lid's own shading may lead away from its commonest code [codes of 255].
    least_share : float
        The share of the outermost ring that must be lid.
    least_even : float
        The share of the ring that must lie on the fitted surface to 2 codes: a pale picture does not.

    Notes
    -----
    The commonest code of the ring seeds a least-squares fit of low cosine waves over all pixels near it that hang
    together with it, repeated with what lies off the surface left out. Ours (house); a threshold against a constant lid
    loses white-bordered prints.
    """
    if pixels.ndim != 3 or min(pixels.shape[:2]) < 16:
        raise UnusableSamples("samples.unusable", reason=f"shape {pixels.shape}")
    scale = max(LEAST_SCALE, round(max(pixels.shape[:2]) / LOOKED_AT_PX))
    small = cv2.resize(pixels, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA).astype(np.float32)
    small = small if small.ndim == 3 else small[..., None]
    ring = _ring(small.shape[:2])
    seed = _commonest(small[ring])
    near = _within(small - seed.astype(np.float32), reach) & (_roughness(small) <= ROUGH)
    share = float(near[ring].mean())
    if share < least_share or near.mean() < 0.02:
        return None
    weight = _from(ring, near & _calm(small, near & ring))
    weight[: small.shape[0] // 200 + 1, :] = weight[:, : small.shape[1] // 200 + 1] = False
    surface = np.broadcast_to(seed, small.shape)
    for cut, order in ROUNDS:
        keep = weight & _within(small - surface, cut)
        if np.count_nonzero(keep) < 40 * order * order:
            break
        surface = _fit(small, keep, _waves(small.shape[:2], order))
    if not (weight & _within(small - surface, 5)).any():
        return None
    surface = surface + _local(small, surface, ring.shape)
    tight = (np.abs(small - surface)[ring] <= TIGHT).all(axis=1)
    if tight.mean() < least_even:
        return None
    level = cv2.resize(surface.astype(np.float32), pixels.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    level = level if level.ndim == 3 else level[..., None]
    return Lid(level=level, noise=_noise(pixels, level), share=share)


def _ring(shape: tuple[int, int]) -> np.ndarray:
    ring = np.ones(shape, bool)
    edge = max(2, round(0.02 * min(shape)))
    ring[edge:-edge, edge:-edge] = False
    return ring


def _from(ring: np.ndarray, near: np.ndarray) -> np.ndarray:
    """What hangs together with the ring: paper that is nearly as bright as the lid is parted from it by its edges, and
    a page that covers most of the glass would else bend the surface to itself."""
    wide = cv2.erode(near.astype(np.uint8), np.ones((LEAK, LEAK), np.uint8), borderValue=1)
    numbers = cv2.connectedComponents(wide, connectivity=4)[1]
    kept: np.ndarray = np.isin(numbers, np.unique(numbers[ring & (wide > 0)])) & (wide > 0)
    return near & (cv2.dilate(kept.astype(np.uint8), np.ones((LEAK, LEAK), np.uint8)) > 0)


def _calm(small: np.ndarray, rim: np.ndarray) -> np.ndarray:
    """Where the codes change as slowly as a lid shades: the edge of paper hardly darker than the lid does not."""
    grey = mean_of_channels(small)
    slope = np.hypot(*(cv2.Scharr(grey, -1, *way, scale=1 / 32) for way in ((1, 0), (0, 1))))
    own = float(np.median(slope[rim])) if rim.any() else 0.0
    return np.asarray(slope <= max(STEEP, NOISES / 1.2 * own))


def _commonest(codes: np.ndarray) -> np.ndarray:
    """The commonest colour of some pixels: the mode of their brightness, then the median of each channel there."""
    grey = codes.mean(axis=1)
    counts: np.ndarray = np.histogram(grey, bins=256, range=(0, 256))[0].astype(np.float32)
    counts = np.convolve(counts, np.ones(9), "same")
    peak = int(np.argmax(counts)) + 0.5
    return np.median(codes[np.abs(grey - peak) <= 6], axis=0) if (np.abs(grey - peak) <= 6).any() else codes.mean(0)


def _within(away: np.ndarray, reach: float) -> np.ndarray:
    """Which pixels lie no farther away than ``reach`` in any channel."""
    near = np.abs(away[..., 0]) <= reach
    for channel in range(1, away.shape[2]):
        near &= np.abs(away[..., channel]) <= reach
    return near


def _roughness(small: np.ndarray) -> np.ndarray:
    grey = mean_of_channels(small)
    mean = cv2.blur(grey, (5, 5))
    return np.sqrt(np.maximum(cv2.blur(grey * grey, (5, 5)) - mean * mean, 0))


def _waves(shape: tuple[int, int], order: int) -> tuple[np.ndarray, np.ndarray]:
    y = (np.arange(shape[0]) + 0.5) / shape[0]
    x = (np.arange(shape[1]) + 0.5) / shape[1]
    numbers = np.arange(order)
    return np.cos(np.pi * np.outer(y, numbers)), np.cos(np.pi * np.outer(x, numbers))


def _fit(small: np.ndarray, keep: np.ndarray, waves: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """The surface of low waves through the kept pixels; waves hold a little back where nothing is known."""
    down, across = waves
    index = np.flatnonzero(keep.ravel())
    index = index[:: max(1, index.size // 6000)]
    y, x = np.divmod(index, small.shape[1])
    part = (down[y][:, :, None] * across[x][:, None, :]).reshape(index.size, -1)
    wanted = small.reshape(-1, small.shape[2])[index]
    hold = np.full(part.shape[1], 1e-3 * index.size / part.shape[1])
    hold[0] = 0.0
    weights = np.linalg.solve(part.T @ part + np.diag(hold), part.T @ wanted)
    order = down.shape[1]
    planes = [down @ weights[:, c].reshape(order, order) @ across.T for c in range(small.shape[2])]
    return np.stack(planes, axis=2)


def _local(small: np.ndarray, surface: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """What the waves leave over, averaged in wide windows that keep away from all that stands out clearly."""
    away = (small - surface).astype(np.float32)
    strong: np.ndarray = (~_within(away, 4)).astype(np.uint8)
    strong = cv2.morphologyEx(strong, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    reach = 2 * round(max(shape) * 0.018) + 1
    weight = 1.0 - cv2.dilate(strong, np.ones((reach, reach), np.uint8)).astype(np.float32)
    weight[~_within(away, 2.5)] = 0
    spread = max(shape) * 0.03
    total = cv2.GaussianBlur(weight, (0, 0), spread)
    planes = [cv2.GaussianBlur(away[..., c] * weight, (0, 0), spread) / (total + 0.05) for c in range(small.shape[2])]
    return np.stack(planes, axis=2)


def _noise(pixels: np.ndarray, level: np.ndarray) -> float:
    away = mean_of_channels(pixels[::3, ::3].astype(np.float32)) - mean_of_channels(level[::3, ::3])
    near = away[np.abs(away) <= 6]
    return float(1.4826 * np.median(np.abs(near - np.median(near)))) if near.size else 1.0
