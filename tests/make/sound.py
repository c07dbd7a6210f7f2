"""Seeded sound with known truth: voices, tunes, hiss, leader, and the faults of a capture laid on them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


def db(level: float) -> float:
    """A level in dB as a factor."""
    return 10 ** (level / 20)


def sine(hz: float, count: int, rate: int = 48_000, phase: float = 0.0) -> Samples:
    """sin(2 pi hz t + phase), within 1e-10; shape (count,). Few sines are taken: of one row, and of where rows begin.

    The sine of a sum does the rest.
    """
    row, turn = 1024, 2 * np.pi * hz / rate
    within, rows = turn * np.arange(row), turn * row * np.arange(-(-count // row)) + phase
    made = np.outer(np.sin(rows), np.cos(within)) + np.outer(np.cos(rows), np.sin(within))
    return made.reshape(-1)[:count]


def tone(hz: float, level_dbfs: float, seconds: float, rate: int = 48_000, channels: int = 2) -> Samples:
    """A sine of a peak level, the same in all channels. Shape (n, channels)."""
    return np.repeat((db(level_dbfs) * sine(hz, round(seconds * rate), rate))[:, None], channels, axis=1)


def hiss(rng: np.random.Generator, level_dbfs: float, count: int, channels: int = 2) -> Samples:
    """White noise of an RMS level, its own in each channel."""
    return db(level_dbfs) * rng.standard_normal((count, channels))


def shaped(rng: np.random.Generator, count: int, slope_db_per_octave: float, low_hz: float, high_hz: float, rate: int):
    """Noise with a sloping spectrum between two corners, RMS 1. Shape (count,)."""
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / rate)
    weight = (np.maximum(frequency, 1.0) / 1000) ** (slope_db_per_octave / 6.0206)
    weight[(frequency < low_hz) | (frequency > high_hz)] = 0
    made = np.fft.irfft(spectrum * weight, count)
    return made / made.std()


def talk(rng: np.random.Generator, seconds: float, rate: int = 48_000) -> Samples:
    """Somebody talking, RMS about 1 while talking: voiced syllables with falling pitch, hissing consonants, pauses.

    Shape (n,). Words of two to six syllables, pauses of 0.2 to 1.2 s between them.
    """
    count = round(seconds * rate)
    out = np.zeros(count)
    at = round(0.02 * rate)
    while at < count:
        pitch = rng.uniform(90, 230)
        for _ in range(rng.integers(2, 7)):
            length = round(rng.uniform(0.09, 0.26) * rate)
            t = np.arange(length) / rate
            glide = pitch * (1 + 0.06 * np.sin(2 * np.pi * rng.uniform(1, 4) * t) - 0.4 * t)
            phase = 2 * np.pi * np.cumsum(glide) / rate
            formants = rng.uniform([300, 900, 2200], [800, 2100, 3200])
            turn, voices = np.exp(1j * phase), np.zeros(length, complex)
            for harmonic in range(29, 0, -1):  # Horner's way: a power of one turn for each harmonic
                hz = harmonic * pitch
                gain = sum(1 / (1 + ((hz - f) / (90 + 0.05 * f)) ** 2) / (k + 1) for k, f in enumerate(formants))
                voices = (voices + gain * np.exp(1j * harmonic)) * turn
            voice = voices.imag
            voice *= np.sin(np.pi * np.arange(length) / length) ** 0.6 / max(voice.std(), 1e-9)
            if rng.random() < 0.4:
                breath = np.diff(rng.standard_normal(length + 1)) * 0.2
                shape = np.interp(np.arange(length), np.array([0, 0.2, 0.4, 0.55]) * length, [0, 1, 1, 0])
                voice = np.concatenate([np.zeros(length // 2), voice])[:length] + breath * shape
            end = max(at, min(count, at + length))
            out[at:end] += rng.uniform(0.5, 1.2) * voice[: end - at] if end > at else 0.0
            at += length
        at += round(rng.uniform(0.2, 1.2) * rate)
    return out


@lru_cache(maxsize=64)
def _note(hz: float, rate: int) -> Samples:
    """The first 1.5 s of a plucked note, for reading only: a tune cuts it where the next sound wants its place."""
    t = np.arange(round(1.5 * rate)) / rate
    turn, notes = np.exp((2j * np.pi * hz - 1.7) * t), np.zeros(len(t), complex)
    for k in range(8, 0, -1):  # Horner's way, as above: every overtone turns and dies away so many times faster
        notes += np.exp(1j * k * k) / k**1.3
        notes *= turn
    note = notes.imag.copy()
    note.setflags(write=False)
    return note


def tune(rng: np.random.Generator, seconds: float, rate: int = 48_000) -> Samples:
    """Plucked and blown notes over a beat, without a pause; two channels that share most of it. Shape (n, 2)."""
    count = round(seconds * rate)
    out = np.zeros((2, count))
    scale = 220 * 2 ** (np.array([0, 2, 4, 7, 9, 12, 14, 16]) / 12)
    beat = 0.25
    for step in range(int(seconds / beat) + 1):
        start = round(step * beat * rate)
        for _ in range(rng.integers(1, 4)):
            length = min(count - start, round(rng.uniform(0.4, 1.5) * rate))
            if length <= 0:
                continue
            note = _note(rng.choice(scale) * rng.choice([0.5, 1, 1, 2]), rate)[:length]
            side = rng.uniform(0.25, 0.75)
            loud = rng.uniform(0.3, 1)
            for plane, share in zip(out, np.sqrt([1 - side, side])):
                plane[start : start + length] += note * (share * loud)
        if step % 2 == 0:
            length = min(count - start, round(0.08 * rate))
            knock = rng.standard_normal(max(length, 0)) * np.exp(-np.arange(max(length, 0)) / (0.015 * rate))
            out[:, start : start + len(knock)] += 0.5 * knock
    return np.ascontiguousarray(out.T) / np.sqrt((out**2).mean())


def gated(rng: np.random.Generator, seconds: float, rate: int = 48_000, on_s: float = 2.0, off_s: float = 1.5):
    """Pink noise switched on and off at random (exponential times); RMS 1 while on. Samples, and where it is on."""
    count = round(seconds * rate)
    on = np.zeros(count, bool)
    at = 0
    while at < count:
        length = round(rng.exponential(on_s) * rate)
        on[at : at + length] = True
        at += length + round(rng.exponential(off_s) * rate)
    return shaped(rng, count, -3.01, 20, 18_000, rate) * on, on


def side(
    programme: Samples,
    rng: np.random.Generator,
    rate: int = 48_000,
    *,
    programme_dbfs: float = -24.0,
    hiss_dbfs: float = -58.0,
    leader_dbfs: float = -82.0,
    before_s: tuple[float, float] = (2.0, 2.0),
    after_s: tuple[float, float] = (7.0, 2.0),
) -> Samples:
    """A whole side: leader, hiss, programme in hiss, hiss, leader. Shape (n, channels).

    Parameters
    ----------
    programme : shape (n,) (both channels the same) or (n, 2), RMS about 1
    before_s : seconds of leader and of hiss before it
    after_s : seconds of hiss and of leader after it
    """
    both = np.repeat(programme[:, None], 2, axis=1) if programme.ndim == 1 else programme
    lead, hiss_before = (round(s * rate) for s in before_s)
    hiss_after, run_out = (round(s * rate) for s in after_s)
    tape = np.concatenate([np.zeros((hiss_before, 2)), db(programme_dbfs) * both, np.zeros((hiss_after, 2))])
    tape = tape + hiss(rng, hiss_dbfs, len(tape))
    return np.concatenate([np.zeros((lead, 2)), tape, np.zeros((run_out, 2))]) + hiss(
        rng, leader_dbfs, lead + len(tape) + run_out
    )


def write(path: Path, samples: Samples, rate: int = 48_000, subtype: str = "PCM_24", form: str = "WAV") -> Path:
    """Write with an independent library (libsndfile)."""
    import soundfile

    soundfile.write(path, samples, rate, subtype=subtype, format=form)
    return path
