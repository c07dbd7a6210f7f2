"""ITU-R BS.1770-5 (2023) Annex 1: K-weighting coefficients and gating (grade: secondary, transcriptions agree)."""

from __future__ import annotations

import numpy as np
import pytest
from make.meter import energy_of
from make.sound import hiss, side, tone, tune

from takeup.measure.sound import loudness
from takeup.measure.sound.weighting import channel_weights, k_weighting

TABLE_1 = [1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585]
TABLE_2 = [1.0, -2.0, 1.0, -1.99004745483398, 0.99007225036621]


def gain_db(stages: np.ndarray, hz: float, rate: float) -> float:
    """Hand arithmetic: the product of both transfer functions on the unit circle."""
    z = np.exp(-2j * np.pi * hz / rate)
    value = 1.0
    for b0, b1, b2, a1, a2 in stages:
        value *= (b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)
    return 20 * np.log10(abs(value))


def test_coefficients_at_48_khz_are_those_of_tables_1_and_2():
    stages = k_weighting(48_000)
    assert stages[0] == pytest.approx(TABLE_1, abs=1e-8)
    assert stages[1] == pytest.approx(TABLE_2, abs=1e-8)


@pytest.mark.parametrize("rate", [44_100, 96_000, 192_000])
def test_other_rates_weigh_as_48_khz_does(rate):
    """Second computation: the published 48 kHz table itself, 20 Hz to 20 kHz."""
    published = np.array([TABLE_1, TABLE_2])
    for hz in np.geomspace(20, 20_000, 60):
        wanted = gain_db(published, hz, 48_000)
        assert gain_db(k_weighting(rate), hz, rate) == pytest.approx(wanted, abs=0.35 if hz > 12_000 else 0.02)


@pytest.mark.parametrize("hz, wanted", [(997, -3.010), (1000, -3.004)])
def test_a_full_scale_tone_in_one_channel(hz, wanted):
    """-3.010 LUFS at 997 Hz (BS.1770), -3.004 at 1000 Hz (calculated from the table)."""
    energy = energy_of(tone(hz, 0.0, 5, channels=1))
    assert loudness.integrated(energy) == pytest.approx(wanted, abs=0.005)


def test_the_same_tone_in_two_channels_is_three_decibels_more():
    one, two = (loudness.integrated(energy_of(tone(1000, -18, 5, channels=count))) for count in (1, 2))
    assert two == pytest.approx(-18.0, abs=0.1)
    assert two - one == pytest.approx(3.0103, abs=0.001)


def test_low_effects_are_left_out_and_surrounds_weigh_more():
    assert list(channel_weights(6)) == [1, 1, 1, 0, 1.41, 1.41]


def test_loudness_agrees_with_an_independent_meter():
    """pyloudnorm reads 0.02 to 0.04 LU low by its own filter design (check values, part 7)."""
    import pyloudnorm

    rng = np.random.default_rng(11)
    samples = side(tune(rng, 20), rng)
    own = loudness.integrated(energy_of(samples))
    assert own == pytest.approx(pyloudnorm.Meter(48_000).integrated_loudness(samples), abs=0.06)


def test_nothing_passes_the_absolute_gate():
    assert loudness.integrated(energy_of(hiss(np.random.default_rng(2), -90, 48_000))) is None
