"""Hum and programmes with known parts, for taking one out of the other. Seeded; truth by construction."""

from functools import lru_cache

import numpy as np

BLOCK = 1 << 15
WANDER_S = 240


@lru_cache(maxsize=2)
def hum(seconds: float, rate_hz: int, hz: float, *, wander_hz: float = 0.0, dbfs=(-50, -56, -54, -60), seed: int = 7):
    """Harmonics of a line that wanders by so much within four minutes; peak level of each in dBFS. For reading only."""
    rng = np.random.default_rng(seed)
    begun, turns = rng.uniform(0, 6), np.exp(1j * rng.uniform(0, 2 * np.pi, len(dbfs)))
    out = np.empty(round(seconds * rate_hz))
    for first in range(0, len(out), BLOCK):  # so long a wave in one piece would run through all the memory
        part = out[first : first + BLOCK]
        at = (first + np.arange(len(part))) / rate_hz
        swing = 2 * np.pi / WANDER_S
        phase = 2 * np.pi * hz * at - 2 * np.pi * wander_hz / swing * (np.cos(swing * at + begun) - np.cos(begun))
        turn, lines = np.exp(1j * phase), np.zeros(len(part), complex)
        for level, start in zip(dbfs[::-1], turns[::-1]):  # Horner's way: a power of one turn for each harmonic
            lines += 10 ** (level / 20) * start
            lines *= turn
        part[:] = lines.imag
    out.setflags(write=False)
    return out


@lru_cache(maxsize=4)
def talk(seconds: float, rate_hz: int, *, level: float = 0.1, hiss: float = 0.0008, seed: int = 8) -> np.ndarray:
    """Syllables of a gliding voice of 90 to 250 Hz with overtones, pauses of half a second to three, and tape hiss.

    For reading only: who asks for the same again gets the same.
    """
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    out = hiss * rng.normal(size=count)
    at = int(rng.uniform(0.2, 1.5) * rate_hz)
    while at < count:
        for _ in range(rng.integers(2, 9)):
            length = min(int(rng.uniform(0.09, 0.35) * rate_hz), count - at)
            if length <= 0:
                break
            pitch = np.cumsum(np.linspace(*rng.uniform(90, 250, 2), length)) / rate_hz
            turn, voice = np.exp(2j * np.pi * pitch), np.zeros(length, complex)
            for k in range(24, 0, -1):
                voice += np.exp(1j * k * k) / k
                voice *= turn
            out[at : at + length] += level * rng.uniform(0.3, 1) * np.hanning(length) * voice.imag
            at += length + int(rng.uniform(0.01, 0.06) * rate_hz)
        at += int(rng.uniform(0.5, 3.0) * rate_hz)
    out.setflags(write=False)
    return out


def note(seconds: float, rate_hz: int, hz: float, from_s: float, to_s: float, level: float = 0.05) -> np.ndarray:
    """One plucked or held note with a soft beginning and end."""
    at = np.arange(round(seconds * rate_hz)) / rate_hz
    envelope = np.clip((at - from_s) / 0.05, 0, 1) * np.clip((to_s - at) / 0.2, 0, 1)
    return level * envelope * np.sin(2 * np.pi * hz * at + 0.3)
