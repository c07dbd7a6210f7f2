"""A small true picture of a large scan, averaged over whole blocks of pixels while the scan passes by in strips."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.errors import UnusableSamples


@dataclass(frozen=True, slots=True)
class MiniatureState:
    """What is known after some strips. ``left``: rows that do not fill a block yet."""

    block: int
    left: np.ndarray | None = None
    parts: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Miniature:
    """The whole scan, one pixel per block of ``block`` x ``block`` scan pixels.

    ``pixels`` : uint8, shape (rows, columns, channels) with 1 or 3 channels; rows and columns at the far edges that do
    not fill a block are left out.
    """

    pixels: np.ndarray
    block: int


def begin(block: int) -> MiniatureState:
    """Start with blocks of ``block`` scan pixels."""
    if block < 1:
        raise UnusableSamples("samples.unusable", reason="block under 1")
    return MiniatureState(block)


def step(state: MiniatureState, strip: np.ndarray) -> MiniatureState:
    """Take the next rows.

    Parameters
    ----------
    strip : ndarray, shape (rows, width, channels), uint8 or uint16
    """
    if strip.ndim != 3 or strip.shape[1] < 1:
        raise UnusableSamples("samples.unusable", reason=f"shape {strip.shape}")
    rows = strip if state.left is None else np.concatenate([state.left, strip])
    whole = rows.shape[0] // state.block * state.block
    left = rows[whole:].copy() if whole < rows.shape[0] else None
    if not whole:
        return replace(state, left=left)
    return replace(state, left=left, parts=(*state.parts, _shrink(rows[:whole], state.block)))


def finish(state: MiniatureState) -> Miniature:
    """The miniature.

    Raises
    ------
    UnusableSamples
        If the scan is smaller than one block.
    """
    if not state.parts:
        raise UnusableSamples("samples.unusable", reason="smaller than one block")
    return Miniature(pixels=np.concatenate(state.parts), block=state.block)


def thumb(miniature: Miniature, side: int = 32) -> bytes:
    """``side`` x ``side`` grey bytes of the whole scan, whatever its shape."""
    pixels = miniature.pixels
    grey = pixels[..., 0] if pixels.shape[2] == 1 else cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    return cv2.resize(grey, (side, side), interpolation=cv2.INTER_AREA).tobytes()


def _shrink(rows: np.ndarray, block: int) -> np.ndarray:
    width = rows.shape[1] // block * block
    if not width:
        raise UnusableSamples("samples.unusable", reason="narrower than one block")
    if rows.dtype == np.uint16:
        small = cv2.resize(rows[:, :width], (width // block, rows.shape[0] // block), interpolation=cv2.INTER_AREA)
        small = np.rint(small / 257.0).astype(np.uint8)
    elif block == 1:
        small = rows.copy()
    else:
        small = cv2.resize(rows[:, :width], (width // block, rows.shape[0] // block), interpolation=cv2.INTER_AREA)
    return small if small.ndim == 3 else small[..., None]
