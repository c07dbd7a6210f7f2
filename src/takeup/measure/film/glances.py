"""Glances: the few figures of each picture that all film measures share, taken in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np

from takeup.errors import UnusableSamples

GRID = (12, 16)  # blocks down and across the middle of the picture
MIDDLE = 0.15  # share left out at each side: gate, perforation and frame line are no picture
ENOUGH = 400_000  # pixels that the difference looks at; more rows than that are skipped evenly
COLUMNS = ("step", "mean", "dark", "light", "span", "beyond", "white", "video_white", "black", "video_black")
TAILS = (0.01, 0.99)
SAMPLED = 120_000  # colour samples that the white share looks at


@dataclass(frozen=True, slots=True, kw_only=True)
class Glances:
    """Figures of n frames, each array of shape (n,), in codes of 255 unless named otherwise.

    ``step`` mean absolute difference from the frame before (frame 0: 0); ``mean``, ``dark``, ``light`` mean and 1, 99
    per cent quantiles of the middle; ``span`` how far the even areas of the middle lie apart once a plane and a bulge
    of light are taken off; ``beyond`` share of luma over 241 or under 11, where video range ends; ``white`` and
    ``video_white`` share whose green (or luma) lies at the upper rail when codes run to 255, or to 235; ``black`` and
    ``video_black`` share whose luma lies at the lower rail, 0 or 16; ``grid`` mean of each block of the middle,
    shape (n, rows, columns).

    White is asked of green, which carries most of the light: a clipped warm scene has no white luma, while a film
    faded to red has much red at the rail and is not too bright.
    """

    step: np.ndarray
    mean: np.ndarray
    dark: np.ndarray
    light: np.ndarray
    span: np.ndarray
    beyond: np.ndarray
    white: np.ndarray
    video_white: np.ndarray
    black: np.ndarray
    video_black: np.ndarray
    grid: np.ndarray

    def __len__(self) -> int:
        return len(self.step)

    def only(self, kept: np.ndarray) -> Glances:
        """The glances of some frames (index or mask)."""
        return Glances(**{name: getattr(self, name)[kept] for name in (*COLUMNS, "grid")})


@dataclass(frozen=True, slots=True, kw_only=True)
class GlancesState:
    """So far: the last frame's rows, and the figures of all frames."""

    last: np.ndarray | None = None
    figures: tuple[np.ndarray, ...] = ()
    grids: tuple[np.ndarray, ...] = field(default=())


def begin_glances() -> GlancesState:
    return GlancesState()


def step_glances(state: GlancesState, pictures: Sequence[Sequence[np.ndarray]], bits: int = 8) -> GlancesState:
    """Look at some more frames.

    Parameters
    ----------
    pictures : sequence of planes: luma, and where there are any blue and red difference; uint8 or uint16
        In file order, all of one size; each plane of shape (rows, columns).
    bits : int
        Bits of a sample.

    Raises
    ------
    UnusableSamples
        If a frame is empty, not a plane, or of another size than the one before.
    """
    last, rows, grids = state.last, [], []
    for planes in pictures:
        if planes[0].ndim != 2 or planes[0].size == 0:
            raise UnusableSamples("film.not-a-plane", shape=planes[0].shape)
        luma = _byte(planes[0], bits)
        seen = luma[:: max(1, -(-luma.size // ENOUGH))]
        if last is not None and last.shape != seen.shape:
            raise UnusableSamples("film.not-one-size", shape=luma.shape)
        step = 0.0 if last is None else float(cv2.mean(cv2.absdiff(seen, last))[0])
        last = np.array(seen)
        figures, grid = _figures(luma, _green_white(luma, planes, bits))
        rows.append((step, *figures))
        grids.append(grid)
    if not rows:
        return state
    return GlancesState(
        last=last,
        figures=(*state.figures, np.array(rows, dtype=np.float32)),
        grids=(*state.grids, np.array(grids, dtype=np.float32)),
    )


def finish_glances(state: GlancesState) -> Glances:
    """All figures together."""
    figures = np.concatenate(state.figures) if state.figures else np.empty((0, len(COLUMNS)), np.float32)
    grid = np.concatenate(state.grids) if state.grids else np.empty((0, *GRID), np.float32)
    columns = {name: figures[:, at].astype(np.float64) for at, name in enumerate(COLUMNS)}
    return Glances(**columns, grid=grid)


def glances(pictures: Sequence[Sequence[np.ndarray]], bits: int = 8) -> Glances:
    """The one-call form for a short film held in memory."""
    return finish_glances(step_glances(begin_glances(), pictures, bits))


def _byte(plane: np.ndarray, bits: int) -> np.ndarray:
    return plane if plane.dtype == np.uint8 else (plane >> (bits - 8)).astype(np.uint8)


def _middle(plane: np.ndarray) -> np.ndarray:
    down, across = (int(side * MIDDLE) for side in plane.shape)
    return plane[down : plane.shape[0] - down, across : plane.shape[1] - across]


def _green_white(luma: np.ndarray, planes: Sequence[np.ndarray], bits: int) -> tuple[float, float] | None:
    """Share of the middle whose green is at the upper rail: codes to 255, codes to 235. None without colour."""
    if len(planes) < 3:
        return None
    down, across = (-(-full // part) for full, part in zip(luma.shape, planes[1].shape))
    skip = max(1, int(np.sqrt(planes[1].size / SAMPLED)))
    blue, red = (_middle(_byte(plane, bits)[::skip, ::skip]).astype(np.float32) - 128 for plane in planes[1:3])
    light = _middle(luma[:: down * skip, :: across * skip]).astype(np.float32)
    rows, columns = min(light.shape[0], blue.shape[0]), min(light.shape[1], blue.shape[1])
    light, blue, red = (part[:rows, :columns] for part in (light, blue, red))
    # ITU-R BT.601-7, 2.5: G' = Y' - 0.344 Cb' - 0.714 Cr'; video range widens luma by 255/219, colour by 255/224.
    full = light - 0.344 * blue - 0.714 * red
    video = (light - 16) * (255 / 219) - (255 / 224) * (0.344 * blue + 0.714 * red)
    return float((full >= 252).mean()), float((video >= 251).mean())


def _figures(luma: np.ndarray, green: tuple[float, float] | None) -> tuple[tuple[float, ...], np.ndarray]:
    middle = np.ascontiguousarray(_middle(luma))
    counts = cv2.calcHist([middle], [0], None, [256], [0, 256]).ravel()
    share = np.cumsum(counts) / middle.size
    dark, light = (float(np.searchsorted(share, tail)) for tail in TAILS)
    mean = float(counts @ np.arange(256)) / middle.size
    grid = np.asarray(cv2.resize(middle.astype(np.float32), GRID[::-1], interpolation=cv2.INTER_AREA))
    beyond = float(1 - share[241] + share[10])
    white = (float(1 - share[251]), float(1 - share[231])) if green is None else green
    figures = (mean, dark, light, _span(grid), beyond, *white, float(share[3]), float(share[18]))
    return figures, grid


def _span(grid: np.ndarray) -> float:
    """Distance of the 5 and 95 per cent quantiles of the blocks, a plane and a bulge taken off."""
    blocks = grid.ravel().astype(np.float64)
    shape, solve = _lighting()
    low, high = np.percentile(blocks - shape @ (solve @ blocks), (5, 95))
    return float(high - low)


@cache
def _lighting() -> tuple[np.ndarray, np.ndarray]:
    y, x = np.mgrid[-1 : 1 : GRID[0] * 1j, -1 : 1 : GRID[1] * 1j]
    shape = np.stack([np.ones(x.size), x.ravel(), y.ravel(), (x**2 + y**2).ravel()], axis=1)
    return shape, np.linalg.pinv(shape)
