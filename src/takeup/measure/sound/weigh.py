"""K-weighted energy of each hop: the second loop over every sample."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.compiling import compiled


def _weigh_pair(
    block: np.ndarray, left: int, right: int, filters: np.ndarray, hop: int, memory: np.ndarray, done: np.ndarray
) -> None:
    """Weigh whole hops of two channels: four independent chains, which hide each other's waiting.

    Parameters
    ----------
    block : float32 array, shape (hops * hop, channels)
    left, right : int
        Columns to weigh.
    filters : float64 array, shape (10,)
        Both stages as state updates: b0, b1 - a1 b0, b2 - a2 b0, a1, a2.
    hop : int
        Frames in a hop.
    memory : float64 array, shape (8,), changed in place
        Continues from call to call.
    done : float64 array, shape (hops, 2), changed in place
        Receives the sum of squares of each hop.
    """
    b0, b1, b2, a1, a2 = filters[0], filters[1], filters[2], filters[3], filters[4]
    c0, c1, c2, d1, d2 = filters[5], filters[6], filters[7], filters[8], filters[9]
    p1, p2, p3, p4 = memory[0], memory[1], memory[2], memory[3]
    r1, r2, r3, r4 = memory[4], memory[5], memory[6], memory[7]
    for at in range(done.shape[0]):
        k_l, k_r = 0.0, 0.0
        part = block[at * hop : (at + 1) * hop]
        for i in range(hop):
            x, y = np.float64(part[i, left]), np.float64(part[i, right])
            u, w = b0 * x + p1, b0 * y + r1
            p1, r1, p2, r2 = (b1 * x + p2) - a1 * p1, (b1 * y + r2) - a1 * r1, b2 * x - a2 * p1, b2 * y - a2 * r1
            v, z = c0 * u + p3, c0 * w + r3
            p3, r3, p4, r4 = (c1 * u + p4) - d1 * p3, (c1 * w + r4) - d1 * r3, c2 * u - d2 * p3, c2 * w - d2 * r3
            k_l += v * v
            k_r += z * z
        if abs(p1) + abs(p2) + abs(p3) + abs(p4) < 1e-30:  # else silence crawls through denormal numbers
            p1 = p2 = p3 = p4 = 0.0
        if abs(r1) + abs(r2) + abs(r3) + abs(r4) < 1e-30:
            r1 = r2 = r3 = r4 = 0.0
        done[at, 0], done[at, 1] = k_l, k_r
    memory[0], memory[1], memory[2], memory[3] = p1, p2, p3, p4
    memory[4], memory[5], memory[6], memory[7] = r1, r2, r3, r4


weigh_pair = compiled(_weigh_pair, fastmath={"contract", "nsz"})
