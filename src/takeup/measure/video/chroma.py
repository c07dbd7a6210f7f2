"""Colour delay: how far right of luma the colour lies [luma pixels], and how far below it [lines].

Colour edges are compared with the edges of luma brought to the colour's own small bandwidth: the lag at which the sizes
of both slopes, summed over all lines, are most alike. Colour samples are co-sited with the even luma samples
(ITU-R BT.601-7, 2.5.2): sample i of 4:2:2 and 4:2:0 lies at luma pixel 2 i, of 4:1:1 at 4 i.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, SIDES, TOP

FARTHEST_PX = 16
EVERY = 4  # lines apart: all of one field, and with 4:2:0 those whose colour line lies nearest
BAND_PX = 5.0  # standard deviation of the colour band of a VHS player, as a Gaussian


@dataclass(frozen=True, slots=True)
class Lags:
    """State: likeness of luma and colour edges at each lag [luma pixels], summed over pictures."""

    across: np.ndarray
    size: float = 0.0
    pictures: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourDelay:
    """``delay_px``: positive when colour lies right of luma; None without enough colour edges."""

    delay_px: float | None
    clearness: float  # peak over the mean of all lags
    method: str = "colour_delay/1"


def begin() -> Lags:
    return Lags(np.zeros(2 * FARTHEST_PX + 1))


def step(state: Lags, planes: tuple[np.ndarray, ...], bits: int) -> Lags:
    """Add one picture; grey pictures add nothing."""
    if len(planes) < 3:
        return state
    unit = 2.0 ** (bits - 8)
    high, wide = planes[0].shape
    across, down = wide // planes[1].shape[1], high // planes[1].shape[0]
    rows = np.arange(TOP, max(TOP + 1, high - HEAD_SWITCH), EVERY)
    luma = planes[0][rows].astype(np.float32) / unit
    edges = _slope(cv2.GaussianBlur(luma, (0, 0), sigmaX=BAND_PX, sigmaY=0.01))[:, SIDES : wide - SIDES]
    colour = np.zeros_like(edges)
    for plane in planes[1:3]:
        lines = plane[rows if down == 1 else np.minimum(rows // 2, len(plane) - 1)].astype(np.float32) / unit
        lines = cv2.GaussianBlur(_at_luma(lines, wide, across), (0, 0), sigmaX=1.0, sigmaY=0.01)
        colour += np.square(_slope(lines)[:, SIDES : wide - SIDES])
    colour = np.sqrt(colour)
    if float(colour.mean()) < 0.02:
        return state
    edges -= edges.mean(axis=1, keepdims=True)
    colour -= colour.mean(axis=1, keepdims=True)
    width = edges.shape[1]
    middle = edges[:, FARTHEST_PX : width - FARTHEST_PX]
    found = [
        float((middle * colour[:, FARTHEST_PX + lag : width - FARTHEST_PX + lag]).sum())
        for lag in range(-FARTHEST_PX, FARTHEST_PX + 1)
    ]
    size = float(np.sqrt(np.square(edges).sum() * np.square(colour).sum()))
    return Lags(state.across + np.array(found), state.size + size, state.pictures + 1)


def finish(state: Lags, *, least_likeness: float) -> ColourDelay:
    """The lag of the peak, with a parabola through it.

    Parameters
    ----------
    least_likeness : float
        Correlation of the two edge pictures at the peak, under which nothing is said.
    """
    if not state.pictures or state.size <= 0:
        return ColourDelay(delay_px=None, clearness=0.0)
    like = state.across / state.size
    at = int(np.argmax(like))
    if not 0 < at < len(like) - 1 or like[at] < least_likeness:
        return ColourDelay(delay_px=None, clearness=float(like[at]))
    before, here, after = like[at - 1 : at + 2]
    bend = before - 2 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0 else 0.0
    return ColourDelay(delay_px=float(at - FARTHEST_PX + shift), clearness=float(here))


def _slope(plane: np.ndarray) -> np.ndarray:
    slope = np.zeros_like(plane)
    slope[:, 1:-1] = np.abs(plane[:, 2:] - plane[:, :-2]) / 2
    return slope


def _at_luma(lines: np.ndarray, wide: int, across: int) -> np.ndarray:
    """Colour at every luma pixel of its line; sample i at pixel ``across`` * i."""
    x = np.repeat(np.arange(wide, dtype=np.float32)[None, :] / across, len(lines), 0)
    y = np.repeat(np.arange(len(lines), dtype=np.float32)[:, None], wide, 1)
    return cv2.remap(lines, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
