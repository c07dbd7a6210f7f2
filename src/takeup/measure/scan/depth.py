"""How many bits a scan's codes truly carry: eight bits padded to sixteen, two levels stored as eight bits."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.errors import UnusableSamples


@dataclass(frozen=True, slots=True)
class DepthState:
    """Which codes were seen. ``row``: rows that passed, so that the choice of rows does not depend on the strips."""

    stated: int
    every: int
    row: int = 0
    seen: np.ndarray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth:
    """True bits of a scan. ``bits`` is None when too few codes occur to tell (a plain sheet)."""

    bits: int | None
    levels: int  # different codes that occur, of the busiest channel
    step: int  # greatest common divisor of the differences between codes
    gaps: int = 0  # empty codes between two full ones, of the worst channel (8-bit scans)
    combs: int = 0  # codes that hold twice what both their neighbours hold


def begin(container_bits: int, every: int = 1) -> DepthState:
    """Start for 8- or 16-bit arrays; look at every ``every``-th row."""
    if container_bits not in (8, 16):
        raise UnusableSamples("samples.unusable", reason=f"{container_bits} bits")
    return DepthState(container_bits, every)


def step(state: DepthState, strip: np.ndarray) -> DepthState:
    """Take the next rows: shape (rows, width, channels)."""
    rows = strip[-state.row % state.every :: state.every]
    kind = np.int64 if state.stated == 8 else bool
    seen = np.zeros((1 << state.stated, strip.shape[2]), kind) if state.seen is None else state.seen.copy()
    for channel in range(strip.shape[2]):
        if rows.size and state.stated == 8:
            counts = cv2.calcHist([rows], [channel], None, [256], [0, 256])
            seen[:, channel] += counts.ravel().astype(np.int64)
        elif rows.size:
            seen[rows[..., channel].ravel(), channel] = True
    return replace(state, row=state.row + strip.shape[0], seen=seen)


def finish(state: DepthState) -> Depth:
    """The true bits.

    Notes
    -----
    Three signs, each sure by itself: all codes lie on a grid wider than one code (padding by shifting, by repeating the
    high byte, or counting in larger steps); or a 16-bit scan shows at most 256 codes over a range where a converter
    would show thousands; or only two codes occur.
    """
    if state.seen is None:
        raise UnusableSamples("samples.unusable", reason="nothing passed")
    results = [_one(np.flatnonzero(state.seen[:, c]), state.stated) for c in range(state.seen.shape[1])]
    told = [result for result in results if result.bits is not None]
    chosen = max(told or results, key=lambda result: (result.bits or 0, result.levels))
    if state.stated != 8 or chosen.bits != 8:
        return chosen
    uneven = [_uneven(state.seen[:, c]) for c in range(state.seen.shape[1])]
    return replace(chosen, gaps=max(gaps for gaps, _ in uneven), combs=max(combs for _, combs in uneven))


FULL = 200  # pixels of a code before its neighbours' counts can be told from chance
ALIKE = 3.0  # neighbours of a gap that differ by more are a peak's foot


def _uneven(counts: np.ndarray) -> tuple[int, int]:
    """Empty codes between full ones, and codes twice as full as both neighbours: the marks of tones that were spread
    or pressed together once they were whole numbers. Not told of drawn pages, whose few tones have no neighbours."""
    left, here, right = counts[:-2].astype(float), counts[1:-1].astype(float), counts[2:].astype(float)
    less, more = np.minimum(left, right), np.maximum(left, right)
    gaps = (here < 0.01 * less) & (less >= FULL) & (more < ALIKE * less)
    combs = (here > 1.7 * more) & (here < 2.5 * more) & (less >= FULL) & (more < 1.25 * less)
    return int(gaps.sum()), int(combs.sum())


def _one(codes: np.ndarray, stated: int) -> Depth:
    levels = int(codes.size)
    if levels < 2:
        return Depth(bits=None, levels=levels, step=0)
    grid = int(np.gcd.reduce(np.diff(codes)))
    reach = int(codes[-1] - codes[0])
    if levels == 2 and reach >= (1 << stated) - (1 << stated) // 4:
        return Depth(bits=1, levels=2, step=grid)
    if levels < 16:
        return Depth(bits=None, levels=levels, step=grid)
    if stated == 16 and levels <= 256 and reach >= 16 * levels:
        return Depth(bits=8, levels=levels, step=grid)
    if stated == 16 and (made := _repeated(codes)) is not None:
        return Depth(bits=made, levels=levels, step=grid)
    return Depth(bits=stated - int(np.log2(grid)) if grid > 1 else stated, levels=levels, step=grid)


def _repeated(codes: np.ndarray) -> int | None:
    """Bits of codes whose high bits were repeated into the low ones (12 bits as v * 16 + v // 256, and so on)."""
    for bits in (8, 10, 12, 14):
        high = codes >> (16 - bits)
        if np.array_equal((high << (16 - bits)) | (high >> (2 * bits - 16)), codes):
            return bits
    return None
