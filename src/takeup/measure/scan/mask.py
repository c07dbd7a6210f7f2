"""Which pixels of a picture are dust: small marks without colour that stand out of calm surroundings, or that show the
one grey which the clearest of them agree on (``dust_tone``).

In busy places a leaf's glint and a speck look alike, so a place where many marks lie that are no dust (coloured, or
barely standing out) is left alone but for that grey. How much is found: decision 0106.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import cv2
import numpy as np

from takeup.measure.scan.dust_tone import LARGEST, OPAQUE, Tone, find_tones, marks_of, matched, standing
from takeup.measure.scan.filling import filled

STANDS, CODES = 8.0, 40.0  # how many times that unrest, and at least how many codes, dust stands out; half may begin it
COLOUR = 16.0  # codes between the channels of what is left when the ground is taken off: dust has no colour
ABOUT, OTHERS = 81, 0.5  # in so many pixels about it at most so many marks that are no dust
SLIM = 60  # pixels of a mark's shorter side
REACH = 192  # rows above and below that a row's answer rests on
HEAD = 2048  # rows at the top of a picture that say of what grey its dust is


def dust_mask(pixels: np.ndarray, tones: tuple[Tone, ...] | None = None) -> np.ndarray:
    """Which pixels are dust (bool, shape (rows, columns)).

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 1 or 3), uint8
    tones : tuple of Tone, optional
        The greys of the picture's dust, where the pixels are a part of it; else they are sought in them.
    """
    if tones is None:
        tones = tones_in(pixels)
    seen = standing(pixels)
    limit = np.maximum(CODES, STANDS * seen.unrest)
    spread = np.ptp((seen.whole - (1 - OPAQUE) * seen.ground) / OPAQUE, axis=2)
    found = _marks(seen.out(1), limit, spread) | _marks(seen.out(-1), limit, spread)
    for tone in tones:
        if tone.exact:
            found |= marks_of(seen, tone)
        found |= matched(pixels, tone)
    return found


def tones_in(pixels: np.ndarray) -> tuple[Tone, ...]:
    """The greys of dust, by the first rows; of a picture without colours none, for there every tone is a grey."""
    return find_tones(pixels[:HEAD]) if pixels.shape[2] == 3 else ()


def _marks(out: np.ndarray, limit: np.ndarray, spread: np.ndarray) -> np.ndarray:
    count, label, about, middles = cv2.connectedComponentsWithStats((out > 0.5 * limit).astype(np.uint8))
    weight = np.where(out > limit, out, 0).ravel()
    total = np.bincount(label.ravel(), weight, count)
    colour = np.bincount(label.ravel(), spread.ravel() * weight, count) / np.maximum(total, 1e-6)
    good = (total > 0) & (colour < COLOUR)
    good[0] = False
    place = np.rint(middles).astype(int)
    place[0] = 0
    others: np.ndarray = np.zeros(out.shape, np.float32)
    bad = ~good
    bad[0] = False
    np.add.at(others, (place[bad, 1], place[bad, 0]), 1)
    crowd = cv2.boxFilter(others, -1, (ABOUT, ABOUT), normalize=False)
    good &= crowd[place[:, 1], place[:, 0]] <= OTHERS
    good &= (about[:, cv2.CC_STAT_AREA] <= LARGEST) & (
        np.minimum(about[:, cv2.CC_STAT_WIDTH], about[:, cv2.CC_STAT_HEIGHT]) <= SLIM
    )
    return good[label]


def mended(pixels: np.ndarray, mask: np.ndarray, rows: tuple[int, int] | None = None) -> np.ndarray:
    """The picture with its dust filled from round about; every other pixel is the very same.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 1 or 3), uint8
    mask : ndarray of bool
    rows : (int, int), optional
        The rows that are wanted: the first, and the one after the last.
    """
    if not mask.any():
        return pixels
    return filled(pixels, mask, rows)


def rim(mask: np.ndarray) -> np.ndarray:
    """Dust and one pixel about it: its soft rim."""
    return cv2.dilate(mask.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0


class DustSweep:
    """Sweeps strips of rows from top to bottom; ``specks`` and ``pixels`` count what was mended."""

    def __init__(self) -> None:
        self.specks, self.pixels, self.of = 0, 0, 0

    def through(self, strips: Iterator[np.ndarray]) -> Iterable[np.ndarray]:
        """The same rows, mended. Holds the first ``HEAD`` rows; then a strip and ``REACH`` rows above and below it."""
        head: list[np.ndarray] = []
        while sum(len(strip) for strip in head) < HEAD and (strip := next(strips, None)) is not None:
            head.append(strip)
        tones = tones_in(np.concatenate(head)) if head else ()
        for block, top, foot in with_neighbours(_first(head, strips), REACH):
            mask = rim(dust_mask(block, tones))
            self._count(mask, top, foot)
            yield mended(block, mask, (top, foot))[top:foot]

    def _count(self, mask: np.ndarray, top: int, foot: int) -> None:
        _, _, _, middles = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
        self.specks += int(((middles[1:, 1] >= top) & (middles[1:, 1] < foot)).sum())
        self.pixels += int(mask[top:foot].sum())
        self.of += mask[top:foot].size


def with_neighbours(strips: Iterator[np.ndarray], reach: int) -> Iterator[tuple[np.ndarray, int, int]]:
    """Each strip with up to ``reach`` rows above and below it: the block, and where the strip begins and ends in it."""
    above: np.ndarray | None = None
    here = next(strips, None)
    while here is not None:
        below: list[np.ndarray] = []
        rows = 0
        while rows < reach and (more := next(strips, None)) is not None:
            below.append(more)
            rows += more.shape[0]
        block = np.concatenate([part for part in (above, here, *below) if part is not None])
        top = above.shape[0] if above is not None else 0
        foot = top + here.shape[0]
        yield block[: foot + reach], top, foot
        above = np.concatenate([part for part in (above, here) if part is not None])[-reach:]
        strips = _first(below[1:], strips)
        here = below[0] if below else None


def _first(some: list[np.ndarray], rest: Iterator[np.ndarray]) -> Iterator[np.ndarray]:
    yield from some
    yield from rest
