"""Laws of the three streams that the deeper listening stands on: cutting changes no bit, levels and times are true."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.sound.fine import begin_fine, finish_fine, step_fine
from takeup.measure.sound.thin import begin_thin, finish_thin, step_thin
from takeup.measure.sound.windows import begin_windows, step_windows

RATES = (8000, 44_100, 48_000, 96_000, 192_000)


def through(begin, step, finish, rate: int, samples: np.ndarray, cuts: list[int]) -> np.ndarray:
    state, made = begin(rate, samples.shape[1]), []
    for piece in np.split(samples, sorted(cuts)):
        state, out = step(state, piece)
        made.append(out)
    return np.concatenate([*made, finish(state)])


@settings(max_examples=25, deadline=None)
@given(
    rate=st.sampled_from(RATES),
    seed=st.integers(0, 999),
    count=st.integers(1, 30_000),
    cuts=st.lists(st.integers(0, 30_000), max_size=8),
)
def test_cutting_a_capture_into_blocks_changes_no_bit_of_any_stream(rate, seed, count, cuts):
    samples = np.random.default_rng(seed).standard_normal((count, 2)).astype(np.float32)
    cuts = [min(cut, count) for cut in cuts]
    for begin, step, finish in ((begin_thin, step_thin, finish_thin), (begin_fine, step_fine, finish_fine)):
        assert np.array_equal(
            through(begin, step, finish, rate, samples, []), through(begin, step, finish, rate, samples, cuts)
        )
    found = []
    for some in ([], cuts):
        state, spectra = begin_windows(rate), []
        for piece in np.split(samples, sorted(some)):
            state, windows = step_windows(state, piece)
            spectra += [] if windows is None else [windows.spectra]
        found.append(np.concatenate(spectra) if spectra else np.empty(0))
    assert np.array_equal(*found)


@pytest.mark.parametrize("rate", RATES)
def test_the_thin_stream_keeps_a_tone_of_one_kilohertz_in_level_and_in_time(rate):
    """A sine of one kilohertz lies far under every thin rate's corner: the thin stream is that sine again."""
    at = np.arange(2 * rate) / rate
    samples = np.sin(2 * np.pi * 1000 * at)[:, None].astype(np.float32)
    thin = through(begin_thin, step_thin, finish_thin, rate, samples, [777])
    state = begin_thin(rate, 1)
    wanted = np.sin(2 * np.pi * 1000 * np.arange(len(thin)) / state.thin_rate_hz)
    assert len(thin) == -(-len(samples) // state.step)
    assert np.abs(thin[200:-200, 0] - wanted[200:-200]).max() < 3e-4


@pytest.mark.parametrize("rate", RATES[1:])
def test_the_thin_stream_folds_nothing_back_from_above_its_rate(rate):
    """A tone at 0.8 of the thin rate would come back at 0.2 of it: it must be 60 dB down."""
    state = begin_thin(rate, 1)
    if state.step == 1:
        return
    samples = np.sin(2 * np.pi * 0.8 * state.thin_rate_hz * np.arange(rate) / rate)[:, None].astype(np.float32)
    thin = through(begin_thin, step_thin, finish_thin, rate, samples, [])
    assert np.abs(thin[200:-200]).max() < 1e-3


@pytest.mark.parametrize("rate", RATES[1:])
def test_white_noise_shares_its_power_among_the_fine_bands_by_their_width(rate):
    """Variance s^2 spreads evenly up to half the rate: a band of B hertz holds s^2 B / (rate / 2)."""
    noise = 0.01 * np.random.default_rng(5).standard_normal((4 * rate, 1)).astype(np.float32)
    state = begin_fine(rate, 1)
    powers = through(begin_fine, step_fine, finish_fine, rate, noise, [])[10:-10, 0].mean(axis=0)
    wanted = 1e-4 * np.diff(state.edges_hz) / (rate / 2)
    assert np.abs(10 * np.log10(powers / wanted)).max() < 0.35  # bins of 500 Hz fall to one side of an edge


def test_a_click_stands_in_the_fine_hop_of_its_own_time():
    samples = np.zeros((48_000, 1), np.float32)
    samples[24_000] = 1.0
    powers = through(begin_fine, step_fine, finish_fine, 48_000, samples, [])
    assert powers[:, 0].sum(axis=1).argmax() == 500
