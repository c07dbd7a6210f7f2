"""Laws of the fold of dropouts: any cutting gives the same; silence before it shifts it; little is kept."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.sound.dropouts import begin_dropouts, finish_dropouts, step_dropouts

EDGES_HZ = (1000.0, 4000.0, 6000.0, 8500.0, 11_500.0, 15_000.0, 20_000.0)


def powers(seed: int, count: int) -> np.ndarray:
    """Band powers of noise (gamma of three degrees) with holes of 20 dB in one channel."""
    rng = np.random.default_rng(seed)
    made = rng.gamma(4.0, 1e-7, (count, 2, 6))
    for at in range(700, count - 100, 900):
        made[at : at + rng.integers(8, 60), rng.integers(2)] *= 0.01
    return made.astype(np.float32)


def heard(frames: np.ndarray, cuts: list[int]):
    state = begin_dropouts(2, EDGES_HZ, 0.001)
    for piece in np.split(frames, sorted(cuts)):
        state = step_dropouts(state, piece)
    return finish_dropouts(state), state


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**16), count=st.integers(1, 6000), cuts=st.lists(st.integers(0, 6000), max_size=10))
def test_any_cutting_gives_the_same(seed, count, cuts):
    frames = powers(seed, count)
    one, other = heard(frames, [])[0], heard(frames, [min(cut, count) for cut in cuts])[0]
    assert one == other


def test_the_holes_laid_in_are_found():
    """One every 900 frames from 700 on, as long as at least 100 frames follow."""
    assert len(heard(powers(3, 10_000), [])[0]) == len(range(700, 9900, 900))


def test_what_is_kept_does_not_grow():
    """Ten minutes: three seconds of frames and ten seconds of the floor stay."""
    state = heard(powers(4, 60_000), list(range(0, 60_000, 1000)))[1]
    assert len(state.powers) < 3500 and len(state.floor.means) <= 500 and len(state.steps.at) < 3000


def test_what_was_found_is_never_taken_back():
    frames, before = powers(5, 12_000), ()
    state = begin_dropouts(2, EDGES_HZ, 0.001)
    for at in range(0, len(frames), 250):
        state = step_dropouts(state, frames[at : at + 250])
        assert state.found[: len(before)] == before
        before = state.found
    assert before and set(before) <= set(finish_dropouts(state))
