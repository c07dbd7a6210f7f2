"""What is found in whole sides with one known fault each, and that clean sides beside them are good.

Truth by construction: sides made in tests/make/sound.py (voices, tunes, switched noise), the fault laid on afterwards.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from make.listening import listened_to
from make.sound import db, gated, hiss, side, talk, tone, tune, write
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from takeup.media.probe import look_at
from takeup.streams import Original, Report
from takeup.tables.loader import load_rows
from takeup.tasks.check_sound import check_sound
from takeup.tasks.checking import Asked

RATE = 48_000


def check(path: Path) -> Report:
    asked = Asked(original=Original(id="t1", carrier="cassette"))
    return check_sound(path, look_at(path), asked, load_rows())


def checked(folder: Path, samples: np.ndarray, rate: int = RATE, subtype: str = "PCM_24") -> Report:
    return check(write(folder / "a.wav", samples, rate, subtype))


def listened_to_file(
    folder: Path, samples: np.ndarray, rate: int = RATE, subtype: str = "PCM_24", deeper: str = "nothing"
) -> Report:
    """Where one finding is asked about, and what is left out cannot bear on it."""
    return listened_to(write(folder / "a.wav", samples, rate, subtype), deeper=deeper)


def said(report: Report) -> list[str]:
    return [finding.says or finding.name for finding in report.findings]


def programme(kind: str, rng: np.random.Generator, seconds: float = 15, rate: int = RATE) -> np.ndarray:
    return {"talk": talk, "tune": tune, "gated": lambda *a: gated(*a)[0]}[kind](rng, seconds, rate)


@cache
def clean_side(kind: str) -> np.ndarray:
    rng = np.random.default_rng(len(kind))
    samples = side(programme(kind, rng), rng)
    return samples * min(1.0, 0.9 / np.abs(samples).max())


@pytest.fixture(params=["talk", "tune", "gated"])
def clean(request) -> np.ndarray:
    return clean_side(request.param).copy()


# Clean controls


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_a_clean_side_is_good(tmp_path, clean, subtype):
    report = checked(tmp_path, clean, subtype=subtype)
    assert report.verdict == "good" and said(report) == []


def test_a_side_normalised_to_full_scale_is_good(tmp_path, clean):
    assert said(checked(tmp_path, clean / np.abs(clean).max(), subtype="PCM_16")) == []


def test_smooth_saturation_has_no_cut_tops(tmp_path, clean):
    """tanh(3x)/3 (check values, fault 1): round tops, as tape makes them."""
    assert said(checked(tmp_path, np.tanh(3 * clean / np.abs(clean).max()) / 3)) == []


def test_a_limiter_leaves_no_cut_tops(tmp_path, clean):
    """Gain drops smoothly before every peak over 0.7 (5 ms of look-ahead)."""
    loud, reach = clean * 3, 240
    gain = np.minimum(1, 0.7 / np.maximum(maximum_filter1d(np.abs(loud).max(axis=1), 2 * reach + 1), 1e-9))
    assert said(checked(tmp_path, loud * uniform_filter1d(gain, reach)[:, None])) == []


@pytest.mark.parametrize("hz", [20, 50, 100, 997])
def test_a_full_scale_tone_of_16_bits_is_not_clipped(tmp_path, hz):
    """Rounded to 16 bits at 96 kHz a 20 Hz top stays on one value for a dozen samples, by rounding alone."""
    rng = np.random.default_rng(hz)
    samples = np.concatenate([tone(hz, -0.0003, 5, 96_000), np.zeros((9600, 2))]) + hiss(rng, -110, 489_600)
    assert "clipping" not in {
        finding.name for finding in listened_to_file(tmp_path, samples, 96_000, "PCM_16").findings
    }


def test_a_quiet_tape_at_24_bits_is_good(tmp_path):
    """Peaks near -30 dBFS, hiss at -78 (trade rules, part 2)."""
    rng = np.random.default_rng(8)
    samples = side(talk(rng, 15), rng, programme_dbfs=-46, hiss_dbfs=-78, leader_dbfs=-112)
    assert said(checked(tmp_path, samples)) == []


def test_a_half_recorded_tape_is_good(tmp_path):
    rng = np.random.default_rng(9)
    assert said(checked(tmp_path, side(talk(rng, 10), rng, after_s=(45, 0)))) == []


def test_a_fade_out_just_before_the_end_is_good(tmp_path):
    rng = np.random.default_rng(10)
    music = tune(rng, 12)
    music[-4 * RATE :] *= 10 ** (-np.linspace(0, 60, 4 * RATE)[:, None] / 20)
    assert said(checked(tmp_path, side(music, rng, after_s=(1, 0)))) == []


def test_hum_under_the_hiss_does_not_hide_the_pauses(tmp_path):
    """A steady 50 Hz tone 13 dB over the hiss: the side still ends in hiss."""
    rng = np.random.default_rng(12)
    samples = side(talk(rng, 12), rng, before_s=(0, 2), after_s=(7, 0))
    samples += tone(50, -45 + 3.01, len(samples) / RATE)
    assert said(checked(tmp_path, samples)) == ["hum.station"]


# Cut tops


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_clipping_counts_the_stuck_samples(tmp_path, clean, subtype):
    """Truth: samples that lay beyond full scale before they were cut."""
    loud = clean * (2.0 / np.abs(clean).max())
    report = listened_to_file(tmp_path, np.clip(loud, -1, 1), subtype=subtype)
    found = [finding for finding in report.findings if finding.name == "clipping"]
    assert {(finding.verdict, finding.again, finding.says) for finding in found} == {
        ("redo", "helps", "clipping.at-input")
    }
    assert sum(finding.value for finding in found) == pytest.approx((np.abs(loud) >= 1).sum(), rel=0.05)


def test_clipping_of_a_tone_has_the_share_of_arithmetic(tmp_path):
    """clip(0.9 sin, 0.7): 1 - (2 / pi) asin(0.7 / 0.9) = 0.43269 of all samples (check values, fault 1)."""
    samples = np.clip(tone(997, 20 * np.log10(0.9), 10), -0.7, 0.7)
    (found,) = [finding for finding in listened_to_file(tmp_path, samples).findings if finding.name == "clipping"]
    assert found.value / samples.size == pytest.approx(0.43269, abs=0.0005)
    assert found.facts["level_db"] == pytest.approx(20 * np.log10(0.7), abs=0.05)


@pytest.mark.parametrize("level", [0.2, 0.5, 0.97])
def test_cut_tops_below_full_scale_are_the_stations_too(tmp_path, clean, level):
    loud = np.clip(clean * (2.0 / np.abs(clean).max()), -1, 1) * level
    report = checked(tmp_path, loud)
    assert report.verdict == "redo" and set(said(report)) == {"clipping.lowered"}


def test_clipping_is_placed_and_neighbours_are_one(tmp_path):
    """Two cut stretches 6 s apart, each of bursts 0.5 s apart."""
    rng = np.random.default_rng(14)
    samples = side(talk(rng, 20), rng, programme_dbfs=-30)
    truth = []
    for start in (5.0, 5.7, 12.0):
        at = slice(round(start * RATE), round((start + 0.2) * RATE))
        samples[at] = np.clip(1.5 * np.sin(np.arange(at.stop - at.start) * 0.05), -1, 1)[:, None]
        truth.append(start)
    found = [finding for finding in listened_to_file(tmp_path, samples).findings if finding.name == "clipping"]
    assert [finding.from_s for finding in found] == pytest.approx([truth[0], truth[2]], abs=0.02)
    assert [finding.to_s for finding in found] == pytest.approx([5.9, 12.2], abs=0.02)


@pytest.mark.parametrize("form", ["mp3", "m4a"])
def test_a_lossy_file_is_never_redone_for_clipping(tmp_path, form):
    import av

    rng = np.random.default_rng(15)
    samples = np.clip(side(tune(rng, 8), rng) * 6, -1, 1)
    path = tmp_path / f"a.{form}"
    codec, container = {"mp3": ("libmp3lame", "mp3"), "m4a": ("aac", "mp4")}[form]
    with av.open(str(path), "w", format=container) as out:
        stream = out.add_stream(codec, rate=RATE, layout="stereo")
        planes = np.ascontiguousarray(samples.T.astype(np.float32))
        frame = av.AudioFrame.from_ndarray(planes, format="fltp", layout="stereo")
        frame.sample_rate = RATE
        for packet in (*stream.encode(frame), *stream.encode(None)):
            out.mux(packet)
    assert listened_to(path).verdict != "redo"


# Channels


def test_a_dead_channel_is_a_plug(tmp_path, clean):
    dead = clean.copy()
    dead[:, 1] = 0
    report = checked(tmp_path, dead)
    assert report.verdict == "redo" and said(report) == ["channel_missing.no-hiss"]
    assert report.measures["channel_balance"].value is None and report.measures["channel_balance"].why


def test_a_channel_with_electronics_only_is_a_plug(tmp_path, clean):
    dead = clean.copy()
    dead[:, 0] = hiss(np.random.default_rng(3), -92, len(clean))[:, 0]
    assert said(checked(tmp_path, dead)) == ["channel_missing.no-hiss"]


def test_a_channel_with_hiss_only_was_recorded_so(tmp_path):
    rng = np.random.default_rng(4)
    samples = side(np.stack([talk(rng, 15), np.zeros(15 * RATE)], axis=1), rng)
    report = checked(tmp_path, samples)
    assert report.verdict == "look" and said(report) == ["channel_missing.hiss"]


def test_opposed_channels_are_told_and_never_redone(tmp_path, clean):
    opposed = clean.copy()
    opposed[:, 1] = -clean[:, 0] + hiss(np.random.default_rng(5), -60, len(clean))[:, 0]
    report = checked(tmp_path, opposed)
    assert report.verdict == "look" and said(report) == ["channel_antiphase"]


def test_a_leaning_head_does_not_look_like_opposed_channels(tmp_path):
    """70 us between the channels turn the phase at 7 kHz right round, not below 1 kHz."""
    rng = np.random.default_rng(6)
    samples = side(talk(rng, 15), rng)
    late = np.fft.irfft(
        np.fft.rfft(samples[:, 1]) * np.exp(-2j * np.pi * np.fft.rfftfreq(len(samples), 1 / RATE) * 70e-6), len(samples)
    )
    report = listened_to_file(tmp_path, np.stack([samples[:, 0], late], axis=1), deeper="most")
    assert "channel_antiphase" not in said(report)
    assert report.measures["channel_delay"].value == pytest.approx(70, abs=0.2)
    assert report.measures["channel_delay"].extra["arc_minutes"] == pytest.approx(70 / 5.5, abs=0.05)


# Silence, level, ends


@pytest.mark.parametrize(
    "samples, wanted, verdict",
    [
        (np.zeros((8 * RATE, 2)), "silence.digital", "redo"),
        (hiss(np.random.default_rng(7), -88, 8 * RATE), "silence.no-hiss", "redo"),
        (hiss(np.random.default_rng(7), -58, 8 * RATE), "silence.blank-tape", "look"),
    ],
)
def test_a_capture_without_sound(tmp_path, samples, wanted, verdict):
    report = checked(tmp_path, samples)
    assert said(report) == [wanted] and report.verdict == verdict


def test_a_silent_file_has_figures_or_reasons(tmp_path):
    report = checked(tmp_path, np.zeros((8 * RATE, 2)))
    assert all(one.value is None and one.why for one in report.measures.values())


def test_a_16_bit_capture_that_is_too_quiet(tmp_path):
    rng = np.random.default_rng(16)
    samples = side(talk(rng, 10), rng, programme_dbfs=-52, hiss_dbfs=-84, leader_dbfs=-96)
    report = checked(tmp_path, samples, subtype="PCM_16")
    assert report.verdict == "redo" and said(report) == ["too_quiet.sixteen-bits"]


def test_hiss_lost_in_the_converters_noise(tmp_path):
    rng = np.random.default_rng(17)
    samples = side(talk(rng, 10), rng, programme_dbfs=-62, hiss_dbfs=-97, leader_dbfs=-101)
    assert "too_quiet.drowned" in said(checked(tmp_path, samples))


def test_an_offset_is_told_and_never_redone(tmp_path, clean):
    report = checked(tmp_path, clean * 0.9 + np.array([0.0, -0.02]))
    assert said(report) == ["dc_offset"] and report.verdict == "look"
    assert report.measures["dc_offset"].value == pytest.approx(-0.02, abs=1e-5)


@pytest.mark.parametrize("seed", range(8))
def test_a_side_cut_at_a_random_place_is_never_missed(tmp_path, seed):
    """Anywhere from a second into the programme: in sound or in a pause."""
    rng = np.random.default_rng(100 + seed)
    samples = side(gated(rng, 20)[0] if seed % 2 else talk(rng, 20), rng)
    cut = round(rng.uniform(8, 23.5) * RATE)
    found = [finding for finding in listened_to_file(tmp_path, samples[:cut]).findings if finding.name == "ends_early"]
    assert len(found) == 1
    level = np.sqrt((samples[cut - 4800 : cut] ** 2).mean())
    if level > db(-40):
        assert found[0].verdict == "redo"


@pytest.mark.parametrize("length", [1, 20, 441, 4800, 24_000])
def test_a_very_short_file_gets_a_plain_answer(tmp_path, length):
    report = checked(tmp_path, 0.1 * np.random.default_rng(1).standard_normal((length, 2)))
    for one in report.measures.values():
        assert one.value is None or np.isfinite(one.value)
    assert report.seconds == pytest.approx(length / RATE)
