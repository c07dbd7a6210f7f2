"""The same programme reads the same figures in whatever lossless form it comes, and near ones after a lossy coder."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from make.sound import side, talk
from make.sound_files import bw64, libav_file, soundfile_bytes

from sound.test_sound_findings import check
from takeup.media.probe import look_at
from takeup.media.sound import read_sound
from takeup.streams import Report

LOSSLESS = [("WAV", kind) for kind in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
LOSSLESS += [("WAVEX", "PCM_24"), ("RF64", "PCM_24"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("BW64", "")]
LOSSLESS += [("AIFF", kind) for kind in ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
LOSSLESS += [("ALAC", "s16p"), ("ALAC", "s32p")]


@cache
def programme(rate: int, channels: int) -> np.ndarray:
    """A short side whose samples are whole sixteen-bit steps, so that every form can hold it exactly."""
    rng = np.random.default_rng(5)
    samples = side(talk(rng, 4, rate), rng, rate, before_s=(0.5, 1.0), after_s=(5.5, 0.5))
    return np.round(samples[:, :channels] * 2**15) / 2**15


@cache
def reference(rate: int, channels: int, folder) -> Report:
    path = folder / "reference.wav"
    path.write_bytes(soundfile_bytes(programme(rate, channels), rate, "WAV", "PCM_16"))
    return check(path)


def written(path, samples, rate, form, kind):
    if form == "BW64":
        path.write_bytes(bw64(samples, rate))
    elif form in ("ALAC", "AAC"):
        return libav_file(path, samples, rate, form.lower(), "ipod", kind)
    else:
        path.write_bytes(soundfile_bytes(samples, rate, form, kind))
    return path


@pytest.mark.parametrize("form, kind", LOSSLESS)
@pytest.mark.parametrize("rate, channels", [(44_100, 2), (96_000, 1), (192_000, 2)])
def test_every_lossless_form_gives_the_same_samples(tmp_path, form, kind, rate, channels):
    """Samples, rate and channels are all that a measure is given."""
    path = written(tmp_path / "a", programme(rate, channels), rate, form, kind)
    capture = look_at(path)
    assert (capture.sound.rate_hz, capture.sound.channels, capture.sound.lossy) == (rate, channels, False)
    assert capture.sound.seconds_stated == pytest.approx(11.5)
    assert np.array_equal(np.concatenate(list(read_sound(path, capture))), programme(rate, channels))


FEW = [("WAV", "PCM_24"), ("FLAC", "PCM_24"), ("AIFF", "DOUBLE"), ("ALAC", "s32p")]


@pytest.mark.parametrize(
    "form, kind, rate, channels",
    [(*one, 44_100, 2) for one in LOSSLESS] + [(*one, *high) for one in FEW for high in ((96_000, 1), (192_000, 2))],
)
def test_every_lossless_form_gives_the_same_figures(tmp_path, tmp_path_factory, form, kind, rate, channels):
    path = written(tmp_path / "a", programme(rate, channels), rate, form, kind)
    wanted, report = reference(rate, channels, tmp_path_factory.getbasetemp()), check(path)
    assert report.seconds == wanted.seconds == pytest.approx(11.5)
    assert {name: one.value for name, one in report.measures.items()} == {
        name: one.value for name, one in wanted.measures.items()
    }
    assert [one.name for one in report.findings] == [one.name for one in wanted.findings]


@pytest.mark.parametrize("rate", [88_200, 176_400])
def test_the_rates_between_are_read_as_they_are(tmp_path, rate):
    path = written(tmp_path / "a", programme(rate, 2), rate, "WAV", "PCM_24")
    assert look_at(path).sound.rate_hz == rate
    assert check(path).seconds == pytest.approx(11.5)


@pytest.mark.parametrize("form, kind", [("MP3", "MPEG_LAYER_III"), ("AAC", "fltp")])
@pytest.mark.parametrize("channels", [1, 2])
def test_a_lossy_coder_leaves_the_figures_near(tmp_path, tmp_path_factory, form, kind, channels):
    """The coder itself moves them (AAC at 128 kbit/s lifts this programme's peak by 0.6 dB) and takes hiss away.

    Reached: 0.15 LU, 0.6 dB, a noise floor up to 1.2 dB lower, 0.02 s more (AAC fills its last frame).
    """
    path = written(tmp_path / "a", programme(48_000, channels), 48_000, form, kind)
    wanted, report = reference(48_000, channels, tmp_path_factory.getbasetemp()), check(path)
    assert look_at(path).sound.lossy and look_at(path).sound.bits is None
    for name, bound in (("loudness", 0.3), ("true_peak", 1.0), ("noise_floor", 2.0)):
        assert report.measures[name].value == pytest.approx(wanted.measures[name].value, abs=bound)
    assert report.seconds == pytest.approx(11.5, abs=0.03)


@pytest.mark.parametrize("kind, bits", [("s16p", 16), ("s32p", 24)])
def test_a_lossless_coder_is_known_by_its_bits(tmp_path, kind, bits):
    """Sixteen bits are judged more strictly when a side is quiet, so they must not be guessed."""
    path = written(tmp_path / "a", programme(48_000, 2), 48_000, "ALAC", kind)
    assert look_at(path).sound.bits == bits and not look_at(path).sound.lossy


@pytest.mark.parametrize("channels", [3, 6, 8])
def test_up_to_eight_channels_are_measured(tmp_path, channels):
    """A tone on the first channel alone reads the same peak; what is for two channels says why it is missing."""
    samples = np.zeros((96_000, channels))
    samples[:, 0] = 0.5 * np.sin(np.arange(96_000) * 2 * np.pi * 997 / 48_000)
    path = written(tmp_path / "a", samples, 48_000, "WAV", "PCM_24")
    report = check(path)
    assert report.measures["true_peak"].value == pytest.approx(-6.02, abs=0.02)
    assert report.measures["loudness"].value == pytest.approx(-3.01 - 6.02, abs=0.02)
    for name in ("channel_balance", "channel_delay", "channel_correlation"):
        assert report.measures[name].value is None and report.measures[name].why
