"""Hum and speed. Truth by construction: families of sines of known level and frequency under programme of other kinds.

Targets of the check values, part 4, faults 3 and 8: level within 0.3 dB and always the right family where the line is
10 dB over the noise in 1 Hz; the line within 1 mHz at 60 s; two lines split when more than 2 / T apart.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from make.listening import listened
from make.sound import db, gated, hiss, side, talk, tone, tune, write
from make.sound_hum import family_rms_dbfs, held_notes, hum, pedal

from takeup.measure.sound.hum import Hum, begin_hum, finish_hum, step_hum
from takeup.measure.sound.thin import begin_thin, finish_thin, step_thin
from takeup.media.probe import look_at
from takeup.streams import Original, Report
from takeup.tables.loader import load_rows
from takeup.tasks.check_sound import check_sound
from takeup.tasks.checking import Asked

RATE = 48_000


def heard(samples: np.ndarray, rate: int = RATE) -> Hum:
    thin = begin_thin(rate, samples.shape[1])
    state = begin_hum(thin.thin_rate_hz)
    for at in range(0, len(samples), rate):
        thin, some = step_thin(thin, samples[at : at + rate].astype(np.float32))
        state = step_hum(state, some)
    found = finish_hum(step_hum(state, finish_thin(thin)))
    assert found is not None
    return found


def within_scale(samples: np.ndarray) -> np.ndarray:
    return samples * min(1.0, 0.9 / max(np.abs(samples).max(), 1e-9))


def check(samples: np.ndarray, **asked) -> Report:
    """Everything but what cannot bear on hum."""
    return listened(within_scale(samples), deeper="thin", **asked)


def check_file(folder: Path, samples: np.ndarray, **asked) -> Report:
    path = write(folder / "a.wav", within_scale(samples))
    return check_sound(path, look_at(path), Asked(original=Original(id="t1", carrier="cassette"), **asked), load_rows())


@cache
def clean(kind: str, seconds: float = 20) -> np.ndarray:
    rng = np.random.default_rng(sum(map(ord, kind)))
    if kind == "noise":
        return hiss(rng, -58, round(seconds * RATE))
    programme = {"talk": talk, "tune": tune, "gated": lambda *how: gated(*how)[0]}[kind](rng, seconds)
    return side(programme, rng)


def on_tape(kind: str, family: np.ndarray) -> np.ndarray:
    """Hum that is in the tape: not in the two seconds of leader at both ends."""
    family = family.copy()
    if kind != "noise":
        family[: 2 * RATE] = family[-2 * RATE :] = 0
    return clean(kind) + family


KINDS = ["noise", "talk", "tune", "gated"]


# The measure on arrays


@pytest.mark.parametrize("seconds, within_mhz", [(10, 12.0), (60, 1.0)])
def test_a_line_10_db_over_the_noise_in_1_hz_is_found_where_it_stands(seconds, within_mhz):
    """White noise of s^2 = 1e-6 holds s^2 / 24000 in each hertz. The bound at 60 s is 0.27 mHz, at 10 s 3.8 (three of
    them are 11.5). Its level within 0.3 dB at 60 s; at 10 s chance alone is 0.6 dB, so only the frequency is held."""
    level = 10 * np.log10(1e-6 / (RATE / 2) * 10)
    for seed in range(4):
        rng = np.random.default_rng(seed)
        hz = rng.choice([50, 60]) * (1 + rng.uniform(-0.02, 0.02))
        family = hum(rng, hz, seconds * RATE, levels_dbfs={1: level + 3.0103}, channels=1)
        lines = heard(family + hiss(rng, -60, seconds * RATE, 1)).lines
        assert len(lines) == 1
        assert abs(lines[0].hz - hz) * 1000 <= within_mhz
        if seconds == 60:
            assert lines[0].dbfs == pytest.approx(level, abs=0.5)


def test_the_level_of_a_line_10_db_over_the_noise_in_1_hz_is_right_on_the_average():
    """Chance moves one reading at 60 s by 0.25 dB RMS; the mean of six must lie within the target of 0.3 dB."""
    level, apart = 10 * np.log10(1e-6 / (RATE / 2) * 10), []
    for seed in range(6):
        rng = np.random.default_rng(100 + seed)
        family = hum(rng, 49.7, 60 * RATE, levels_dbfs={1: level + 3.0103}, channels=1)
        apart.append(heard(family + hiss(rng, -60, 60 * RATE, 1)).lines[0].dbfs - level)
    assert abs(np.mean(apart)) <= 0.3


@pytest.mark.parametrize("rate", [8000, 11_025, 44_100, 96_000])
def test_level_and_frequency_hold_at_every_rate(rate):
    rng = np.random.default_rng(rate)
    family = hum(rng, 59.3, 12 * rate, rate)
    line = heard(family + hiss(rng, -70, 12 * rate), rate).lines[0]
    assert line.dbfs == pytest.approx(family_rms_dbfs(), abs=0.1)
    assert line.hz == pytest.approx(59.3, abs=0.002)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("hz", [49.05, 50.0, 50.95, 58.9, 60.0, 61.1])
def test_the_family_is_right_under_any_programme(kind, hz):
    """A tune's own notes may form a louder family: the judge leaves that out, here the hum's only has to be there. Its
    notes lie some 20 dB over the hum's harmonics, which cannot always be told then: 1.5 dB."""
    rng = np.random.default_rng(round(hz * 100))
    lines = heard(clean(kind) + hum(rng, hz, len(clean(kind)))).lines
    line = min(lines, key=lambda one: abs(one.hz - hz)) if kind == "tune" else lines[0]
    assert line.hz == pytest.approx(hz, abs=0.004)
    assert line.dbfs == pytest.approx(family_rms_dbfs(), abs=1.5 if kind == "tune" else 0.3)


@pytest.mark.parametrize("apart_hz", [0.06, 0.2, 0.9, 2.0])
def test_two_lines_farther_apart_than_two_over_the_time_are_two(apart_hz):
    """40 s: 2 / T is 50 mHz."""
    rng = np.random.default_rng(7)
    count = 40 * RATE
    samples = hiss(rng, -60, count) + hum(rng, 50.0, count)
    samples += hum(rng, 50.0 + apart_hz, count, levels_dbfs={1: -55.0, 3: -60.0})
    lines = sorted(heard(samples).lines, key=lambda line: line.hz)
    assert [line.hz for line in lines] == pytest.approx([50.0, 50.0 + apart_hz], abs=0.002)
    assert lines[1].dbfs == pytest.approx(family_rms_dbfs({1: -55.0, 3: -60.0}), abs=0.4)


def test_a_line_is_found_where_an_independent_spectrum_shows_it():
    """SciPy's periodogram of the whole capture, padded, as the second computation."""
    from scipy.signal import decimate, periodogram

    rng = np.random.default_rng(3)
    samples = clean("gated") + hum(rng, 51.234, len(clean("gated")), levels_dbfs={1: -45.0})
    slow = decimate(decimate(decimate(samples[:, 0], 8), 8), 5)
    hz, power = periodogram(slow, RATE / 320, "hann", nfft=2**18)
    near = (hz > 45) & (hz < 66)
    assert heard(samples).lines[0].hz == pytest.approx(hz[near][power[near].argmax()], abs=0.003)


def test_wow_on_the_line_leaves_its_mean_and_its_level():
    """0.2 % at 0.7 Hz. The third harmonic's own sidebands lie outside: up to 0.5 dB of the family are lost in them."""
    rng = np.random.default_rng(5)
    line = heard(hiss(rng, -60, 40 * RATE) + hum(rng, 60.6, 40 * RATE, wow_share=0.002)).lines[0]
    assert line.hz == pytest.approx(60.6, abs=0.003)
    assert line.dbfs == pytest.approx(family_rms_dbfs(), abs=0.5)


# Through the whole check


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("mains, hz", [(50, 50.0), (50, 49.98), (60, 60.0), (60, 60.02)])
def test_the_stations_hum_is_worth_another_try(kind, mains, hz):
    rng = np.random.default_rng(mains)
    report = check(clean(kind) + hum(rng, hz, len(clean(kind))), mains_hz=mains)
    measured = report.measures["mains_hum"]
    assert measured.extra["from"] == "station" and measured.extra["hz"] == pytest.approx(hz, abs=0.005)
    found = [finding for finding in report.findings if finding.name == "hum"]
    assert [(one.verdict, one.again) for one in found] == [("redo", "helps")]
    speed = report.measures["speed_error"]
    assert speed.value is None and speed.why == "sound.station-line"


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("error", [-0.02, -0.008, 0.013, 0.04])
@pytest.mark.parametrize("mains", [50, 60])
def test_speed_is_told_by_the_hum_that_the_tape_brought_along(kind, error, mains):
    rng = np.random.default_rng(round(error * 1e4) % 100)
    report = check(on_tape(kind, hum(rng, mains * (1 + error), len(clean(kind)))))
    speed = report.measures["speed_error"]
    assert speed.value == pytest.approx(100 * error, abs=0.01)
    assert speed.extra["low"] < 100 * error < speed.extra["high"]
    assert speed.extra["high"] - speed.extra["low"] == pytest.approx(0.8, abs=0.1)
    assert report.measures["mains_hum"].extra["from"] == "tape"
    hums = [(one.verdict, one.again) for one in report.findings if one.name == "hum"]
    assert hums in ([("look", "no")], [])
    off = [one.verdict for one in report.findings if one.name == "off_speed"]
    assert off == (["look"] if abs(error) >= 0.01 else [])


def test_hum_at_the_labs_mains_that_is_not_in_the_leader_is_the_tapes():
    rng = np.random.default_rng(4)
    report = check(on_tape("talk", hum(rng, 50.0, len(clean("talk")))))
    assert report.measures["mains_hum"].extra["from"] == "tape"
    assert report.measures["speed_error"].value == pytest.approx(0, abs=0.01)


def test_a_line_at_the_other_mains_is_the_tapes(tmp_path):
    rng = np.random.default_rng(4)
    report = check_file(tmp_path, clean("gated") + hum(rng, 60.0, len(clean("gated"))), mains_hz=50)
    assert report.measures["mains_hum"].extra["from"] == "tape"
    assert report.measures["speed_error"].value == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("played, says", [(0.5, "off_speed.half"), (2.0, "off_speed.double")])
def test_half_and_double_speed_need_the_mains_of_the_recording(played, says):
    rng = np.random.default_rng(6)
    samples = on_tape("talk", hum(rng, 50.2 * played, len(clean("talk"))))
    report = check(samples, recorded_mains_hz=50)
    assert report.measures["speed_error"].value == pytest.approx(100 * (1.004 * played - 1), abs=0.01)
    found = [finding for finding in report.findings if finding.name == "off_speed"]
    assert [(one.says, one.verdict, one.again) for one in found] == [(says, "redo", "helps")]
    unknown = check(samples)
    assert unknown.measures["speed_error"].value is None and "off_speed" not in {one.name for one in unknown.findings}


def test_twice_the_mains_alone_tells_no_speed():
    """A rectifier's hum: 100, 200, 300 Hz, each weaker than the one before."""
    rng = np.random.default_rng(6)
    family = hum(rng, 100.9, len(clean("talk")), levels_dbfs={1: -50.0, 2: -58.0, 3: -64.0})
    report = check(on_tape("talk", family), recorded_mains_hz=50)
    assert report.measures["speed_error"].value is None
    assert report.measures["speed_error"].why == "sound.twice-mains"


def test_hum_far_under_the_noise_is_measured_and_no_finding():
    """RMS of -75 dBFS under hiss of -58: a tone nobody hears."""
    rng = np.random.default_rng(9)
    report = check(clean("talk") + hum(rng, 50.0, len(clean("talk")), levels_dbfs={1: -72.0}))
    assert report.measures["mains_hum"].value == pytest.approx(-75, abs=0.4)
    assert "hum" not in {finding.name for finding in report.findings}


# Nothing to find


def in_hiss(programme: np.ndarray, seed: int = 1) -> np.ndarray:
    return side(programme, np.random.default_rng(seed))


@cache
def music() -> np.ndarray:
    return tune(np.random.default_rng(11), 25)[: 25 * RATE]


CONTROLS = {
    "talk": lambda rng: clean("talk"),
    "tune": lambda rng: clean("tune"),
    "gated": lambda rng: clean("gated"),
    "hiss": lambda rng: clean("noise"),
    "bass G1": lambda rng: in_hiss(held_notes(rng, 25, (49.0,))),
    "bass B1 held for 4 s": lambda rng: in_hiss(held_notes(rng, 25, (61.74,), hold_s=4)),
    "bass under a tune": lambda rng: in_hiss(music()[:, 0] + held_notes(rng, 25, (49.0, 51.9, 55.0, 61.74))),
    "pedal of 50 Hz": lambda rng: in_hiss(pedal(25, 50.0)),
    "pedal of 49 Hz under a tune": lambda rng: in_hiss(pedal(25, 49.0) + music()[:, 0]),
    "pedal of 61.74 Hz to the ends": lambda rng: db(-24) * pedal(25, 61.74)[:, None] + hiss(rng, -58, 25 * RATE),
    "drone of 55 Hz to the ends": lambda rng: (
        db(-24) * (pedal(25, 55.0)[:, None] + music()) + hiss(rng, -58, 25 * RATE)
    ),
    "tune to the ends": lambda rng: db(-24) * music() + hiss(rng, -58, 25 * RATE),
    "tone of 1 kHz": lambda rng: tone(1000, -20, 20) + hiss(rng, -60, 20 * RATE),
    "tone of 63 Hz": lambda rng: tone(63, -20, 20) + hiss(rng, -60, 20 * RATE),
}


@pytest.mark.parametrize("control", CONTROLS)
def test_music_and_speech_are_no_hum(control):
    samples = CONTROLS[control](np.random.default_rng(11))
    report = check(samples)
    assert report.measures["mains_hum"].value is None and report.measures["mains_hum"].why
    assert report.measures["speed_error"].value is None and report.measures["speed_error"].why
    assert not {"hum", "off_speed"} & {finding.name for finding in report.findings}


def test_digital_silence_and_a_short_file_say_why(tmp_path):
    silent = check_file(tmp_path, np.zeros((10 * RATE, 2)))
    assert silent.measures["mains_hum"].why == "sound.silent"
    short = check_file(tmp_path, tone(50, -30, 1.0))
    assert short.measures["mains_hum"].why == "sound.short"
