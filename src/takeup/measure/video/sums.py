"""What a picture adds up to along its lines, columns and blocks: one walk over its pixels for several measures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.video.loops import BANDS, BLOCK, loops


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums over inner luma in eight bits."""

    steps: np.ndarray  # of the distances of each line from the next of its field; int32, shape (rows - 2,)
    blocks: np.ndarray  # means of blocks of 8 x 8; uint8
    columns: np.ndarray  # each four bands of even and odd lines along x; int32, shape (2, 4, columns)
    lines: np.ndarray  # each line in four bands of columns, and all of it; int32, shape (rows, 5)


def add_up(part: np.ndarray) -> Sums:
    """Add up contiguous luma of eight bits, shape (rows, columns)."""
    rows, wide = part.shape
    found = Sums(
        steps=np.empty(rows - 2, np.int32),
        blocks=np.empty((rows // BLOCK, wide // BLOCK), np.uint8),
        columns=np.empty((2, BANDS, wide), np.int32),
        lines=np.empty((rows, BANDS + 1), np.int32),
    )
    room = np.empty((3, wide), np.uint16)
    loops().add_up(part, room, found.steps, found.blocks, found.columns, found.lines)
    return found
