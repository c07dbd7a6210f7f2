"""Glances: the few figures of each picture that all film measures share, taken in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import cv2
import numpy as np

from takeup.errors import UnusableSamples

GRID = (18, 24)  # blocks down and across the middle of the picture
MIDDLE = 0.15  # share left out at each side: gate, perforation and frame line are no picture
ENOUGH = 400_000  # pixels that the difference looks at; more rows than that are skipped evenly
COLUMNS = ("step", "mean", "dark", "median", "light", "span", "at_255", "at_235", "at_16", "at_0")
TAILS = (0.01, 0.5, 0.99)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glances:
    """Figures of n frames, each array of shape (n,), in codes of 255 unless named otherwise.

    ``step`` mean absolute difference from the frame before (frame 0: 0); ``mean``, ``dark``, ``median``, ``light``
    mean and 1, 50, 99 per cent quantiles of the middle; ``span`` how far the even areas of the middle lie apart once a
    plane and a bulge of light are taken off; ``at_255``, ``at_235``, ``at_16``, ``at_0`` share of the middle within two
    codes of each rail or beyond it; ``grid`` mean of each block of the middle, shape (n, rows, columns).
    """

    step: np.ndarray
    mean: np.ndarray
    dark: np.ndarray
    median: np.ndarray
    light: np.ndarray
    span: np.ndarray
    at_255: np.ndarray
    at_235: np.ndarray
    at_16: np.ndarray
    at_0: np.ndarray
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


def step_glances(state: GlancesState, pictures: Sequence[np.ndarray], bits: int = 8) -> GlancesState:
    """Look at some more frames.

    Parameters
    ----------
    pictures : sequence of ndarray, shape (rows, columns), uint8 or uint16
        Luma planes in file order, all of one size.
    bits : int
        Bits of a sample.

    Raises
    ------
    UnusableSamples
        If a frame is empty, not a plane, or of another size than the one before.
    """
    last, rows, grids = state.last, [], []
    for picture in pictures:
        if picture.ndim != 2 or picture.size == 0:
            raise UnusableSamples("film.not-a-plane", shape=picture.shape)
        luma = picture if picture.dtype == np.uint8 else (picture >> (bits - 8)).astype(np.uint8)
        seen = luma[:: max(1, -(-luma.size // ENOUGH))]
        if last is not None and last.shape != seen.shape:
            raise UnusableSamples("film.size-changes", shape=picture.shape)
        step = 0.0 if last is None else float(cv2.mean(cv2.absdiff(seen, last))[0])
        last = np.array(seen)
        figures, grid = _figures(luma)
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


def glances(pictures: Sequence[np.ndarray], bits: int = 8) -> Glances:
    """The one-call form for a short film held in memory."""
    return finish_glances(step_glances(begin_glances(), pictures, bits))


def _figures(luma: np.ndarray) -> tuple[tuple[float, ...], np.ndarray]:
    down, across = (int(side * MIDDLE) for side in luma.shape)
    middle = np.ascontiguousarray(luma[down : luma.shape[0] - down, across : luma.shape[1] - across])
    counts = cv2.calcHist([middle], [0], None, [256], [0, 256]).ravel()
    share = np.cumsum(counts) / middle.size
    dark, median, light = (float(np.searchsorted(share, tail)) for tail in TAILS)
    mean = float(counts @ np.arange(256)) / middle.size
    grid = cv2.resize(middle, GRID[::-1], interpolation=cv2.INTER_AREA).astype(np.float32)
    if middle.shape[0] >= 4 * GRID[0]:  # means to a part of a code, not rounded
        grid = cv2.resize(middle.astype(np.float32), GRID[::-1], interpolation=cv2.INTER_AREA)
    rails = (1 - share[252], 1 - share[232], share[18], share[3])
    return (mean, dark, median, light, _span(grid), *(float(rail) for rail in rails)), grid


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
