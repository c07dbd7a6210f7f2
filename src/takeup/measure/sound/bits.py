"""How many bits the samples really use: 16 in a 24-bit file leave the lowest byte at zero in every sample."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

FULL_SCALE = float(1 << 23)  # of 24 bits
MOST = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class BitsState:
    """Frozen; ``step`` makes a new one. ``used``: every bit of 24 that any sample has set."""

    used: int = 0
    finer: bool = False  # samples between the steps of 24 bits, or far beyond full scale

    @property
    def bits(self) -> int | None:
        """True bits of all that was heard; None for nothing but zeros, and for samples finer than 24 bits."""
        if self.finer or not self.used:
            return None
        return MOST + 1 - (self.used & -self.used).bit_length()


def step_bits(state: BitsState, block: np.ndarray) -> BitsState:
    """Take in one block, float32, shape (n, channels), full scale 1.0. Costs nothing once the lowest bit was seen."""
    if state.finer or state.used & 1 or not block.size:
        return state
    scaled = block * np.float32(FULL_SCALE)
    if not np.abs(scaled).max() < 1 << 30:
        return replace(state, finer=True)
    whole = scaled.astype(np.int32)
    if (whole != scaled).any():
        return replace(state, finer=True)
    return replace(state, used=state.used | int(np.bitwise_or.reduce(np.abs(whole), axis=None)))
