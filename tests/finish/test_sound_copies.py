"""Everyday sound: one gain, and a true peak that holds in the decoded file; measured by pyloudnorm and SciPy here."""

import av
import numpy as np
import pyloudnorm
import pytest
from make.captures import captured_box, noise_bursts, put_capture, report_of, write_sound
from scipy.signal import resample_poly

from takeup.settings import Settings
from takeup.streams import Finding, Original, Trace
from takeup.tasks.finish import finish_box

RATE = 48000


def decoded(path):
    with av.open(str(path)) as container:
        return np.concatenate([frame.to_ndarray().T for frame in container.decode(audio=0)])


def heard(path):
    """Loudness [LUFS] and true peak [dBTP, 8 times oversampled] of a finished copy, by independent tools."""
    samples = decoded(path)
    peak = max(np.abs(resample_poly(samples[:, channel], 8, 1)).max() for channel in range(samples.shape[1]))
    return pyloudnorm.Meter(RATE).integrated_loudness(samples), 20 * np.log10(peak)


def finish(tmp_path, *sides, carrier="cassette", keep="copy"):
    """Sides are (samples, report); the copies in order of the sides."""
    box = captured_box(tmp_path / "box", [Original(id="c1", carrier=carrier, label="Port Ellery choir", keep=keep)])
    for letter, (samples, report) in zip("abcd", sides):
        source = write_sound(tmp_path / f"c1-side-{letter}.wav", samples, RATE)
        put_capture(box, "c1", source, letter, report)
    return finish_box(box.folder, Settings()).made


def test_copy_of_an_even_programme_is_at_eighteen(tmp_path):
    (made,) = finish(tmp_path, (noise_bursts(12, 0.3), report_of()))
    loudness, peak = heard(made.made.path)
    assert abs(loudness + 18) <= 0.2 and peak <= -1.0
    assert made.made.settings["gain_set_by"] == "loudness"


def test_copy_whose_peak_forbids_it_stays_quieter_and_says_so(tmp_path):
    samples = noise_bursts(12, 0.01)
    samples[::24_000] = 0.6  # clicks far above the programme
    (made,) = finish(tmp_path, (samples, report_of()))
    loudness, peak = heard(made.made.path)
    assert loudness < -18.5 and -1.45 <= peak <= -0.95  # acceptance -1.3..-1.0, +-0.05 between two ways to oversample
    assert made.made.settings["gain_set_by"] == "peak"
    assert made.made.notes[0][0] == "finish.quieter-for-peak"


def test_copy_is_never_lifted_by_more_than_twenty_decibels(tmp_path):
    samples = noise_bursts(8, 0.006)
    (made,) = finish(tmp_path, (samples, report_of()))
    assert made.made.settings["gain_db"] == 20.0
    before = pyloudnorm.Meter(RATE).integrated_loudness(samples)
    assert heard(made.made.path)[0] == pytest.approx(before + 20, abs=0.2)


def test_both_sides_get_the_gain_of_the_louder_one(tmp_path):
    quiet, loud = noise_bursts(8, 0.02, seed=1), noise_bursts(8, 0.08, seed=1)
    first, second = finish(tmp_path, (quiet, report_of()), (loud, report_of()))
    assert first.made.settings["gain_db"] == second.made.settings["gain_db"]
    assert heard(second.made.path)[0] == pytest.approx(-18, abs=0.2)
    assert heard(second.made.path)[0] - heard(first.made.path)[0] == pytest.approx(20 * np.log10(4), abs=0.1)


def test_single_channel_is_as_loud_when_played_on_two(tmp_path):
    (made,) = finish(tmp_path, (noise_bursts(8, 0.1, channels=1), report_of()))
    samples = decoded(made.made.path)
    assert samples.shape[1] == 1 and made.made.settings["bits_s"] == 96000
    assert pyloudnorm.Meter(RATE).integrated_loudness(np.repeat(samples, 2, axis=1)) == pytest.approx(-18, abs=0.2)


def test_missing_channel_plays_on_both_only_when_the_check_said_so(tmp_path):
    samples = noise_bursts(8, 0.1)
    samples[:, 0] = 0
    missing = report_of("sound", 8.0, Finding(name="channel_missing", verdict="look", again="no"))
    (mended,) = finish(tmp_path / "a", (samples, missing))
    (as_it_is,) = finish(tmp_path / "b", (samples, report_of()))
    assert decoded(mended.made.path).shape[1] == 1 and mended.made.settings["channels_mended"] == "right-only"
    assert np.abs(decoded(as_it_is.made.path)[:, 0]).max() < 1e-3


def test_antiphase_is_turned_so_that_the_sum_is_heard(tmp_path):
    samples = noise_bursts(8, 0.1, channels=1) * np.array([1.0, -1.0])
    turned = report_of("sound", 8.0, Finding(name="channel_antiphase", verdict="look", again="no"))
    (made,) = finish(tmp_path, (samples, turned))
    left, right = decoded(made.made.path).T
    assert np.corrcoef(left, right)[0, 1] > 0.99


def test_copy_begins_a_second_before_the_recording_and_ends_two_after(tmp_path):
    samples = np.concatenate([np.zeros((5 * RATE, 2)), noise_bursts(10, 0.1), np.zeros((7 * RATE, 2))])
    trace = Trace(level=bytes([0] * 50 + [70] * 100 + [0] * 70), recorded=bytes([0] * 50 + [1] * 100 + [0] * 70))
    (made,) = finish(tmp_path, (samples, report_of("sound", 22.0, trace=trace)))
    copy = decoded(made.made.path)
    start = np.argmax(np.abs(copy).max(axis=1) > 0.005) / RATE
    assert len(copy) / RATE == pytest.approx(13.0, abs=0.03) and start == pytest.approx(1.0, abs=0.05)


def test_silent_side_is_finished_without_a_gain(tmp_path):
    (made,) = finish(tmp_path, (np.zeros((3 * RATE, 2)), report_of()))
    assert made.made.settings["gain_db"] == 0 and made.made.settings["loudness_lufs"] is None
    assert made.made.notes[0][0] == "finish.silent"


def test_copy_says_what_it_is(tmp_path):
    first, second = finish(tmp_path, (noise_bursts(3, 0.1), report_of()), (noise_bursts(3, 0.1), report_of()))
    with av.open(str(second.made.path)) as container:
        tags = container.metadata
        assert container.streams.audio[0].codec_context.name == "aac" and container.streams.audio[0].rate == RATE
    assert (tags["title"], tags["track"], tags["album"]) == ("Port Ellery choir, side B", "2/2", "Port Ellery choir")
    assert "date" not in tags and "c1" in tags["comment"]
    data = first.made.path.read_bytes()
    assert data.index(b"moov") < data.index(b"mdat")


@pytest.mark.parametrize(("coder", "ending"), [("libmp3lame", "mp3"), ("aac", "m4a")])
def test_lossy_capture_is_its_own_master_and_is_said(tmp_path, coder, ending):
    """Named wrongly on purpose: the content decides, and the master gets the right ending."""
    source = tmp_path / "c1.bin"
    with av.open(str(source), "w", format={"mp3": "mp3", "m4a": "ipod"}[ending]) as out:
        stream = out.add_stream(coder, rate=RATE, layout="stereo")
        samples = noise_bursts(3, 0.3).T.astype(np.float32).copy()
        frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout="stereo")
        frame.sample_rate = RATE
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            out.mux(packet)
    box = captured_box(tmp_path / "box", [Original(id="c1", carrier="cassette")])
    put_capture(box, "c1", source, "", report_of())
    master, copy = finish_box(box.folder, Settings()).made
    assert master.made.path.name == f"c1.{ending}" and master.made.path.read_bytes() == source.read_bytes()
    assert master.made.notes[0][0] == "finish.kept-lossy" and copy.made.path.suffix == ".m4a"
