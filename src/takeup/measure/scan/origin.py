"""Where a scan's pixels come from: places worth a look in full, and what they say of enlarging and of lossy packing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.block_grid import BlockGrid, block_grid
from takeup.measure.scan.brightness import mean_of_channels
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.resampled import Resampled, resampled
from takeup.measure.scan.windows import Place, Window

PURPOSE = "origin"
SIDE_PX, LEAST_SIDE_PX = 448, 128
PLACES, IN_BLOCKS = 4, 2  # of the places, the two most textured are looked at for a grid
RAIL_SHARE = 0.05  # of a place at either end of the scale: clipped pixels say nothing
LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, as packing with loss makes it; coarser colour planes cancel out of it
SURE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """What was found; None where nothing could be looked at."""

    blocks: BlockGrid | None = None
    enlarged: Resampled | None = None


def origin_places(first: FirstLook) -> list[Place]:
    """Places inside pictures, from the evenest to the busiest that is not clipped; where no picture has room for one,
    anywhere, for the lid's own noise was enlarged with it; last of all where tones are clipped, too."""
    block = first.small.block
    grey = mean_of_channels(first.small.pixels).astype(np.float32)
    inner = np.zeros(grey.shape, np.float32)
    for one in first.pictures.prints:
        inner[first.inside(one, 1.0)] = 1.0
    sides = [side for side in (SIDE_PX, SIDE_PX // 2, LEAST_SIDE_PX) if min(grey.shape) > max(side // block, 1)]
    anywhere = np.ones_like(inner)
    tried = [(side, inner, RAIL_SHARE) for side in sides] + [(side, anywhere, RAIL_SHARE) for side in sides]
    for side, area, rail in [*tried, *((side, anywhere, 1.0) for side in sides)]:
        found = _tiles(grey, area, max(side // block, 1), rail)
        if found:
            chosen = sorted({round(n * (len(found) - 1) / (PLACES - 1)) for n in range(PLACES)})
            tiles = [found[n] for n in chosen]
            return [Place(y=y * block, x=x * block, width=side, height=side, purpose=PURPOSE) for _, y, x in tiles
                    if x * block + side <= first.size[0] and y * block + side <= first.size[1]]  # fmt: skip
    return []


def _tiles(grey: np.ndarray, inner: np.ndarray, across: int, most_rail: float) -> list[tuple[float, int, int]]:
    """Squares that lie inside an area and are not clipped: how lively each is, its row and column; evenest first."""
    size = (across, across)
    held = cv2.boxFilter(inner, -1, size, anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    rail = cv2.boxFilter(((grey < 3) | (grey > 252)).astype(np.float32), -1, size, anchor=(0, 0))
    lively = cv2.boxFilter(np.abs(grey - cv2.blur(grey, (5, 5))), -1, size, anchor=(0, 0))
    step = max(across // 2, 1)
    found = []
    for y in range(0, grey.shape[0] - across + 1, step):
        for x in range(0, grey.shape[1] - across + 1, step):
            if held[y, x] > 0.97 and rail[y, x] <= most_rail:
                found.append((float(lively[y, x]), y, x))
    return sorted(found)


def origin(kept: Sequence[Window], full_scale: int) -> Origin:
    """What the places say.

    Parameters
    ----------
    kept : sequence of Window
        Those of ``origin_places``.
    full_scale : int
        The highest code, 255 or 65535.
    """
    if not kept:
        return Origin()
    planes = [_luma(window.pixels, full_scale) for window in kept]
    lively = sorted(range(len(planes)), key=lambda n: -float(np.abs(np.diff(planes[n], axis=1)).mean()))[:IN_BLOCKS]
    blocks = block_grid([planes[n] for n in lively], [(kept[n].place.x, kept[n].place.y) for n in lively])
    packed = blocks is not None and blocks.certainty >= SURE
    return Origin(
        blocks=blocks, enlarged=resampled(planes, rounding=_rounding(kept[0].pixels, full_scale), in_blocks=packed)
    )


def _rounding(pixels: np.ndarray, full_scale: int) -> float:
    """Standard deviation of what rounding leaves in luma [codes of 255]: by the steps that the codes truly go in, for a
    scan may be padded to sixteen bits; less where three channels were rounded each for itself."""
    codes = np.unique(pixels[::8])
    step = int(np.gcd.reduce(np.diff(codes))) if codes.size > 1 else 1
    grey = pixels.shape[2] < 3 or bool((pixels[::8, :, 0] == pixels[::8, :, 1]).all())
    share = 1.0 if grey else float(np.sqrt(np.square(LUMA).sum()))
    return share * step * 255.0 / full_scale / 12**0.5


def _luma(pixels: np.ndarray, full_scale: int) -> np.ndarray:
    plane = pixels.astype(np.float32) * (255.0 / full_scale)
    luma: np.ndarray = plane[..., 0] if plane.shape[2] == 1 else plane[..., :3] @ np.asarray(LUMA, np.float32)
    return np.ascontiguousarray(luma)
