"""Peaks that the coder makes or takes: the everyday copy is measured decoded, by SciPy here, and holds its limit."""

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, write_sound
from scipy.signal import resample_poly

from takeup.media.sound_copy import Chain, measure_loudness, write_aac
from takeup.settings import Settings
from takeup.streams import Finding, Original
from takeup.tasks.finish import finish_box

RATE = 48_000


def decoded(path):
    with av.open(str(path)) as container:
        return np.concatenate([frame.to_ndarray().T for frame in container.decode(audio=0)])


def peak_dbtp(path):
    samples = decoded(path)
    return 20 * np.log10(max(np.abs(resample_poly(channel, 16, 1)).max() for channel in samples.T))


def peaky(kind, seconds=10):
    """Noise cut flat at a level that changes, or strikes with bright beginnings."""
    rng = np.random.default_rng(5)
    count = seconds * RATE
    if kind == "cut flat":
        return (
            np.clip(rng.normal(size=(count, 2)), -0.5, 0.5)
            * np.repeat(rng.uniform(0.02, 1, 2 * seconds), RATE // 2)[:, None]
        )
    out = 0.003 * rng.normal(size=(count, 2))
    for at in range(RATE // 4, count - RATE, RATE // 2):
        strike = rng.normal(size=(3000, 2)) * np.exp(-np.arange(3000) / 150)[:, None]
        out[at : at + 3000] += 0.5 * strike / np.abs(strike).max()
    return out


@pytest.mark.parametrize(("kind", "least", "most"), [("cut flat", 0.1, 9.0), ("strikes", -9.0, -0.3)])
def test_peak_of_the_decoded_copy_holds_where_the_coder_moves_it(tmp_path, kind, least, most):
    """First the proof that it does: coded at the gain that puts the capture's own peak at -1 it comes out higher
    (flat tops ring), or lower (the coder leaves the highest treble out)."""
    samples = peaky(kind)
    source = write_sound(tmp_path / "c1.wav", samples, RATE)
    own = measure_loudness(source).true_peak_dbtp
    write_aac(source, tmp_path / "once.m4a", Chain(gain_db=-1.0 - own), bits_s=192_000, tags={})
    assert least < peak_dbtp(tmp_path / "once.m4a") + 1.0 < most
    box = captured_box(tmp_path / "box", [Original(id="c1", carrier="cassette", keep="copy")])
    put_capture(box, "c1", source, "", report_of("sound", 10.0))
    (made,) = finish_box(box.folder, Settings()).made
    peak, settings = peak_dbtp(made.made.path), made.made.settings
    assert peak <= -1.0 + 0.02  # two ways to interpolate
    assert abs(settings["loudness_lufs"] + 18) <= 0.2 or peak >= -1.32


def test_copy_is_centred_where_the_check_found_an_offset(tmp_path):
    """The sentence of the finding promises it. 0.01 of full scale is put in; a tone of 40 Hz keeps its level."""
    at = np.arange(12 * RATE) / RATE
    samples = np.repeat((0.01 + 0.1 * np.sin(2 * np.pi * 40 * at))[:, None], 2, axis=1)
    offset = report_of("sound", 12.0, Finding(name="dc_offset", verdict="look", again="no"))
    means = {}
    for name, report in (("found", offset), ("not", report_of("sound", 12.0))):
        box = captured_box(tmp_path / name, [Original(id="c1", carrier="cassette", keep="copy")])
        put_capture(box, "c1", write_sound(tmp_path / f"c1-{name}.wav", samples, RATE), "", report)
        (made,) = finish_box(box.folder, Settings()).made
        copy = decoded(made.made.path)[2 * RATE : 10 * RATE] / 10 ** (made.made.settings["gain_db"] / 20)
        means[name] = abs(float(copy.mean()))
        assert 20 * np.log10(copy[:, 0].std() / (0.1 / np.sqrt(2))) == pytest.approx(0, abs=0.1)
    assert means["not"] == pytest.approx(0.01, rel=0.1) and means["found"] < 2e-4
