"""Figures against truth by construction: noise floor, offset, balance, correlation, delay, what is left out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from make.listening import listened_to
from make.sound import db, gated, hiss, shaped, side, talk, tone, tune, write

from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops
from takeup.streams import Report

RATE = 48_000


def checked(folder: Path, samples: np.ndarray, rate: int = RATE, subtype: str = "PCM_24") -> Report:
    """Everything but what gives none of these figures."""
    return listened_to(write(folder / "a.wav", samples, rate, subtype))


def value(report, name):
    assert report.measures[name].value is not None, report.measures[name].why
    return report.measures[name].value


def test_noise_floor_of_pure_noise(tmp_path):
    """White noise of 1e-3: -60.00 dBFS; target 0.1 dB (check values, fault 11)."""
    report = checked(tmp_path, hiss(np.random.default_rng(1), -60, 30 * RATE))
    assert value(report, "noise_floor") == pytest.approx(-60, abs=0.1)


@pytest.mark.parametrize("hiss_dbfs", [-65, -60, -50])
def test_noise_floor_under_programme(tmp_path, hiss_dbfs):
    """Programme on nine tenths of the time; target 0.5 dB."""
    rng = np.random.default_rng(-hiss_dbfs)
    samples, on = gated(rng, 60, on_s=9.0, off_s=1.2)
    assert on.mean() > 0.8
    report = checked(tmp_path, side(samples, rng, hiss_dbfs=hiss_dbfs))
    assert value(report, "noise_floor") == pytest.approx(hiss_dbfs, abs=0.5)
    assert report.measures["noise_floor"].extra["at_most"] is False


def test_noise_floor_without_a_pause_is_at_most(tmp_path):
    rng = np.random.default_rng(3)
    report = checked(tmp_path, side(tune(rng, 15), rng))
    assert report.measures["noise_floor"].extra["at_most"] is True


@pytest.mark.parametrize("offset", [1e-4, -1e-4, 1e-3, -1e-3])
def test_offset_under_programme_and_under_silence(tmp_path, offset):
    rng = np.random.default_rng(4)
    loud = side(gated(rng, 30)[0], rng) + np.array([offset, offset / 3])
    quiet = hiss(rng, -80, 20 * RATE) + np.array([offset, 0])
    assert value(checked(tmp_path, loud, subtype="FLOAT"), "dc_offset") == pytest.approx(offset, abs=1e-5)
    assert value(checked(tmp_path, quiet, subtype="FLOAT"), "dc_offset") == pytest.approx(offset, abs=1e-6)


@pytest.mark.parametrize("balance", [-6.0, 0.0, 3.0, 12.0])
def test_balance_of_unequal_channels(tmp_path, balance):
    rng = np.random.default_rng(5)
    mono = talk(rng, 12)
    both = np.stack([mono, mono * db(-balance)], axis=1)
    report = checked(tmp_path, side(both, rng, hiss_dbfs=-75))
    assert value(report, "channel_balance") == pytest.approx(balance, abs=0.05)
    assert value(report, "channel_correlation") == pytest.approx(1.0, abs=0.01)


def test_correlation_of_independent_channels_is_nothing(tmp_path):
    rng = np.random.default_rng(6)
    both = np.stack([shaped(rng, 15 * RATE, -3, 50, 15_000, RATE) for _ in range(2)], axis=1)
    report = checked(tmp_path, side(both, rng))
    assert value(report, "channel_correlation") == pytest.approx(0.0, abs=0.05)
    assert report.measures["channel_delay"].value is None


@pytest.mark.parametrize("rate, snr, late", [(96_000, 20, 7.3), (48_000, 20, -21.0), (96_000, 10, 30.0)])
def test_delay_of_ten_seconds(tmp_path, rate, snr, late):
    """Common pink noise, the right channel delayed by an exact phase ramp, own noise each side; target 0.1 us."""
    rng = np.random.default_rng(abs(int(late * 10)))
    count = 12 * rate
    common = shaped(rng, count, -3.01, 20, 20_000, rate)
    ramp = np.exp(-2j * np.pi * np.fft.rfftfreq(count, 1 / rate) * late * 1e-6)
    both = np.stack([common, np.fft.irfft(np.fft.rfft(common) * ramp, count)], axis=1)
    both = 0.05 * (both + db(-snr) * np.stack([shaped(rng, count, -3.01, 20, 20_000, rate) for _ in range(2)], axis=1))
    report = checked(tmp_path, np.concatenate([both[rate:-rate], hiss(rng, -75, 6 * rate)]), rate)
    assert value(report, "channel_delay") == pytest.approx(late, abs=0.1)


def test_what_the_tape_does_not_hold_is_left_out_to_the_hundredth(tmp_path):
    """Zero 1 s, electronics 2 s, hiss 5 s, programme, hiss 6 s, electronics 3 s (check values, fault 6)."""
    rng = np.random.default_rng(8)
    programme = tune(rng, 15)
    samples = side(programme, rng, before_s=(2, 5), after_s=(6, 3), programme_dbfs=-25, leader_dbfs=-80)
    report = checked(tmp_path, np.concatenate([np.zeros((RATE, 2)), samples]))
    left = dict(report.left_out)
    assert left["digital_zero"] == pytest.approx(1.0, abs=0.02)
    assert left["leader"] == pytest.approx(5.0, abs=0.06)
    assert left["blank_tape"] == pytest.approx(11.0, abs=0.08)
    recorded = np.frombuffer(report.trace.recorded, np.uint8)
    assert recorded.sum() * report.trace.step_s == pytest.approx(15.0, abs=0.25)


def test_true_peak_agrees_with_interpolation_by_fourier(tmp_path):
    """Second computation: the whole signal interpolated 16 times in the frequency domain."""
    rng = np.random.default_rng(9)
    for _ in range(5):
        samples = shaped(rng, 2**15, -2, 100, 20_000, RATE) * np.hanning(2**15)
        samples = (0.2 * samples).astype(np.float32)
        state, _ = step_hops(begin_hops(RATE, 1), samples[:, None])
        spectrum = np.fft.rfft(samples)
        whole = np.fft.irfft(np.concatenate([spectrum, np.zeros(len(spectrum) * 15)]), 16 * 2**15) * 16
        found = 20 * np.log10(finish_hops(state).peak[-1].max() / np.abs(whole).max())
        assert found == pytest.approx(0.0, abs=0.03)


def test_figures_do_not_depend_on_the_container(tmp_path):
    rng = np.random.default_rng(10)
    samples = np.round(side(talk(rng, 8), rng) * 2**23) / 2**23
    reports = [
        listened_to(write(tmp_path / f"a{at}", samples, form=form, subtype="PCM_24"))
        for at, form in enumerate(("WAV", "RF64", "AIFF", "FLAC", "WAVEX"))
    ]
    for other in reports[1:]:
        assert dict(other.measures) == dict(reports[0].measures)


@pytest.mark.parametrize("rate", [8000, 11_025, 22_050, 44_100, 88_200, 192_000])
def test_loudness_of_a_tone_at_any_rate(tmp_path, rate):
    """1 kHz at -23 dBFS in both channels is -23 LUFS (Tech 3341, case 1)."""
    report = checked(tmp_path, tone(1000, -23, 5, rate), rate)
    assert value(report, "loudness") == pytest.approx(-23.0, abs=0.1 if rate >= 32_000 else 0.4)
