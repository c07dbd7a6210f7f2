"""Joins two passes over one original to one everyday copy through libvips, strip by strip: neither is held whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyvips

from takeup.media.still import OpenStill
from takeup.media.still_write import JPEG_PX, broken_still, held_pixels, in_srgb, with_density

BLEND_PX = 40  # over which one pass goes over into the other


def grey_small(still: OpenStill, longest_px: int) -> np.ndarray:
    """A pass in grey (uint8), at most so long.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be decoded.
    """
    try:
        image = in_srgb(still.vips(), still)
        image = image.colourspace("b-w") if image.bands == 3 else image
        image = image.thumbnail_image(longest_px, height=longest_px, size="down", no_rotate=True)
        return np.asarray(image.extract_band(0).numpy().reshape(image.height, image.width))
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error


def whole_pass(still: OpenStill) -> pyvips.Image:
    """A pass in sRGB or grey with 8 bits, decoded once, of which any pixels can be asked for.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be decoded.
    """
    try:
        return held_pixels(in_srgb(still.vips(), still))
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error


def lay_onto(image: pyvips.Image, onto: np.ndarray) -> tuple[pyvips.Image, tuple[int, int]]:
    """The second pass in the first one's place: its picture, and where its top left corner lies [px of the first]."""
    corners = np.array([(0, 0, 1), (image.width, 0, 1), (0, image.height, 1), (image.width, image.height, 1)]) @ onto.T
    low, high = np.floor(corners.min(axis=0)).astype(int), np.ceil(corners.max(axis=0)).astype(int)
    a = onto[:, :2]
    shift = a @ [0.5, 0.5] + onto[:, 2] - 0.5 - low
    moved = image.affine(
        [a[0, 0], a[0, 1], a[1, 0], a[1, 1]], interpolate=pyvips.Interpolate.new("bicubic"), odx=float(shift[0]),
        ody=float(shift[1]), oarea=[0, 0, int(high[0] - low[0]), int(high[1] - low[1])], extend="black",
    )  # fmt: skip
    return moved, (int(low[0]), int(low[1]))


def piece(image: pyvips.Image, x: int, y: int, side: int) -> np.ndarray:
    """A square of a picture about (x, y) in grey; black where it lies outside."""
    part = image.embed(side, side, image.width + 2 * side, image.height + 2 * side)
    part = part.crop(x - side // 2 + side, y - side // 2 + side, side, side)
    part = part.colourspace("b-w") if part.bands == 3 else part
    return np.asarray(part.extract_band(0).numpy().reshape(side, side))


def write_joined_copy(
    first: OpenStill, passes: tuple[pyvips.Image, pyvips.Image], onto: np.ndarray, target: Path, *, quality: int
) -> tuple[int, int]:
    """Write both passes as one JPEG; its size [px].

    Parameters
    ----------
    first : OpenStill
        The first pass: what it says of its resolution holds for both.
    passes : two images
        Of ``whole_pass``.
    onto : ndarray, shape (2, 3)
        From the second pass to the first [px].

    Raises
    ------
    Unreadable
        ``capture.broken`` when one cannot be decoded.
    """
    try:
        one = passes[0]
        other, (x, y) = lay_onto(passes[1], onto)
        across = abs(x + other.width / 2 - one.width / 2) >= abs(y + other.height / 2 - one.height / 2)
        direction = "horizontal" if across else "vertical"
        ahead = (x if across else y) >= 0
        left, right, dx, dy = (one, other, -x, -y) if ahead else (other, one, x, y)
        joined = left.merge(right, direction, dx, dy, mblend=BLEND_PX)
        width = joined.width
        if max(joined.width, joined.height) > JPEG_PX:
            joined = joined.thumbnail_image(JPEG_PX, height=JPEG_PX, size="down", no_rotate=True)
        data = joined.jpegsave_buffer(Q=quality, subsample_mode="off", optimize_coding=True, keep="icc", profile="srgb")
    except pyvips.Error as error:
        raise broken_still(first.path, error) from error
    across = first.image.ppi_stated
    down = first.image.ppi_y_stated or across
    share = joined.width / width
    target.write_bytes(with_density(data, across and across * share, down and down * share))
    return joined.width, joined.height
