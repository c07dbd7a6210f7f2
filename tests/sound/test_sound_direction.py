"""Which way time runs (check values, part 4, fault 13): decays become attacks when a side is turned round.

Truth by construction: the same sound forward, turned round, and sounds that are the same both ways. Forward recorded
voices and instruments were tried too (decision 0066); no recording is in the repository.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from make.sound import db, gated, hiss, side, tune, write
from make.sound_dropouts import claps, cut_notes, drums
from scipy.signal import fftconvolve

from takeup.judge.sound_direction import judge_direction
from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.direction import Direction, begin_direction, finish_direction, step_direction
from takeup.measure.sound.fine import begin_fine, step_fine
from takeup.media.probe import look_at
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_sound import check_sound
from takeup.tasks.checking import Asked

RATE = 48_000


def direction(samples: np.ndarray, rate: int = RATE, piece: int | None = None) -> Direction | None:
    fine, powers = step_fine(begin_fine(rate, samples.shape[1]), samples.astype(np.float32))
    state = begin_direction()
    for at in range(0, len(powers), piece or len(powers)):
        state = step_direction(state, powers[at : at + (piece or len(powers))])
    return finish_direction(state)


def told(samples: np.ndarray, rate: int = RATE) -> bool:
    return bool(judge_direction(direction(samples, rate), load_rows(), SoundKnown(carrier="cassette")))


def spoken(rng: np.random.Generator, seconds: float, rate: int = RATE) -> np.ndarray:
    """Vowels as a mouth makes them: pulses through three ringing resonances, in syllables that swell and fade alike."""
    count = round(seconds * rate)
    pulses, at = np.zeros(count), 0.0
    while at < count:
        pulses[int(at)] = 1 + 0.1 * rng.standard_normal()
        at += rate / (110 + 40 * np.sin(at / rate) + 3 * rng.standard_normal())
    t = np.arange(round(0.03 * rate)) / rate
    mouth = sum(
        np.exp(-np.pi * width * t) * np.sin(2 * np.pi * hz * t) for hz, width in ((600, 90), (1500, 110), (2700, 160))
    )
    voice = fftconvolve(pulses, mouth)[:count]
    gate = np.sin(np.pi * ((np.arange(count) / rate / 0.25) % 1)) ** 2
    words = np.repeat(rng.random(count // rate + 1) < 0.7, rate)[:count]
    return voice * gate * words / voice.std()


@cache
def pluck(step: int, rate: int) -> np.ndarray:
    """A second of a string, so many half tones up; for reading only. Each overtone dies away sooner."""
    t = np.arange(rate) / rate
    turn, note = np.exp((2j * np.pi * 220 * 2 ** (step / 12) - 2) * t), np.zeros(rate, complex)
    for k in range(11, 0, -1):  # Horner's way: a power of one turn for each overtone
        note += 1 / k
        note *= turn
    return np.exp(-4 * t) * note.imag


def plucked(rng: np.random.Generator, seconds: float, rate: int = RATE) -> np.ndarray:
    out = np.zeros(round(seconds * rate))
    for at in np.sort(rng.uniform(0, seconds - 1, int(3 * seconds))):
        first = round(at * rate)
        out[first : first + rate] += pluck(int(rng.integers(0, 24)), rate)
    return out / out.std()


def on_tape(rng: np.random.Generator, sound: np.ndarray, hiss_dbfs: float = -55.0) -> np.ndarray:
    both = sound if sound.ndim == 2 else np.repeat(sound[:, None], 2, axis=1)
    return both / both.std() * db(-24) + hiss(rng, hiss_dbfs, len(both))


MADE = {"spoken": spoken, "plucked": plucked, "tune": tune, "drums": drums, "claps": claps}


@pytest.mark.parametrize("kind", MADE)
def test_what_rings_is_told_when_turned_round_and_only_then(kind):
    rng = np.random.default_rng(3)
    samples = on_tape(rng, MADE[kind](rng, 60, RATE))
    assert not told(samples)
    assert told(samples[::-1])


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_other_rates_tell_the_same(rate):
    rng = np.random.default_rng(4)
    samples = on_tape(rng, spoken(rng, 50, rate))
    assert not told(samples, rate)
    assert told(samples[::-1], rate)


@cache
def the_same_both_ways(kind: str) -> np.ndarray:
    """``swelling``: noise that swells and fades as slowly, over tenths of a second."""
    rng = np.random.default_rng(5)
    t = np.arange(60 * RATE) / RATE
    sound = {
        "gated": lambda: gated(rng, 60)[0],
        "notes": lambda: cut_notes(rng, 60, RATE),
        "hiss": lambda: rng.standard_normal(60 * RATE),
        "tone": lambda: np.sin(2 * np.pi * 3150 * t),
        "swelling": lambda: rng.standard_normal(60 * RATE) * np.sin(np.pi * t / 0.6) ** 2,
    }[kind]()
    return on_tape(rng, sound)


@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("kind", ["gated", "notes", "hiss", "tone", "swelling"])
def test_what_is_the_same_both_ways_says_nothing(kind, way):
    assert not told(the_same_both_ways(kind)[::way])


@pytest.mark.parametrize("way", [1, -1])
def test_what_swells_over_tenths_of_a_second_and_stops_is_not_backwards(way):
    """A blown note: 0.3 s to swell, 30 ms to stop. Its slopes are a piper's, not time's."""
    rng = np.random.default_rng(6)
    count = 60 * RATE
    phase = (np.arange(count) / RATE) % 0.5
    shape = np.interp(phase, [0, 0.3, 0.45, 0.48], [0, 1, 0.9, 0])
    hz = 400 * 2 ** (np.repeat(rng.integers(0, 12, 120), RATE // 2) / 12)
    wave = np.cumsum(2 * np.pi * hz / RATE)
    samples = on_tape(rng, shape * sum(np.sin(k * wave) / k**1.5 for k in range(1, 9)))
    assert not told(samples[::way])


def test_little_sound_says_nothing():
    rng = np.random.default_rng(7)
    assert not told(on_tape(rng, spoken(rng, 30))[::-1])
    assert direction(np.zeros((RATE * 60, 2))) is None


def test_any_pieces_give_the_same():
    rng = np.random.default_rng(8)
    samples = on_tape(rng, spoken(rng, 45))
    assert direction(samples, piece=777) == direction(samples)


def test_a_whole_side_that_runs_backwards_is_to_be_captured_again(tmp_path):
    rng = np.random.default_rng(9)
    samples = side(spoken(rng, 60), rng)
    for name, wave, wanted in (("a", samples, []), ("b", samples[::-1], [("redo", "helps")])):
        path = write(tmp_path / f"{name}.wav", wave)
        report = check_sound(path, look_at(path), Asked(original=Original(id="t1", carrier="cassette")), load_rows())
        assert [(one.verdict, one.again) for one in report.findings if one.name == "reversed"] == wanted
