"""Copies of cassettes that mend what is asked, and say so; masters that never change. Measured in decoded copies."""

from pathlib import Path

import av
import numpy as np
import pytest
from make.captures import captured_box, noise_bursts, put_capture, tree, write_sound
from make.command import takeup
from make.hum import hum, talk
from make.sound import side, tune

from takeup.errors import NotPossible
from takeup.plan.mending import plan_asked
from takeup.settings import Settings
from takeup.streams import Measured, Original, Report
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
from takeup.tasks.finish import finish_box

RATE = 48_000


def told(seconds, **figures):
    """A report whose figures are (value, extra)."""
    measures = {name: Measured(value=value, unit="", extra=extra) for name, (value, extra) in figures.items()}
    return Report(medium="sound", seconds=seconds, measures=measures, findings=())


def decoded(path):
    with av.open(str(path)) as container:
        return np.concatenate([frame.to_ndarray().T for frame in container.decode(audio=0)])


def box_of(folder, samples, report, keep="copy", rate=RATE):
    box = captured_box(folder / "box", [Original(id="c1", carrier="cassette", label="Choir", keep=keep)])
    put_capture(box, "c1", write_sound(folder / "c1-side-a.wav", samples, rate), "a", report)
    return box


def copy_of(tmp_path, samples, report, mend=None, rate=RATE):
    tmp_path.mkdir(exist_ok=True)
    (made,) = finish_box(box_of(tmp_path, samples, report, rate=rate).folder, Settings(), mend=mend).made
    return made.made, decoded(made.made.path)


def keys(made):
    return [key for key, _ in made.notes]


def delay_us(samples):
    """Of the right channel, by the slope of the cross spectrum's phase, weighted by coherence: the coder blurs some."""
    windows = samples[: len(samples) // 8192 * 8192].reshape(-1, 8192, 2) * np.hanning(8192)[:, None]
    one, other = np.moveaxis(np.fft.rfft(windows, axis=1), 2, 0)
    cross = (one.conj() * other).sum(axis=0)
    square = np.abs(cross) ** 2 / ((np.abs(one) ** 2).sum(axis=0) * (np.abs(other) ** 2).sum(axis=0) + 1e-30)
    bins = np.fft.rfftfreq(8192, 1 / RATE)
    used = (bins > 300) & (bins < 8000)
    weight = (square / (1 - square + 1e-6))[used]
    phase = np.unwrap(np.angle(cross[used]))
    return -1e6 * (weight * bins[used] * phase).sum() / (2 * np.pi * (weight * bins[used] ** 2).sum())


def leaning(late_us, seconds=12):
    """A common sound, and in the right channel the same later by an exact phase ramp; a hiss of its own in each."""
    one = np.concatenate([noise_bursts(seconds, 0.3, channels=1)[:, 0], np.zeros(RATE)])
    one = np.convolve(one, [1, -0.7], "same")
    bins = np.fft.rfftfreq(len(one), 1 / RATE)
    other = np.fft.irfft(np.fft.rfft(one) * np.exp(-2j * np.pi * bins * late_us * 1e-6), len(one))
    return np.stack([one, other], axis=1) + 2e-4 * np.random.default_rng(2).normal(size=(len(one), 2))


@pytest.mark.parametrize("late_us", [23.4, -41.7])
def test_azimuth_is_mended_only_when_asked_and_levels_stay(tmp_path, late_us):
    samples = leaning(late_us)
    report = told(13.0, channel_delay=(late_us, {}))
    left, plain = copy_of(tmp_path / "plain", samples, report)
    made, after = copy_of(tmp_path / "asked", samples, report, "azimuth")
    assert delay_us(plain) == pytest.approx(late_us, rel=0.1)  # the coder spares on the difference of the channels
    assert abs(delay_us(after)) < 0.5
    assert left.settings["mended"] == [] and keys(left) == []
    assert made.settings["mended"] == [
        {"what": "azimuth", "late": "right" if late_us > 0 else "left", "by_us": abs(late_us)}
    ]
    assert keys(made) == ["finish.mended-azimuth"]
    levels = [10 * np.log10((one**2).mean(axis=0)) for one in (plain, after)]
    moved = levels[1] - levels[0] - (made.settings["gain_db"] - left.settings["gain_db"])
    assert np.abs(moved).max() < 0.05


def lines_db(samples, hz):
    """Level of the first four harmonics, within 0.3 Hz, in dB."""
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2 / len(samples) ** 2
    bins = np.fft.rfftfreq(len(samples), 1 / RATE)
    return np.array([10 * np.log10(power[np.abs(bins - k * hz) < 0.3].sum()) for k in range(1, 5)])


def test_hum_is_mended_only_when_asked_and_the_programme_stays(tmp_path):
    """Target 20 dB. The voice never goes under 90 Hz, so the fundamental stands alone; for the others the programme's
    own copy is the control: no line stands more than 1 dB over what the voice itself has there."""
    programme, buzz = talk(40, RATE, level=0.08), hum(40, RATE, 60.01, wander_hz=0.01, dbfs=(-42, -48, -46, -52))
    report = told(40.0, mains_hum=(-42.0, {"hz": 60.0, "from": "tape"}))
    both = [np.stack([one, one[::-1]], axis=1) for one in (programme, programme + buzz)]
    clean, without = copy_of(tmp_path / "clean", both[0], told(40.0))
    left, plain = copy_of(tmp_path / "plain", both[1], report)
    made, after = copy_of(tmp_path / "asked", both[1], report, "hum")
    gains = [one.settings["gain_db"] for one in (clean, left, made)]
    voice, before, now = (lines_db(one[:, 0], 60.01) - gain for one, gain in zip((without, plain, after), gains))
    assert now[0] < before[0] - 20 and (now < np.maximum(before - 20, voice + 1)).all()
    level = [10 * np.log10((one**2).mean()) - gain for one, gain in ((without, gains[0]), (after, gains[2]))]
    assert abs(level[1] - level[0]) < 0.1
    assert keys(left) == [] and keys(made) == ["finish.mended-hum"]
    (said,) = made.settings["mended"]
    assert said["what"] == "hum" and said["lines_hz"][:4] == [60.0, 120.0, 180.0, 240.0]


def test_speed_is_mended_only_when_asked(tmp_path):
    """A tone of 1000 Hz captured 2 % fast is at 1020 Hz for 20 s: in the copy at 1000 Hz for 20.4 s."""
    samples = 0.2 * np.sin(2 * np.pi * 1020 * np.arange(20 * RATE) / RATE)[:, None] * [[1, 0.5]]
    report = told(20.0, speed_error=(2.0, {"low": 1.8, "high": 2.2}))
    for mend, hz, seconds in ((None, 1020, 20.0), ("speed", 1000, 20.4)):
        made, after = copy_of(tmp_path / str(mend), samples, report, mend)
        spectrum = np.abs(np.fft.rfft(after[:, 0] * np.hanning(len(after)), 1 << 22))
        assert np.argmax(spectrum) * RATE / (1 << 22) == pytest.approx(hz, abs=0.02)
        assert len(after) / RATE == pytest.approx(seconds, abs=0.03)
        assert made.seconds == pytest.approx(len(after) / RATE, abs=0.001)
    assert keys(made) == ["finish.mended-speed-fast"]


def test_what_is_asked_and_cannot_be_done_is_said(tmp_path):
    samples = noise_bursts(10, 0.2)
    sure = told(10.0, channel_delay=(0.3, {}), speed_error=(0.1, {"low": -0.3, "high": 0.5}))
    made, _ = copy_of(tmp_path / "small", samples, sure, "azimuth,hum,speed")
    assert keys(made) == ["finish.left-azimuth.small", "finish.left-hum.not-told", "finish.left-speed.small"]
    nothing = told(10.0, mains_hum=(-60.0, {"hz": 50.0}))  # told, but none is there
    made, _ = copy_of(tmp_path / "none", samples, nothing, "azimuth,hum,speed")
    assert keys(made) == ["finish.left-azimuth.not-told", "finish.left-speed.not-told", "finish.left-hum.not-told"]
    assert made.settings["mended"] == []


def test_asking_makes_only_the_copy_anew_and_stays_asked_until_taken_back(tmp_path):
    box = box_of(tmp_path, leaning(23.4, 3), told(4.0, channel_delay=(23.4, {})), keep="both")
    finish_box(box.folder, Settings())
    masters, plain = tree(box.folder / "masters"), tree(box.folder / "copies")
    answers = [
        takeup("finish", box.folder, "--json", *words).json
        for words in (["--mend", "azimuth"], [], ["--mend", "azimuth"], ["--mend", "none"])
    ]
    assert [[one["role"] for one in answer["made"]] for answer in answers] == [["copy"], [], [], ["copy"]]
    assert "23.4 µs" in answers[0]["made"][0]["notes"][0]
    assert answers[0]["made"][0]["settings"]["mend_asked"] == ["azimuth"]
    assert tree(box.folder / "masters") == masters
    assert [path.name for path in (box.folder / "copies").rglob("*.m4a")] == ["c1-side-a.m4a"] and plain


def test_setting_asks_for_all_cassettes(tmp_path):
    box = box_of(tmp_path, leaning(23.4, 3), told(4.0, channel_delay=(23.4, {})))
    (made,) = finish_box(box.folder, Settings(mend="azimuth")).made
    assert keys(made.made) == ["finish.mended-azimuth"]


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_unknown_word_is_one_plain_sentence(tmp_path, lang):
    box = box_of(tmp_path, noise_bursts(1, 0.2), told(1.0))
    ran = takeup("finish", box.folder, "--mend", "hum,louder", "--json", "--lang", lang)
    assert ran.status == 2 and ran.out == "" and len(ran.err.strip().splitlines()) == 1
    assert "louder" in ran.err and "azimuth" in ran.err and not Path(box.folder, "copies").exists()


def test_words_are_put_in_order_and_none_is_nothing():
    assert plan_asked("speed,HUM , azimuth") == ("azimuth", "hum", "speed")
    assert plan_asked("none") == plan_asked("") == ()
    with pytest.raises(NotPossible):
        plan_asked("pitch")


def test_what_a_check_heard_is_mended_in_the_copy_and_the_master_is_left(tmp_path):
    """A side 20 us late on the right (3.6 arc-minutes), with hum of 50 Hz recorded on the tape (none in its leader):
    both go from the copy alone. (Hum of the station's own, and a lean of 5 arc-minutes, are to be captured again.)"""
    tape = side(tune(np.random.default_rng(5), 12), np.random.default_rng(6))
    late = np.exp(-2j * np.pi * np.fft.rfftfreq(len(tape), 1 / RATE) * 20e-6)
    tape[:, 1] = np.fft.irfft(np.fft.rfft(tape[:, 1]) * late, len(tape))
    buzz = hum(len(tape) / RATE, RATE, 50.0, dbfs=(-42, -48, -46, -52))[:, None].copy()
    buzz[: 2 * RATE] = buzz[-2 * RATE :] = 0
    samples = tape + buzz
    path = write_sound(tmp_path / "heard.wav", samples)
    _, report = check_file(path, Asked(original=Original(id="c1", carrier="cassette"), mains_hz=50))
    assert report.measures["channel_delay"].value == pytest.approx(20, abs=1)
    assert report.measures["mains_hum"].extra["from"] == "tape" and report.verdict == "look", report.findings
    box = box_of(tmp_path, samples, report, keep="both")
    plain_made = finish_box(box.folder, Settings()).made
    masters, captures = tree(box.folder / "masters"), tree(box.folder / "captures")
    (plain,) = [decoded(one.made.path) for one in plain_made if one.made.role == "copy"]
    (made,) = [
        one.made for one in finish_box(box.folder, Settings(), mend="azimuth,hum").made if one.made.role == "copy"
    ]
    after = decoded(made.path)
    assert [one["what"] for one in made.settings["mended"]] == ["azimuth", "hum"]
    assert delay_us(plain) > 15 and abs(delay_us(after)) < 1
    gain = 10 * np.log10((after**2).mean() / (plain**2).mean())
    for channel in (0, 1):  # no note goes under 110 Hz: the fundamental stands alone
        assert lines_db(after[:, channel], 50)[0] - gain < lines_db(plain[:, channel], 50)[0] - 20
    assert tree(box.folder / "masters") == masters and tree(box.folder / "captures") == captures and masters
