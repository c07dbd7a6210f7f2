"""The colour of the light on a scan, and how even it is: by the lid, or the margin of a sheet that fills the scan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.colour import xyz_from_lab
from takeup.measure.scan.first import FirstLook

ToLab = Callable[[np.ndarray], np.ndarray]  # codes in 0..1, shape (n, channels), to CIELAB
AWAY_PX = 10.0  # miniature pixels kept from prints: contact shadows
LIGHT = 65.0  # L*: a darker ground is card, and no white
BLANK_CODES, BLANK_CHROMA = 1.5, 8.0  # how far a blank sheet lies from a smooth surface (RMS), and from grey
CLIPPED, CLIPPED_SHARE = 254.5, 0.1  # code of a clipped pixel, and share of a ground that may be so: by 0.1 in CIELAB
EVEN = 0.6  # share of a margin that must lie within four codes of its middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """``lab``: of the lid or paper; None with ``why``. ``of``: "lid" or "paper".

    ``uneven``: standard deviation over mean of L* over cells of the lid [%], ``uneven_light`` the same of luminance;
    None where fewer than nine cells of lid are seen. ``cells``: how many. ``least``: CIELAB as the codes have it where
    a channel is clipped: its colour is no less, and how much more nobody can tell.
    """

    lab: tuple[float, float, float] | None
    of: str = ""
    why: str = ""
    uneven: float | None = None
    uneven_light: float | None = None
    cells: int = 0
    least: tuple[float, float, float] | None = None


def light_of(first: FirstLook, to_lab: ToLab, *, taken: np.ndarray | None = None, across: int = 5) -> Light:
    """The colour and evenness of the light.

    Parameters
    ----------
    first : FirstLook
    to_lab : callable
        From codes in 0..1 to CIELAB, by the file's profile.
    taken : ndarray of bool, optional
        Miniature pixels that are neither lid nor paper: tools on the glass.
    across : int
        Cells along the shorter side.
    """
    pixels = first.small.pixels
    if pixels.shape[2] != 3:
        return Light(lab=None, why="scan.cast-grey")
    free = first.ground(AWAY_PX)
    if taken is not None:
        free &= ~taken
    if np.count_nonzero(free) >= 400:
        codes = _settled(pixels, free)
        lab = to_lab(codes[None] / 255)[0]
        if lab[0] >= LIGHT:
            return _with_cells(pixels, free, to_lab, across, lab)
    if first.pictures.ground == "whole" and _is_blank(pixels):
        lab = to_lab(pixels.reshape(-1, 3).mean(axis=0)[None] / 255)[0]
        if lab[0] >= LIGHT and np.hypot(lab[1], lab[2]) <= BLANK_CHROMA:
            free = np.ones(pixels.shape[:2], bool)
            return replace(_with_cells(pixels, free, to_lab, across, lab), of="paper")
    return _of_margin(pixels, to_lab, whole=first.pictures.ground == "whole")


def _is_blank(pixels: np.ndarray) -> bool:
    """Whether nothing is seen but one surface that bends as light does: a lid or sheet lit too unevenly to be told."""
    side = max(1, min(pixels.shape[:2]) // 60)
    small = cv2.resize(pixels, None, fx=1 / side, fy=1 / side, interpolation=cv2.INTER_AREA).mean(axis=2)
    y, x = np.mgrid[-1 : 1 : small.shape[0] * 1j, -1 : 1 : small.shape[1] * 1j]
    parts = [x**i * y**j for i in range(4) for j in range(4 - i)]
    matrix = np.stack([part.ravel() for part in parts], axis=1)
    rest = small.ravel() - matrix @ np.linalg.lstsq(matrix, small.ravel(), rcond=None)[0]
    return float(np.sqrt(np.mean(rest**2))) <= BLANK_CODES


def _settled(pixels: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The mean of the free pixels near their median: dust and what lies on the lid is left out."""
    rows, columns = np.divmod((index := np.flatnonzero(free))[:: max(1, index.size // 20_000)], free.shape[1])
    codes = pixels[rows, columns].astype(np.float32)
    middle = np.median(codes, axis=0)
    near = (np.abs(codes - middle) <= 14).all(axis=1)
    return codes[near].mean(axis=0) if near.any() else middle


def _with_cells(pixels: np.ndarray, free: np.ndarray, to_lab: ToLab, across: int, lab: np.ndarray) -> Light:
    clipped = _is_clipped(pixels, free)
    seen = float(lab[0]), float(lab[1]), float(lab[2])
    told, least = (None, seen) if clipped else (seen, None)
    rows, columns = free.shape
    side = max(1, min(rows, columns) // across)
    means = []
    for top in range(0, rows - side + 1, side):
        for left in range(0, columns - side + 1, side):
            part = free[top : top + side, left : left + side]
            if np.count_nonzero(part) / part.size >= 0.2:
                means.append(_settled(pixels[top : top + side, left : left + side], part))
    why = "scan.cast-clipped" if clipped else ""
    if len(means) < 9:
        return Light(lab=told, of="lid", why=why, cells=len(means), least=least)
    cells = to_lab(np.array(means) / 255)
    luminance = xyz_from_lab(cells)[:, 1]
    spread = 100 * float(cells[:, 0].std() / cells[:, 0].mean())
    bright = 100 * float(luminance.std() / luminance.mean())
    return Light(lab=told, of="lid", why=why, uneven=spread, uneven_light=bright, cells=len(means), least=least)


def _is_clipped(pixels: np.ndarray, free: np.ndarray) -> bool:
    """Whether so much of a ground stands at the last code in any channel that its colour is no longer what it was."""
    full = [np.count_nonzero((pixels[..., channel] >= CLIPPED) & free) for channel in range(pixels.shape[-1])]
    return bool(max(full) / np.count_nonzero(free) > CLIPPED_SHARE)


def _of_margin(pixels: np.ndarray, to_lab: ToLab, *, whole: bool) -> Light:
    """The paper of a sheet that fills the scan, where its margin is one even, light, pale tone."""
    if not whole:
        return Light(lab=None, why="scan.cast-nothing-white")
    ring = np.ones(pixels.shape[:2], bool)
    edge = max(2, round(0.025 * min(ring.shape)))
    ring[edge:-edge, edge:-edge] = False
    codes = pixels[ring].astype(np.float32)
    middle = np.median(codes, axis=0)
    near = (np.abs(codes - middle) <= 4).all(axis=1)
    lab = to_lab(codes[near].mean(axis=0)[None] / 255)[0] if near.any() else np.zeros(3)
    if near.mean() < EVEN or lab[0] < LIGHT or np.hypot(lab[1], lab[2]) > 25:
        return Light(lab=None, why="scan.cast-nothing-white")
    if _is_clipped(codes, near):
        return Light(lab=None, of="paper", why="scan.cast-clipped")
    return Light(lab=(float(lab[0]), float(lab[1]), float(lab[2])), of="paper")
