"""``python -m takeup.measure.warm``: compile the sound loops into numba's cache, so that no visitor waits for it."""

from __future__ import annotations

import numpy as np


def warm() -> None:
    """Hear a moment of silence: whatever is not compiled yet is compiled and kept."""
    from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops

    state, _ = step_hops(begin_hops(48_000, 2), np.zeros((4800, 2), np.float32))
    finish_hops(state)
    state.loops.unpack_24(np.frombuffer(bytes(12), np.uint32), np.empty(4, np.float32))


if __name__ == "__main__":
    warm()
