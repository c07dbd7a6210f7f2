"""Random sides, checked and trimmed: no programme is cut off. What sounds, and from where on, is known by making."""

import numpy as np
import pytest
from make.captures import noise_bursts
from make.hum import talk

from takeup.plan.finishing import plan_trim
from takeup.streams import Original, Report, SoundStream
from takeup.tables.loader import load_rows
from takeup.tasks.checking import Asked
from takeup.tasks.sound_pass import SoundPass

ROWS, RATE = load_rows(), 16_000
STREAM = SoundStream(codec="pcm_s24le", rate_hz=RATE, channels=2, bits=24, lossy=False, seconds_stated=None)
ASKED = Asked(original=Original(id="c1", carrier="cassette"), mains_hz=50)
KINDS = ("talk", "noise", "tone", "fade", "soft talk")


def sounding(kind, rng, seed):
    seconds = float(rng.uniform(6, 14))
    at = np.arange(int(seconds * RATE)) / RATE
    if kind == "tone":
        return rng.uniform(0.02, 0.3) * np.sin(2 * np.pi * rng.uniform(150, 900) * at) * np.hanning(len(at)) ** 0.2
    if kind in ("noise", "fade"):
        made = noise_bursts(seconds, rng.uniform(0.1, 0.6), RATE, 1, seed)[: len(at), 0]
        return made * (np.linspace(0, 1, len(at)) ** 2 if kind == "fade" else 1)
    return talk(seconds, RATE, level=0.02 if kind == "soft talk" else rng.uniform(0.05, 0.3), hiss=0, seed=seed)


def side(kind, seed):
    """Leader, hiss, programme, hiss, leader; where the programme's 100 ms rise over the hiss by 3 dB [s]."""
    rng = np.random.default_rng(seed)
    programme, hiss = sounding(kind, rng, seed), 10 ** (rng.uniform(-62, -44) / 20)
    before, after, head, tail = (int(rng.uniform(0, most) * RATE) for most in (6, 6, 4, 4))
    tape = np.concatenate([np.zeros(before), programme, np.zeros(after)])
    tape += hiss * rng.normal(size=len(tape))
    leader = [10 ** (-82 / 20) * rng.normal(size=count) for count in (head, tail)]
    power = np.convolve(programme**2, np.ones(RATE // 10) / (RATE // 10), "same")
    heard = (np.flatnonzero(power > 2 * hiss**2) + before + head) / RATE
    whole = np.concatenate([leader[0], tape, leader[1]])
    return np.stack([whole, whole], axis=1).astype(np.float32), heard


def trimmed(samples):
    walk = SoundPass(STREAM, ASKED, ROWS)
    for block in np.array_split(samples, 4):
        walk.hear(block)
    part = walk.finish()
    report = Report(
        medium="sound", seconds=part.seconds, measures=part.measures, findings=part.findings, trace=part.trace
    )
    return plan_trim(report, part.seconds, ROWS)


@pytest.mark.parametrize("kind", KINDS)
def test_no_programme_is_cut_off(kind):
    for seed in range(5):
        samples, heard = side(kind, 1000 + seed)
        stretch = trimmed(samples)
        if stretch is not None and len(heard):
            assert stretch[0] <= heard[0] and stretch[1] >= heard[-1], f"{kind} {seed}"


def test_plain_side_is_cut_a_second_before_and_two_after():
    """Leader 2 s, hiss 5 s at -58 dBFS, noise at about -25, hiss 6 s, leader 2 s: the case of the check values."""
    rng = np.random.default_rng(9)
    programme = noise_bursts(12, 0.25, RATE, 1, 3)[:, 0] + 0.01 * rng.normal(size=12 * RATE)
    tape = np.concatenate([np.zeros(5 * RATE), programme, np.zeros(6 * RATE)])
    tape += 10 ** (-58 / 20) * rng.normal(size=len(tape))
    leader = 10 ** (-80 / 20) * rng.normal(size=2 * RATE)
    whole = np.concatenate([leader, tape, leader])
    first, last = trimmed(np.stack([whole, whole], axis=1).astype(np.float32))
    assert first == pytest.approx(6.0, abs=0.15) and last == pytest.approx(21.0, abs=0.15)
