"""Law of the fold of faint echoes: any cutting into pieces gives the same bits."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.sound.echo import begin_echo, finish_echo, step_echo


def through(samples: np.ndarray, rate: float, cuts: list[int]):
    state = begin_echo(rate, samples.shape[1])
    for piece in np.split(samples, sorted(cuts)):
        state = step_echo(state, piece)
    return finish_echo(state)


@settings(max_examples=15, deadline=None)
@given(
    rate=st.sampled_from([8000.0, 11_025.0, 12_000.0]),
    seed=st.integers(0, 999),
    count=st.integers(1, 200_000),
    channels=st.sampled_from([1, 2, 3]),
    cuts=st.lists(st.integers(0, 200_000), max_size=8),
)
def test_cutting_a_capture_into_pieces_changes_no_bit_of_the_map(rate, seed, count, channels, cuts):
    rng = np.random.default_rng(seed)
    loud = np.repeat(10.0 ** rng.uniform(-5, 0, count // 3000 + 1), 3000)[:count, None]
    samples = (loud * rng.standard_normal((count, channels))).astype(np.float32)
    one, other = through(samples, rate, []), through(samples, rate, [min(cut, count) for cut in cuts])
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        assert np.array_equal(one.found, other.found)
        assert np.array_equal(one.squares, other.squares) and np.array_equal(one.gains, other.gains)
