"""Counts pixels that stand at the lowest or highest code, per block of pixels and channel, while a scan passes by.

The counts are laid over the pictures found on the bed afterwards, so that a white lid or a black card never counts.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.errors import UnusableSamples

MANY = 0.4  # share of a strip's blocks with such samples, from which it is quicker to count all than to pick those


@dataclass(frozen=True, slots=True)
class RailsState:
    block: int
    top: int
    left: np.ndarray | None = None
    low: tuple[np.ndarray, ...] = ()
    high: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rails:
    """How many pixels of each block stand at code 0 (``low``) and at full scale (``high``).

    ``low``, ``high`` : uint8, shape (rows, columns, channels): share of the block's pixels in 255ths.
    """

    low: np.ndarray
    high: np.ndarray
    block: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ClippedShare:
    """Shares of one picture's pixels [0..1]. ``solid`` are those in connected areas where every pixel is clipped in all
    channels; ``solid_channel`` the same for the worst single channel."""

    share: float
    by_channel: tuple[float, ...]
    solid: float
    solid_channel: float
    area: tuple[int, int, int, int] | None  # the largest solid area, in miniature pixels


def begin(block: int, top: int) -> RailsState:
    """Start. ``top``: the highest code (255 or 65535)."""
    return RailsState(block, top)


def step(state: RailsState, strip: np.ndarray) -> RailsState:
    """Take the next rows: shape (rows, width, channels), uint8 or uint16."""
    if strip.ndim != 3:
        raise UnusableSamples("samples.unusable", reason=f"shape {strip.shape}")
    rows = strip if state.left is None else np.concatenate([state.left, strip])
    whole = rows.shape[0] // state.block * state.block
    left = rows[whole:].copy() if whole < rows.shape[0] else None
    if not whole:
        return replace(state, left=left)
    lines = rows[:whole].reshape(whole, -1)[:, : rows.shape[1] // state.block * state.block * rows.shape[2]]
    low = _counted(lines, lines.min(axis=0) == 0, 0, state.block, rows.shape[2])
    high = _counted(lines, lines.max(axis=0) == state.top, state.top, state.block, rows.shape[2])
    return replace(state, left=left, low=(*state.low, low), high=(*state.high, high))


def finish(state: RailsState) -> Rails:
    """The counts of the whole scan."""
    if not state.low:
        raise UnusableSamples("samples.unusable", reason="smaller than one block")
    return Rails(low=np.concatenate(state.low), high=np.concatenate(state.high), block=state.block)


def clipped_share(counts: np.ndarray, inside: np.ndarray, block: int, *, least_area_px: int) -> ClippedShare:
    """How much of a picture stands at a rail.

    Parameters
    ----------
    counts : ndarray, shape (rows, columns, channels), uint8
        ``Rails.low`` or ``Rails.high``.
    inside : ndarray, shape (rows, columns), bool
        The picture's own blocks.
    block : int
        Scan pixels per block side.
    least_area_px : int
        Smallest connected area of clipped pixels that counts as solid [scan pixels].
    """
    size = int(inside.sum())
    channels = counts.shape[2]
    x, y, width, height = cv2.boundingRect(inside.view(np.uint8))
    counts, inside = counts[y : y + height, x : x + width], inside[y : y + height, x : x + width]
    if not size:
        return ClippedShare(share=0.0, by_channel=(0.0,) * channels, solid=0.0, solid_channel=0.0, area=None)
    weight = inside.view(np.uint8)
    planes = [np.ascontiguousarray(counts[..., c]) for c in range(channels)]
    by_channel = tuple(cv2.mean(plane, weight)[0] / 255 for plane in planes)
    full = [(plane == 255) & inside for plane in planes]
    all_solid, area = _solid(np.logical_and.reduce(full), block, least_area_px)
    worst = max((_solid(plane, block, least_area_px)[0] for plane in full), default=0)
    if area is not None:
        area = (area[0] + x, area[1] + y, area[2], area[3])
    return ClippedShare(
        share=max(by_channel), by_channel=by_channel, solid=all_solid / size, solid_channel=worst / size, area=area
    )


def _counted(lines: np.ndarray, holds: np.ndarray, code: int, block: int, channels: int) -> np.ndarray:
    """Each block's share of samples at a code; only columns of blocks that hold it are counted, for most strips of most
    scans have few or none."""
    rows, each = lines.shape[0], block * channels
    counts = np.zeros((rows // block, lines.shape[1] // each, channels), np.uint8)
    there = np.flatnonzero(holds)
    if not there.size:
        return counts
    left, right = int(there[0]) // each, int(there[-1]) // each + 1
    held: np.ndarray | slice = slice(left, right)
    samples = lines[:, left * each : right * each]
    blocks = there // each
    blocks = blocks[np.diff(blocks, prepend=-1) > 0]
    if blocks.size < MANY * (right - left):
        held = blocks
        samples = lines.reshape(rows, -1, each).take(held, axis=1).reshape(rows, -1)
    mask = cv2.inRange(samples, code, code).reshape(rows, -1, channels)
    if block > 1:
        mask = cv2.resize(mask, (mask.shape[1] // block, rows // block), interpolation=cv2.INTER_AREA)
    counts[:, held] = mask.reshape(rows // block, -1, channels)
    return counts


def _solid(full: np.ndarray, block: int, least_area_px: int) -> tuple[int, tuple[int, int, int, int] | None]:
    """Blocks in connected, wholly clipped areas, and the box of the largest."""
    mask: np.ndarray = full.astype(np.uint8)
    if not mask.any():
        return 0, None
    if block < 3:  # speckle of noise at the rail is no area: only cores of 3 x 3 count
        core = cv2.erode(mask, np.ones((3, 3), np.uint8), borderValue=0)
        mask = cv2.dilate(core, np.ones((3, 3), np.uint8))
    count, _, boxes, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if count < 2:
        return 0, None
    areas = boxes[1:, cv2.CC_STAT_AREA]
    counted = areas * block * block >= least_area_px
    if not counted.any():
        return 0, None
    box = boxes[1 + int(np.argmax(areas))]
    return int(areas[counted].sum()), (int(box[0]), int(box[1]), int(box[2]), int(box[3]))
