"""What the loops over pictures make of some seeded ones: for compiling them, and for comparing kept machine code."""

from __future__ import annotations

import numpy as np

from takeup.measure.video.loops import Loops

ROWS, COLUMNS = 99, 203  # odd ones: what is left over of vectors and blocks is tried too


def look_at_some(loops: Loops) -> list[np.ndarray]:
    """Every loop called once with the one kind of arrays that it is compiled for."""
    rng = np.random.default_rng(2)
    before, part = (rng.integers(0, 256, (ROWS, COLUMNS), np.uint8) for _ in range(2))
    out: list[np.ndarray] = [
        np.empty(ROWS - 2, np.int32), np.empty((ROWS // 8, COLUMNS // 8), np.uint8),
        np.empty((2, 4, COLUMNS), np.int32), np.empty((ROWS, 5), np.int32),
    ]  # fmt: skip
    loops.add_up(part, np.empty((3, COLUMNS), np.uint16), *out)
    combs = np.empty(7, np.int64)
    loops.compare(part, before, 4, 6, np.empty(COLUMNS, np.uint8), combs)
    slopes = [np.diff(one[:4].astype(np.float32)) for one in (before, part)]
    like = np.empty(84, np.float32)
    loops.lay_over(slopes[0], np.pad(slopes[1], ((0, 0), (40, 46))), like)
    counts, masks = np.empty((2, 2, ROWS), np.int32), np.zeros((2, 2, ROWS, COLUMNS), np.uint8)
    loops.stand_out(before, part, 18, 8.0, np.empty((5, COLUMNS + 8), np.uint8), counts, masks)
    codes = np.zeros((ROWS, 256), np.int32)
    loops.count_codes(part.astype(np.uint16), 3, codes)
    out.extend([combs, like, counts, masks, codes])
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
