"""What the loops over pictures make of some seeded ones: for compiling them, and for comparing kept machine code."""

from __future__ import annotations

import numpy as np

from takeup.measure.video.loops import Loops

ROWS, COLUMNS = 99, 203  # odd ones: what is left over of vectors and blocks is tried too


def look_at_some(loops: Loops) -> list[np.ndarray]:
    """Every loop called once with the one kind of arrays that it is compiled for."""
    rng = np.random.default_rng(2)
    before, part = (rng.integers(0, 256, (ROWS, COLUMNS), np.uint8) for _ in range(2))
    out = [
        np.empty(ROWS - 2, np.int32), np.empty(6, np.int64), np.empty((ROWS // 8, COLUMNS // 8), np.uint8),
        np.empty((2, 4, COLUMNS), np.int32), np.empty((5, ROWS), np.int32),
    ]  # fmt: skip
    loops.look(part, before, 4, 6, np.empty(COLUMNS, np.uint8), np.empty((3, COLUMNS), np.uint16), *out)
    lines = rng.standard_normal((12, COLUMNS)).astype(np.float32).cumsum(axis=1)
    shift, spread = (np.zeros((2, len(lines) - 1), np.float32) for _ in range(2))
    room, ends = np.empty(COLUMNS, np.float32), np.array([0, 51, 102, 153, COLUMNS])
    loops.lay_lines(lines, 2, 6.0, 20.0, room, ends, shift, spread)
    lags = np.zeros((12, 3), np.float32)
    loops.follow_lags(lines, np.roll(lines, 2, axis=1), 48, 12, 1, 1.0, 0.5, np.empty(25), lags)
    fields = [rng.integers(0, 1024, (40, COLUMNS), np.uint16) for _ in range(2)]
    blocks = [(np.empty((10, 12), np.float32), np.empty((5, 6), np.float32)) for _ in range(2)]
    both = np.zeros((2, COLUMNS), np.float32)
    loops.block_noise(fields[0], 8, 32, both, *blocks[0])
    loops.block_apart(*fields, 8, 32, both, *blocks[1])
    return [*out, shift, spread, np.nan_to_num(lags), *blocks[0], *blocks[1]]
