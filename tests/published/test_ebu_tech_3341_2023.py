"""EBU Tech 3341 (v4, November 2023) Table 1: loudness and true-peak signals that text describes fully.

Levels and expectations as three public test suites cite them (grade: secondary). Tolerances are the document's: 0.1 LU;
+0.2 / -0.4 dB for true peaks. Cases 7 and 8 are programme files of the EBU and are not made here.
"""

from __future__ import annotations

import numpy as np
import pytest
from make.meter import RATE, Steps, energy_of, staircase
from make.sound import db

from takeup.measure.sound import loudness
from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops

INTEGRATED: dict[str, Steps] = {
    "1": [(-23, 20)],
    "2": [(-33, 20)],
    "3": [(-36, 10), (-23, 60), (-36, 10)],
    "4": [(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)],
    "5": [(-26, 20), (-20, 20.1), (-26, 20)],
}


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("case", INTEGRATED)
def test_integrated_loudness_of_tones(case, rate):
    """table-1/case-1 to 5."""
    energy = energy_of(staircase(INTEGRATED[case], rate), rate)
    wanted = -33.0 if case == "2" else -23.0
    assert loudness.integrated(energy) == pytest.approx(wanted, abs=0.1)
    if case in ("1", "2"):
        assert loudness.momentary(energy)[100:] == pytest.approx(wanted, abs=0.1)
        assert loudness.short_term(energy) == pytest.approx(wanted, abs=0.1)


def test_integrated_loudness_of_five_channels():
    """table-1/case-6: left and right -28, centre -24, surrounds -30 dBFS."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(20 * RATE) / RATE)
    five = np.stack([tone * db(level) for level in (-28, -28, -24, -30, -30)], axis=1)
    assert loudness.integrated(energy_of(five)) == pytest.approx(-23.0, abs=0.1)


def test_short_term_is_steady_over_a_pattern():
    """table-1/case-9."""
    short = loudness.short_term(energy_of(staircase([(-20, 1.34), (-30, 1.66)] * 5)))
    assert short == pytest.approx(-23.0, abs=0.1)


def test_momentary_is_steady_over_a_pattern():
    """table-1/case-12."""
    momentary = loudness.momentary(energy_of(staircase([(-20, 0.18), (-30, 0.22)] * 25)))
    assert momentary[60:] == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(20))
def test_short_term_maximum_wherever_it_begins(i):
    """table-1/case-10."""
    energy = energy_of(staircase([(-300, i * 0.15), (-23, 3), (-300, 1)]))
    assert loudness.short_term(energy).max() == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(20))
def test_momentary_maximum_wherever_it_begins(i):
    """table-1/case-13: a meter that looks every 100 ms reads up to 0.45 LU low here."""
    energy = energy_of(staircase([(-300, i * 0.02), (-23, 0.4), (-300, 1)]))
    assert loudness.momentary(energy).max() == pytest.approx(-23.0, abs=0.1)


def test_short_term_and_momentary_maxima_follow_twenty_levels():
    """table-1/cases-11 and 14, live meters: the maxima in turn, -38 to -19."""
    for i in range(20):
        slow = energy_of(staircase([(-300, i * 0.15), (-38 + i, 3), (-300, 3 - i * 0.15)]))
        quick = energy_of(staircase([(-300, i * 0.02), (-38 + i, 0.4), (-300, 0.4 - i * 0.02)]))
        assert loudness.short_term(slow).max() == pytest.approx(-38 + i, abs=0.1)
        assert loudness.momentary(quick).max() == pytest.approx(-38 + i, abs=0.1)


def true_peak_of(wave: np.ndarray, rate: int = RATE) -> float:
    samples = np.repeat(wave[:, None], 2, axis=1).astype(np.float32)
    state, _ = step_hops(begin_hops(rate, 2), samples)
    return 20 * np.log10(finish_hops(state).peak[-1].max())


def faded(wave: np.ndarray, rate: int = RATE) -> np.ndarray:
    """10 ms fades at both ends, as the document asks."""
    ramp = np.linspace(0, 1, round(0.01 * rate))
    wave = wave.copy()
    wave[: len(ramp)] *= ramp
    wave[-len(ramp) :] *= ramp[::-1]
    return wave


TRUE_PEAKS = {  # case: (d of fs / d, amplitude, phase in degrees, expected dBTP)
    "15": (4, 0.50, 0.0, -6.0),
    "16": (4, 0.50, 45.0, -6.0),
    "17": (6, 0.50, 60.0, -6.0),
    "18": (8, 0.50, 67.5, -6.0),
    "19": (4, 1.41, 45.0, 3.0),
}


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("case", TRUE_PEAKS)
def test_true_peak_of_a_tone(case, rate):
    """table-1/case-15 to 19. Ours is closer than the document asks: 0.02 dB of the amplitude itself."""
    d, amplitude, phase, wanted = TRUE_PEAKS[case]
    wave = faded(amplitude * np.sin(2 * np.pi * np.arange(rate) / d + np.deg2rad(phase)), rate)
    found = true_peak_of(wave, rate)
    assert wanted - 0.4 <= found <= wanted + 0.2
    assert found == pytest.approx(20 * np.log10(amplitude), abs=0.02)


def test_true_peak_is_the_same_at_four_offsets():
    """table-1/case-20 to 23 in our own making: the text leaves splice and filter open, so only consistency is asked."""
    from scipy.signal import firwin, lfilter

    high = 4 * RATE
    at = np.arange(high // 10)
    wave = 0.5 * np.sin(2 * np.pi * at / 24)
    middle, one = len(at) // 2 // 24 * 24, 16
    wave[middle : middle + one] = np.sin(2 * np.pi * np.arange(one) / 16)
    wave = lfilter(firwin(401, 0.9 * RATE / 2, fs=high), 1, wave)
    found = [true_peak_of(wave[offset::4]) for offset in range(4)]
    assert max(found) - min(found) < 0.1
