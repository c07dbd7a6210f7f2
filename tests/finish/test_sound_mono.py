"""Mono tapes in stereo captures: told from stereo recordings, and put on both sides of the copy without loss."""

import av
import numpy as np
import pytest
from make.captures import captured_box, noise_bursts, put_capture, write_sound
from make.command import takeup
from make.hum import talk

from takeup.measure.sound.alike import Alike, begin_alike, finish_alike, step_alike
from takeup.plan.finishing import plan_mono
from takeup.streams import Original
from takeup.tables.loader import load_rows

RATE = 48_000
ROWS = load_rows()


def alike(samples, cuts=11):
    state = begin_alike(RATE)
    for block in np.array_split(samples.astype(np.float32), cuts):
        state = step_alike(state, block)
    return finish_alike(state)


def later(one, late_us):
    bins = np.fft.rfftfreq(len(one), 1 / RATE)
    return np.fft.irfft(np.fft.rfft(one) * np.exp(-2j * np.pi * bins * late_us * 1e-6), len(one))


def mono_tape(late_us=0.0, weaker=1.0, hiss=1e-3, seconds=20, seed=5):
    """One voice on both tracks, each with its own hiss, 40 dB and more under it."""
    one = talk(seconds, RATE, level=0.2, hiss=0, seed=seed)
    own = hiss * np.random.default_rng(seed).normal(size=(len(one), 2))
    return np.stack([one, weaker * later(one, late_us)], axis=1) + own


def stereo(width, seconds=20):
    """Two voices: one in the middle, one to the side by so much."""
    middle, side = talk(seconds, RATE, level=0.2, seed=1), width * talk(seconds, RATE, level=0.2, seed=2)
    return np.stack([middle + side, middle - side], axis=1)


@pytest.mark.parametrize(("late_us", "weaker"), [(0, 1.0), (3, 1.0), (27, 1.0), (-60, 0.5)])
def test_mono_tape_is_told_whatever_the_head_did(late_us, weaker):
    said = alike(mono_tape(late_us, weaker))
    assert said.unlike < 0.01 and said.balance_db == pytest.approx(-20 * np.log10(weaker), abs=0.1)


@pytest.mark.parametrize(
    "samples",
    [stereo(0.3), stereo(0.1), noise_bursts(20, 0.3), mono_tape(late_us=450)],
    ids=["two voices", "nearly one voice", "two noises", "two microphones 15 cm apart"],
)
def test_stereo_recording_is_never_taken_for_mono(samples):
    """450 us is 15 cm at the speed of sound; no head leans so far (100 us are 18 arc-minutes)."""
    assert plan_mono(alike(samples), 0.0, ROWS) == "none"


def test_comparison_is_the_same_however_the_sound_is_cut():
    samples = mono_tape(seconds=5)
    assert alike(samples, 1).unlike == pytest.approx(alike(samples, 977).unlike, rel=1e-6)


@pytest.mark.parametrize(
    ("unlike", "balance", "late", "mend"),
    [(0.002, 0.5, 2, "both-mean"), (0.002, 0.5, 9, "both-left"), (0.002, -0.5, -9, "both-right"),
     (0.002, 6.0, 0, "both-left"), (0.002, -6.0, 0, "both-right"), (0.02, 0.0, 0, "none")],
)  # fmt: skip
def test_adding_up_is_done_only_where_it_dulls_nothing(unlike, balance, late, mend):
    assert plan_mono(Alike(unlike=unlike, balance_db=balance, identical=False), late, ROWS) == mend


def test_channels_that_are_the_same_already_are_left():
    one = talk(5, RATE)
    assert plan_mono(alike(np.stack([one, one], axis=1)), 0.0, ROWS) == "none"


@pytest.mark.parametrize(("late_us", "mend"), [(0.0, "both-mean"), (30.0, "both-")])
def test_copy_of_a_mono_tape_is_the_same_on_both_sides(tmp_path, late_us, mend):
    """Checked and finished as a whole. The coder's own noise differs by channel: the difference lies 40 dB under."""
    box = captured_box(tmp_path / "box", [Original(id="c1", carrier="cassette", keep="copy")])
    put_capture(box, "c1", write_sound(tmp_path / "c1-side-a.wav", mono_tape(late_us), RATE), "a")
    assert takeup("check", box.folder).status == 0
    (made,) = takeup("finish", box.folder, "--json", "--even-redo").json["made"]
    assert made["settings"]["channels_mended"].startswith(mend) and "mono" in made["notes"][0]
    assert made["settings"]["loudness_lufs"] == pytest.approx(-18, abs=0.2)
    with av.open(made["path"]) as container:
        samples = np.concatenate([frame.to_ndarray().T for frame in container.decode(audio=0)])
    left, right = samples.T
    assert 10 * np.log10(((left - right) ** 2).mean() / ((left + right) ** 2).mean()) < -40
