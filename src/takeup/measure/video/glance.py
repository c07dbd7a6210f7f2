"""One glance at one picture: how bright, even, noisy, and how alike its lines: enough to tell nothing from some."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np

from takeup.errors import UnusableSamples

Kind = Literal["picture", "black", "lifted", "flat", "snow"]
BLOCK = 8  # pixels and lines of a block mean
SIDES = 24  # columns left out at either side: blanking is 8 or 9 of 720, plus a shifted line's end
HEAD_SWITCH = 20  # frame lines left out at the bottom: ten of a field hold any head switching
TOP = 4  # frame lines left out at the top: half lines


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """What one look at a picture gives. Levels in 8-bit codes."""

    mean: float
    high: float  # 99.9th percentile
    block_spread: float  # RMS of block means about their mean
    block_top: float  # highest block mean over the median one
    even_share: float  # blocks within two codes of the median block, luma and colour [share]
    noise: float  # RMS of the smoother half of the lines, from successive lines of one field
    step: float  # RMS of all lines, the same way
    likeness: float  # correlation of successive lines of one field, -1..1
    blue: float  # median of the blue difference, 128 is none
    red: float


def inner(plane: np.ndarray) -> np.ndarray:
    """The part of a luma plane that holds picture in any capture: no blanking, no half lines, no head switching."""
    rows, columns = plane.shape
    if rows < 4 * HEAD_SWITCH or columns < 4 * SIDES:
        return plane
    return plane[TOP : rows - HEAD_SWITCH, SIDES : columns - SIDES]


def glance(planes: tuple[np.ndarray, ...], bits: int) -> Glance:
    """Look at one picture.

    Parameters
    ----------
    planes : tuple of ndarray
        luma, blue and red difference as they lie in the file; grey has luma alone
    bits : int
        of a sample; codes are told as 8-bit ones

    Raises
    ------
    UnusableSamples
        If the luma plane is not two-dimensional or smaller than two blocks.
    """
    if planes[0].ndim != 2 or min(planes[0].shape) < 2 * BLOCK:
        raise UnusableSamples("samples.not-a-picture", shape=planes[0].shape)
    unit = 2.0 ** (bits - 8)
    luma = np.ascontiguousarray(inner(planes[0]))
    blocks = _blocks(luma) / unit
    middle = float(np.median(blocks))
    even = np.abs(blocks - middle) <= 2
    colours = []
    for plane in planes[1:3]:
        part = _blocks(np.ascontiguousarray(_same_part(plane, planes[0])), blocks.shape) / unit
        colours.append(float(np.median(part)))
        even &= np.abs(part - colours[-1]) <= 3
    lines = luma[:, 1::6].astype(np.float32)
    steps = lines[2:] - lines[:-2]
    power = np.square(steps).mean(axis=1)
    size = np.sort(np.abs(steps).mean(axis=1))
    variance = float(lines.var())
    return Glance(
        mean=float(blocks.mean()),
        high=_high(luma, bits) / unit,
        block_spread=float(blocks.std()),
        block_top=float(blocks.max()) - middle,
        even_share=float(even.mean()),
        noise=float(size[: max(1, len(size) // 2)].mean()) * 1.2533 / 1.4142 / unit,
        step=float(np.sqrt(power.mean() / 2)) / unit,
        likeness=1 - float(power.mean()) / (2 * variance) if variance > 1e-6 else 0.0,
        blue=colours[0] if colours else 128.0,
        red=colours[1] if len(colours) > 1 else 128.0,
    )


def kind_of(seen: Glance, limits: Mapping[str, Any]) -> Kind:
    """Whether a picture is one, or black, possibly lifted black, an even colour without tape noise, or snow.

    Parameters
    ----------
    limits : mapping
        The rows of ``video.kind``: ``black_mean lifted_mean black_spread black_top black_noises flat_noise
        flat_share snow_step snow_likeness`` [codes, shares].
    """
    even = seen.block_spread <= limits["black_spread"] and seen.block_top <= limits["black_top"]
    quiet = seen.high <= seen.mean + limits["black_noises"] * seen.noise + limits["black_top"]
    if seen.mean <= limits["lifted_mean"] and even and quiet and abs(seen.blue - 128) < 12 and abs(seen.red - 128) < 12:
        return "black" if seen.mean <= limits["black_mean"] else "lifted"
    if seen.step >= limits["snow_step"] and seen.likeness <= limits["snow_likeness"]:
        return "snow"
    if seen.even_share >= limits["flat_share"] and seen.noise <= limits["flat_noise"]:
        return "flat"
    return "picture"


def _same_part(plane: np.ndarray, luma: np.ndarray) -> np.ndarray:
    rows, columns = plane.shape
    down, across = luma.shape[0] / rows, luma.shape[1] / columns
    if luma.shape[0] < 4 * HEAD_SWITCH or luma.shape[1] < 4 * SIDES:
        return plane
    side = int(SIDES / across)
    return plane[int(TOP / down) : rows - int(HEAD_SWITCH / down), side : columns - side]


def _blocks(plane: np.ndarray, shape: tuple[int, ...] | None = None) -> np.ndarray:
    rows, columns = shape or (plane.shape[0] // BLOCK, plane.shape[1] // BLOCK)
    return cv2.resize(plane, (columns, rows), interpolation=cv2.INTER_AREA).astype(np.float32)


def _high(luma: np.ndarray, bits: int) -> float:
    counts = cv2.calcHist([luma], [0], None, [1 << bits], [0, 1 << bits]).ravel()
    return float(np.searchsorted(np.cumsum(counts), 0.999 * luma.size))
