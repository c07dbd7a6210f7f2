"""Invented sound: somebody talking, somebody playing, and the tape both are on. Seeded arrays, nothing from anybody.

Voices are pulse trains through moving resonances, in words and pauses; music is plucked strings. All at the rate asked
for, floats with full scale 1.0.
"""

from __future__ import annotations

import math

import numpy as np

VOWELS = ((730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480), (570, 840, 2410))  # formants [Hz]
SCALE = (0, 2, 4, 7, 9, 12)  # five tones and the octave, in half tones
WIDTHS = (80.0, 100.0, 140.0)  # of the formants [Hz]


def talk(seconds: float, rate_hz: int, seed: int, pitch_hz: float = 190.0) -> np.ndarray:
    """Syllables in phrases with pauses between them; shape (samples,), peak about 0.5."""
    dice = np.random.default_rng(seed)
    out = np.zeros(int(seconds * rate_hz), np.float64)
    at = 0.3
    while at < seconds - 0.6:
        for _ in range(int(dice.integers(4, 10))):
            length = float(dice.uniform(0.11, 0.24))
            begin = int(at * rate_hz)
            piece = _syllable(length, rate_hz, dice, pitch_hz * float(dice.uniform(0.85, 1.2)))
            end = min(begin + len(piece), len(out))
            out[begin:end] += piece[: max(0, end - begin)]
            at += length * float(dice.uniform(0.85, 1.1))
            if at > seconds - 0.5:
                break
        at += float(dice.uniform(0.25, 0.8))
    return 0.5 * out / max(1e-9, float(np.abs(out).max()))


def _syllable(length: float, rate_hz: int, dice: np.random.Generator, pitch_hz: float) -> np.ndarray:
    from scipy.signal import lfilter  # here, for whoever makes no voices: it takes a second to import

    count = int(length * rate_hz)
    time = np.arange(count) / rate_hz
    phase = np.cumsum(pitch_hz * (1 + 0.02 * np.sin(math.tau * 5 * time) - 0.1 * time)) / rate_hz
    source = (phase % 1.0) ** 3 - 0.25 + 0.05 * dice.normal(size=count)
    if dice.random() < 0.4:  # begins with a consonant: a burst of noise
        burst = int(0.05 * rate_hz)
        source[:burst] = 0.8 * dice.normal(size=min(burst, count))
    out = np.zeros(count)
    for gain, formant, width in zip((1.0, 0.6, 0.3), VOWELS[int(dice.integers(len(VOWELS)))], WIDTHS):
        radius = math.exp(-math.pi * width / rate_hz)
        feedback = [1.0, -2 * radius * math.cos(math.tau * formant / rate_hz), radius * radius]
        tone = lfilter([1 - radius], feedback, source)
        out += gain * tone / max(1e-9, float(np.abs(tone).max()))
    rise = np.minimum(1.0, np.minimum(time / 0.02, (time[-1] - time) / 0.05))
    return out * rise * float(dice.uniform(0.5, 1.0))


def strings(seconds: float, rate_hz: int, seed: int) -> np.ndarray:
    """A tune on plucked strings, left and right apart a little; shape (samples, 2), peak about 0.5."""
    dice = np.random.default_rng(seed)
    out = np.zeros((int(seconds * rate_hz), 2))
    at, tone = 0.0, 2
    while at < seconds - 0.3:
        tone = int(np.clip(tone + dice.integers(-2, 3), 0, len(SCALE) - 1))
        pitch = 220.0 * 2 ** (SCALE[tone] / 12)
        length = float(dice.choice([0.25, 0.25, 0.5]))
        time = np.arange(int(min(1.2, seconds - at) * rate_hz)) / rate_hz
        note = np.zeros(len(time))
        for harmonic in range(1, 12):
            decay = np.exp(-time * (1.6 + 0.7 * harmonic))
            note += decay / harmonic**1.2 * np.sin(math.tau * pitch * harmonic * (1 + 2e-4 * harmonic**2) * time)
        note *= np.minimum(1.0, time / 0.004)
        begin, place = int(at * rate_hz), 0.35 + 0.3 * dice.random()
        out[begin : begin + len(note)] += note[: len(out) - begin, None] * [place, 1 - place]
        at += length
    return 0.5 * out / max(1e-9, float(np.abs(out).max()))


def hiss(count: int, seed: int, level_dbfs: float) -> np.ndarray:
    """Tape noise of two tracks, each with its own, a little stronger in the treble; shape (count, 2)."""
    dice = np.random.default_rng(seed)
    noise = dice.standard_normal((count + 1, 2), dtype=np.float32)
    noise = noise[1:] - 0.35 * noise[:-1]
    return noise * (10 ** (level_dbfs / 20) / math.sqrt(1 + 0.35**2))


def side(programme: np.ndarray, rate_hz: int, seed: int, *, blank_s: float, leader_s: float = 1.0) -> np.ndarray:
    """One side of a cassette as its deck plays it: leader, tape noise, the programme on it, blank tape, leader.

    Parameters
    ----------
    programme : ndarray, shape (samples, 2)
    blank_s : float
        Recorded silence after the programme [s].
    """
    before, after = int(0.8 * rate_hz), int(blank_s * rate_hz)
    tape = np.zeros((before + len(programme) + after, 2), np.float32)
    tape[before : before + len(programme)] = programme
    tape[1:] = np.float32(0.4) * tape[1:] + np.float32(0.6) * tape[:-1]  # the treble a cassette loses
    tape += hiss(len(tape), seed, -56.0)
    leader = int(leader_s * rate_hz)
    out = np.concatenate([np.zeros((leader, 2)), tape, np.zeros((leader, 2))])
    edge = int(0.005 * rate_hz)  # the noise comes and goes with the tape, not between two samples
    for begin in (leader, len(out) - leader - edge):
        ramp = np.linspace(0, 1, edge) if begin == leader else np.linspace(1, 0, edge)
        out[begin : begin + edge] *= ramp[:, None]
    return out + hiss(len(out), seed + 1, -92.0)  # the station's own electronics


def through_input(sound: np.ndarray, gain_db: float) -> np.ndarray:
    """The station's converter at a recording level: whatever passes full scale is cut off flat."""
    top = 1 - 2.0**-23
    return np.clip(sound * 10 ** (gain_db / 20), -1.0, top)
