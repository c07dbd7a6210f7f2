"""One glance at one picture: how bright, even, noisy, and how alike its lines: enough to tell nothing from some."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np

from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.sums import Sums, add_up

Kind = Literal["picture", "black", "lifted", "flat", "snow"]
SIDES = 24  # columns left out at either side: blanking is 8 or 9 of 720, plus a shifted line's end
HEAD_SWITCH = 20  # frame lines left out at the bottom: ten of a field hold any head switching
TOP = 4  # frame lines left out at the top: half lines
DARK, EVEN, ROUGH = 60.0, 0.4, 6.0  # only such pictures are looked at closer: dark, even, or rough from line to line

CODES = np.arange(256, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """What one look at a picture gives. Levels in 8-bit codes.

    A picture that is neither dark nor even nor rough is plainly one: it is not looked at closer, and has no ``high``
    over its mean, no colour and full ``likeness``.
    """

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
    return glance_at(np.ascontiguousarray(inner(eight_bits(planes[0], bits))), planes, bits)


def glance_at(luma: np.ndarray, planes: tuple[np.ndarray, ...], bits: int, sums: Sums | None = None) -> Glance:
    """The same of :func:`inner` luma that is in eight bits already.

    Parameters
    ----------
    luma : ndarray of uint8, shape (rows, columns)
        contiguous
    planes, bits
        as in :func:`glance`
    sums : Sums, optional
        what :func:`~takeup.measure.video.sums.add_up` gives of ``luma``, where it is at hand
    """
    sums = sums or add_up(luma)
    mean = float(sums.lines[:, -1].sum()) / luma.size
    blocks = sums.blocks
    counts = np.bincount(blocks.ravel(), minlength=256)  # whole codes: counting is quicker than sorting
    middle = int(np.searchsorted(np.cumsum(counts), blocks.size // 2, side="right"))
    even = float(counts[max(0, middle - 2) : middle + 3].sum()) / blocks.size
    apart = np.square(CODES - float(counts @ CODES) / blocks.size)
    size = np.sort(sums.steps) / luma.shape[1]
    high, blue, red, likeness = mean, 128.0, 128.0, 1.0
    step = float(size.mean()) * 1.2533 / 1.4142
    if step >= ROUGH or mean < DARK:
        steps = cv2.absdiff(luma[2:], luma[:-2])
        power = cv2.norm(steps, cv2.NORM_L2SQR) / steps.size
        variance = float(cv2.meanStdDev(luma)[1][0, 0]) ** 2
        step = float(np.sqrt(power / 2))
        likeness = 1 - power / (2 * variance) if variance > 1e-6 else 0.0
    if mean < DARK:
        high = _high(luma)
    if mean < DARK or even > EVEN:
        even, blue, red = _colours(planes, bits, blocks, middle)
    return Glance(
        mean=mean,
        high=high,
        block_spread=float(np.sqrt(counts @ apart / blocks.size)),
        block_top=float(np.flatnonzero(counts)[-1] - middle),
        even_share=even,
        noise=float(size[: max(1, len(size) // 2)].mean()) * 1.2533 / 1.4142,
        step=step,
        likeness=likeness,
        blue=blue,
        red=red,
    )


def kind_of(seen: Glance, limits: Mapping[str, Any]) -> Kind:
    """Whether a picture is one, or black, possibly lifted black, an even colour without tape noise, or snow.

    Parameters
    ----------
    limits : mapping
        The rows of ``video.kind``: ``black_mean lifted_mean black_spread black_top black_noises flat_noise
        flat_share vivid vivid_share snow_step snow_likeness`` [codes, shares].
    """
    even = seen.block_spread <= limits["black_spread"] and seen.block_top <= limits["black_top"]
    quiet = seen.high <= seen.mean + limits["black_noises"] * seen.noise + limits["black_top"]
    if seen.mean <= limits["lifted_mean"] and even and quiet and abs(seen.blue - 128) < 12 and abs(seen.red - 128) < 12:
        return "black" if seen.mean <= limits["black_mean"] else "lifted"
    if seen.step >= limits["snow_step"] and seen.likeness <= limits["snow_likeness"]:
        return "snow"
    vivid = max(abs(seen.blue - 128), abs(seen.red - 128)) >= limits["vivid"]
    lamp = seen.mean <= limits["lifted_mean"] and not vivid  # dark but for a light or two: something was filmed
    share = limits["vivid_share" if vivid else "flat_share"]
    if seen.even_share >= share and seen.noise <= limits["flat_noise"] and not lamp:
        return "flat"
    return "picture"


def _colours(
    planes: tuple[np.ndarray, ...], bits: int, blocks: np.ndarray, middle: float
) -> tuple[float, float, float]:
    """Share of blocks even in luma and colour, and the median of both colours."""
    even = np.abs(blocks.astype(np.float32) - middle) <= 2
    colours = [128.0, 128.0]
    for at, plane in enumerate(planes[1:3]):
        part = _blocks(eight_bits(np.ascontiguousarray(_same_part(plane, planes[0])), bits), blocks.shape)
        colours[at] = float(np.median(part))
        even &= np.abs(part - colours[at]) <= 3
    return float(even.mean()), colours[0], colours[1]


def _same_part(plane: np.ndarray, luma: np.ndarray) -> np.ndarray:
    rows, columns = plane.shape
    down, across = luma.shape[0] / rows, luma.shape[1] / columns
    if luma.shape[0] < 4 * HEAD_SWITCH or luma.shape[1] < 4 * SIDES:
        return plane
    side = int(SIDES / across)
    return plane[int(TOP / down) : rows - int(HEAD_SWITCH / down), side : columns - side]


def _blocks(plane: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Block means of a colour plane, as float32."""
    return cv2.resize(plane, (shape[1], shape[0]), interpolation=cv2.INTER_AREA).astype(np.float32)


def _high(luma: np.ndarray) -> float:
    counts = cv2.calcHist([luma], [0], None, [256], [0, 256]).ravel()
    return float(np.searchsorted(np.cumsum(counts), 0.999 * luma.size))
