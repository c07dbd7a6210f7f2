"""Tops that were cut, then resampled and turned down: told by flatness and corners. Round tops are left alone.

Truth by construction; SciPy resamples in two ways (a polyphase filter; the Fourier transform), libav in a third.
Limits: fewer than six flat tops, tops shorter than six samples at 48 kHz and broad noise say nothing (decision 0067).
"""

from __future__ import annotations

import av
import numpy as np
import pytest
from make.listening import listened
from make.sound import hiss, side, talk, tone, tune
from scipy import signal
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from takeup.judge.sound_clipping import judge_flat_tops
from takeup.measure.sound.hops import begin_hops, step_hops
from takeup.measure.sound.tops import begin_tops, finish_tops, step_tops
from takeup.streams import SoundStream
from takeup.tables.loader import load_rows


def told(samples, rate):
    """What the flat tops alone tell of this sound."""
    samples = np.round(samples * 2**23).astype(np.float32) / np.float32(2**23)
    state, hops = step_hops(begin_hops(rate, samples.shape[1]), samples)
    tops = step_tops(begin_tops(rate, samples.shape[1], state.hop), samples, hops)
    stream = SoundStream(
        codec="pcm_s24le", rate_hz=rate, channels=samples.shape[1], bits=24, lossy=False, seconds_stated=None
    )
    return judge_flat_tops(finish_tops(tops, 200), (), state.hop_s, stream, load_rows())


def programme(kind, rng, seconds, rate):
    """Peak 1."""
    made = {
        "talk": lambda: side(talk(rng, seconds, rate), rng, rate),
        "tune": lambda: side(tune(rng, seconds, rate), rng, rate),
        "sine": lambda: tone(440, 0, seconds, rate) + hiss(rng, -60, round(seconds * rate)),
    }[kind]()
    return made / np.abs(made).max()


def polyphase(samples, rate, new):
    common = np.gcd(rate, new)
    return signal.resample_poly(samples, new // common, rate // common)


def fourier(samples, rate, new):
    return signal.resample(samples, round(len(samples) * new / rate))


def by_libav(samples, rate, new):
    resampler = av.AudioResampler(format="fltp", layout="stereo", rate=new)
    frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T, np.float32), format="fltp", layout="stereo")
    frame.sample_rate = rate
    frames = [*resampler.resample(frame), *resampler.resample(None)]
    return np.concatenate([one.to_ndarray() for one in frames], axis=1).T.astype(float)


@pytest.mark.parametrize("resample", [polyphase, fourier, by_libav])
@pytest.mark.parametrize("rate, new", [(96_000, 48_000), (48_000, 44_100), (44_100, 96_000)])
@pytest.mark.parametrize("kind, over", [("tune", 3), ("sine", 1.3)])
def test_cut_tops_are_told_after_resampling_with_their_height(resample, rate, new, kind, over):
    """Height to 0.05 dB (check values, part 4, fault 1)."""
    rng = np.random.default_rng(rate + new)
    cut = np.clip(programme(kind, rng, 8, rate) * over, -1, 1)
    found = told(resample(cut, rate, new) * 0.4, new)
    assert found
    assert all(one.says == "clipping.changed-later" and one.verdict == "redo" for one in found)
    assert [one.facts["level_db"] for one in found] == pytest.approx([20 * np.log10(0.4)] * len(found), abs=0.05)


def test_the_tone_of_the_check_values_is_told_after_halving_rate_and_level():
    """clip(0.9 sin, 0.7) at 997 Hz without any noise, halved, 96 to 48 kHz; 0.35 of full scale is -9.12 dB."""
    cut = np.clip(tone(997, 20 * np.log10(0.9), 5, 96_000), -0.7, 0.7)
    (found,) = told(polyphase(cut * 0.5, 96_000, 48_000), 48_000)
    assert found.facts["level_db"] == pytest.approx(-9.12, abs=0.05)


@pytest.mark.parametrize("kind", ["talk", "tune", "sine"])
@pytest.mark.parametrize("resampled", [False, True])
def test_round_tops_are_left_alone(kind, resampled):
    """As it is; tanh(3x)/3; harder on one side than on the other; a limiter with 5 ms of look-ahead."""
    rate = 48_000
    made = programme(kind, np.random.default_rng(len(kind)), 6, rate)
    loud, reach = made * 3, rate // 200
    gain = np.minimum(1, 0.7 / np.maximum(maximum_filter1d(np.abs(loud).max(axis=1), 2 * reach + 1), 1e-9))
    for samples in (
        made * 0.98,
        np.tanh(3 * made) / 3,
        np.where(made > 0, np.tanh(2 * made) / 2, np.tanh(4 * made) / 4),
        loud * uniform_filter1d(gain, reach)[:, None],
    ):
        heard = polyphase(samples, rate, 44_100) * 0.9 if resampled else samples
        assert told(heard, 44_100 if resampled else rate) == []


@pytest.mark.parametrize("hz", [110, 440, 880])
@pytest.mark.parametrize("shape", ["odd", "softened", "organ"])
def test_hard_tones_under_hiss_are_left_alone(hz, shape):
    """Square waves of few and of many partials, one through a filter, and an organ of equal partials."""
    rng = np.random.default_rng(hz)
    at = np.arange(4 * 48_000) / 48_000
    partials = np.arange(1, int(20_000 / hz))
    if shape == "odd":
        wave = sum(np.sin(2 * np.pi * hz * k * at) / k for k in partials[::2]) / 2
    elif shape == "softened":
        wave = signal.sosfilt(signal.butter(2, 4000, fs=48_000, output="sos"), np.sign(np.sin(2 * np.pi * hz * at))) / 2
    else:
        wave = sum(np.sin(2 * np.pi * hz * k * at + rng.uniform(0, 6)) for k in partials[:12]) / 13
    assert told(wave[:, None] + hiss(rng, -60, len(at), 1), 48_000) == []


def test_a_check_tells_it_once_and_where():
    """A tape whose seconds 8 to 12 were too loud for the input; then 96 to 48 kHz. First and last: the longer runs."""
    rng = np.random.default_rng(5)
    loud = tune(rng, 20, 96_000) * 0.1
    loud[8 * 96_000 : 12 * 96_000] *= 6
    cut = np.clip(loud + hiss(rng, -60, len(loud)), -0.8, 0.8)
    report = listened(polyphase(cut, 96_000, 48_000))
    found = [one for one in report.findings if one.name == "clipping"]
    assert report.verdict == "redo" and {one.says for one in found} == {"clipping.changed-later"}
    stuck = [side >= 0.8 for side in (*cut.T, *-cut.T)]
    edges = [np.flatnonzero(np.diff(np.concatenate([[0], side, [0]]))).reshape(-1, 2) for side in stuck]
    longer = np.concatenate([one[one[:, 1] - one[:, 0] >= 24] for one in edges]) / 96_000  # twelve at 48 kHz
    assert min(one.from_s for one in found) == pytest.approx(longer.min(), abs=0.3)
    assert max(one.to_s for one in found) == pytest.approx(longer.max(), abs=0.3)
    assert sum(one.value for one in found) <= 0.5 * np.sum(stuck)  # half the samples are left at half the rate
