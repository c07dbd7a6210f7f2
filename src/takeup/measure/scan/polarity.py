"""Whether a page is dark on light or light on dark, told by its letters; whether a picture carries a negative's mask.

Letters and drawn strokes cover less of a page than the ground they stand on, and that ground is even: where both hold
in most of the blocks that look so, the page says itself which way round it is. A picture says nothing of the kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples

BLOCK = 48  # miniature pixels: a few words, at about 150 pixels per inch
LEAST_CONTRAST = 30.0  # codes between a block's ink and its ground
INK = 0.04, 0.38  # share of a block that strokes cover
EVEN = 0.13  # spread of a block's ground, of its contrast: a picture's texture is spread wider
CROSSINGS = 2.0  # mean of strokes met along a row and along a column of a block: an edge or a lamp has fewer
LEAST_BLOCKS = 8
AGREE = 0.9  # of the blocks that say anything
LIGHTEST_RED = 0.15, 0.9  # density of a masked negative's lightest places in red: its base, and what lies in shadow
LIGHTEST_GREEN, LIGHTEST_BLUE = (0.15, 0.7), (0.35, 1.1)  # and how much denser they are in green and in blue
DENSEST_GREEN, DENSEST_BLUE = 0.1, (0.3, 1.3)  # the same of its densest places: the mask is there, too
CLEAR_BLUE = 0.88  # density in blue that a masked negative has everywhere: 0.95 for the base, less a scanner's gain
MOST_RANGE = 2.0  # density from its lightest to its densest: three decades of light at a contrast of 0.6
ALIKE_RANGES = 1.8  # by which the channels' ranges may differ: their contrasts are nearly one
BASE_RED = 0.12, 0.5  # density of unexposed masked film in red
BASE_GREEN, BASE_BLUE = (0.2, 0.6), (0.42, 1.0)  # and how much denser it is in green and in blue
LOOK_PX = 256
THROUGH_HOLES = 0.9  # light that passed no film
SLACK = 0.06  # density that a miniature may mix in at a hole's edge, or a scanner lose
MOST_LIT = 0.1  # share of film that may be lighter in blue than any base: edges of holes, scratches, the lid about it
LEAST_SPREAD = 0.25  # density from the lightest to the darkest: less is a blank

GREYEST = 0.42  # density of silver film's base: 0.1 to 0.35, fog of age included


@dataclass(frozen=True, slots=True, kw_only=True)
class Polarity:
    """``negative``: None where it cannot be told. ``agree``: share of the blocks that say so; ``blocks``: how many
    spoke. ``by``: "text" or "mask"."""

    negative: bool | None = None
    agree: float = 0.0
    blocks: int = 0
    by: str = ""


def text_blocks(grey: np.ndarray) -> np.ndarray:
    """What each block of ``BLOCK`` pixels shows: 1 dark strokes on light, -1 light strokes on dark, 0 anything else.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8

    Returns
    -------
    ndarray, shape (rows // BLOCK, columns // BLOCK), int8
    """
    if grey.ndim != 2 or grey.dtype != np.uint8:
        raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
    down, across = grey.shape[0] // BLOCK, grey.shape[1] // BLOCK
    if not down or not across:
        return np.zeros((down, across), np.int8)
    cut = grey[: down * BLOCK, : across * BLOCK].reshape(down, BLOCK, across, BLOCK).swapaxes(1, 2)
    blocks = cut.reshape(down * across, BLOCK, BLOCK)
    flat = np.sort(blocks.reshape(len(blocks), -1), axis=1).astype(np.float32)
    low, high = flat[:, int(0.02 * flat.shape[1])], flat[:, int(0.98 * flat.shape[1])]
    contrast = high - low
    middle = (low + high) / 2
    dark = blocks < middle[:, None, None]
    share = dark.mean(axis=(1, 2))
    met = (dark[:, :, 1:] & ~dark[:, :, :-1]).sum(axis=2).mean(axis=1)
    met_down = (dark[:, 1:] & ~dark[:, :-1]).sum(axis=1).mean(axis=1)
    strokes = (contrast >= LEAST_CONTRAST) & (met >= CROSSINGS) & (met_down >= 0.5 * CROSSINGS)
    sign = np.where((share >= INK[0]) & (share <= INK[1]), 1, 0)
    sign = np.where((share >= 1 - INK[1]) & (share <= 1 - INK[0]), -1, sign)
    sign = np.where(strokes & (_ground_spread(flat, sign) <= EVEN * contrast), sign, 0)
    return sign.astype(np.int8).reshape(down, across)


def _ground_spread(flat: np.ndarray, sign: np.ndarray) -> np.ndarray:
    """Half the width that holds the middle two thirds of a block's ground: its upper half for dark strokes, its lower
    for light ones. ``flat``: each block's codes in order."""
    size = flat.shape[1]

    def code(share: float) -> np.ndarray:
        return flat[:, int(share * (size - 1))]

    upper, lower = (code(0.95) - code(0.55)) / 2, (code(0.45) - code(0.05)) / 2
    return np.where(sign > 0, upper, lower)


def text_polarity(grey: np.ndarray) -> Polarity:
    """Which way round a page is, by its letters; None where there are too few, or they disagree."""
    signs = text_blocks(grey)
    dark, light = int((signs > 0).sum()), int((signs < 0).sum())
    spoke = dark + light
    if spoke < LEAST_BLOCKS:
        return Polarity(blocks=spoke)
    agree = max(dark, light) / spoke
    return Polarity(negative=light > dark if agree >= AGREE else None, agree=agree, blocks=spoke, by="text")


def mask_polarity(pixels: np.ndarray) -> Polarity:
    """Whether a picture carries the orange mask of a colour negative, from its lightest to its darkest.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 3), uint8
        The inside of one picture, in a working space with a gamma of about 2.2.

    Notes
    -----
    A masked negative is a neutral-ish picture of low contrast with a constant density added: least in red, most in
    blue (base densities of about 0.25, 0.65 and 0.95). So each channel's own lightest and densest places stand apart
    by the mask, and blue is dense everywhere. In a photograph, however warm, the lightest tones lie near white or the
    darkest near black, and there the densities of the channels meet. Channels are taken each by itself: the densest
    pixel of a negative may well be a strong colour.
    """
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size < 3 * 256:
        return Polarity()
    small = cv2.resize(pixels, (96, 96), interpolation=cv2.INTER_AREA).astype(np.float64).reshape(-1, 3)
    density = -2.2 * np.log10(np.maximum(small, 1.0) / 255)
    light, dense = np.percentile(density, [1, 99], axis=0)
    ranges = dense - light
    if ranges.min() < LEAST_SPREAD or ranges.max() > min(MOST_RANGE, ALIKE_RANGES * ranges.min()):
        return Polarity()
    over, above = light[1:] - light[0], dense[1:] - dense[0]
    masked = (
        _within(light[0], LIGHTEST_RED)
        and _within(over[0], LIGHTEST_GREEN) and _within(over[1], LIGHTEST_BLUE) and over[1] - over[0] >= 0.1
        and above[0] >= DENSEST_GREEN and _within(above[1], DENSEST_BLUE)
        and light[2] >= CLEAR_BLUE
    )  # fmt: skip
    if not masked:
        return Polarity()
    agree = float(((density[:, 1] > density[:, 0]) & (density[:, 2] > density[:, 0])).mean())
    return Polarity(negative=True, agree=agree, blocks=2, by="mask")


def may_be_masked(light: np.ndarray) -> bool:
    """Whether a picture may be colour negative film: all of it but its holes lets as little blue through as its base.

    Cheap to ask before the base is sought.

    Parameters
    ----------
    light : ndarray, shape (rows, columns, 3)
        Linear light, 1 where nothing lies in its way.
    """
    step = max(1, max(light.shape[:2]) // LOOK_PX)
    few = np.asarray(light[::step, ::step], np.float32).reshape(-1, 3)
    film = few[(few < THROUGH_HOLES).any(axis=1)]
    lit = film[:, 2] > 10 ** -(BASE_RED[0] + BASE_BLUE[0] - SLACK)
    return bool(lit.mean() <= MOST_LIT) if film.size else False


def base_polarity(density: tuple[float, ...]) -> Polarity:
    """What the clear film along a picture's outline says: masked film is a colour negative's.

    Parameters
    ----------
    density : (red, green, blue) or fewer
        Of the unexposed film, as ``density.find_base`` found it.
    """
    if len(density) != 3:
        return Polarity()
    red, green, blue = density
    masked = _within(red, BASE_RED) and _within(green - red, BASE_GREEN) and _within(blue - red, BASE_BLUE)
    return Polarity(negative=True, agree=1.0, blocks=1, by="mask") if masked else Polarity()


def codes_are_light(coded: tuple[float, ...], straight: tuple[float, ...]) -> bool:
    """Whether the 16-bit codes of a negative are light itself, where its file says nothing of its curve.

    A scanner that is set to give light as it is often writes no profile. Read with the other curve every density comes
    out 2.2 times too large, or too small, and film's own base tells which: a mask has its known place, silver film is
    seldom as dense as ``GREYEST``.

    Parameters
    ----------
    coded, straight : (red, green, blue) or fewer
        Densities of the unexposed film when codes are read as sRGB and as light; empty where none was found.
    """
    if not straight:
        return False
    if base_polarity(straight).negative or base_polarity(coded).negative:
        return bool(base_polarity(straight).negative)
    return not coded or min(coded) > GREYEST


def _within(value: float, ends: tuple[float, float]) -> bool:
    return bool(ends[0] <= value <= ends[1])
