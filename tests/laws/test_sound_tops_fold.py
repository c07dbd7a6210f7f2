"""Laws of the fold of flat tops: any cutting into blocks finds the same; half the level is half the height."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.sound.hops import begin_hops, step_hops
from takeup.measure.sound.tops import begin_tops, finish_tops, step_tops


def flat_tops(samples: np.ndarray, rate: int, cuts: list[int]):
    state = begin_hops(rate, samples.shape[1])
    tops = begin_tops(rate, samples.shape[1], state.hop)
    for piece in np.split(samples, sorted(cuts)):
        state, hops = step_hops(state, piece)
        tops = step_tops(tops, piece, hops)
    return finish_tops(tops, 200)


def cut_tops(seed: int, count: int, channels: int) -> np.ndarray:
    """Two partials that drift against each other, cut; a little noise over all, so that no two samples are equal."""
    rng = np.random.default_rng(seed)
    at = np.arange(count)[:, None]
    wave = np.sin(at * rng.uniform(0.01, 0.05, channels)) + 0.5 * np.sin(at * rng.uniform(0.02, 0.11, channels))
    return (np.clip(wave, -0.8, 0.8) + 1e-6 * rng.standard_normal((count, channels))).astype(np.float32)


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 2**16),
    count=st.integers(1, 30_000),
    channels=st.sampled_from([1, 2, 3]),
    rate=st.sampled_from([8000, 48_000, 96_000]),
    cuts=st.lists(st.integers(0, 30_000), max_size=12),
)
def test_any_cutting_finds_the_same_tops(seed, count, channels, rate, cuts):
    samples = cut_tops(seed, count, channels)
    assert flat_tops(samples, rate, []) == flat_tops(samples, rate, [min(cut, count) for cut in cuts])


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 2**16))
def test_half_the_level_is_half_the_height(seed):
    samples = cut_tops(seed, 30_000, 2)
    one, other = flat_tops(samples, 48_000, []), flat_tops(samples / 2, 48_000, [])
    assert one is not None and other is not None
    assert other.level * 2 == pytest.approx(one.level, rel=1e-12)
    assert (one.tops, one.stretches[0].samples) == (other.tops, other.stretches[0].samples)
