"""Hum and programmes with known parts, for taking one out of the other. Seeded; truth by construction."""

import numpy as np


def hum(seconds: float, rate_hz: int, hz: float, *, wander_hz: float = 0.0, dbfs=(-50, -56, -54, -60), seed: int = 7):
    """Harmonics of a line that wanders by so much within four minutes; peak level of each in dBFS."""
    rng = np.random.default_rng(seed)
    at = np.arange(round(seconds * rate_hz)) / rate_hz
    phase = 2 * np.pi * np.cumsum(hz + wander_hz * np.sin(2 * np.pi * at / 240 + rng.uniform(0, 6))) / rate_hz
    turns = rng.uniform(0, 2 * np.pi, len(dbfs))
    lines = (10 ** (level / 20) * np.sin((k + 1) * phase + turns[k]) for k, level in enumerate(dbfs))
    return sum(lines)


def talk(seconds: float, rate_hz: int, *, level: float = 0.1, hiss: float = 0.0008, seed: int = 8) -> np.ndarray:
    """Syllables of a gliding voice of 90 to 250 Hz with overtones, pauses of half a second to three, and tape hiss."""
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
            voice = sum(np.sin(2 * np.pi * k * pitch + k * k) / k for k in range(1, 25))
            out[at : at + length] += level * rng.uniform(0.3, 1) * np.hanning(length) * voice
            at += length + int(rng.uniform(0.01, 0.06) * rate_hz)
        at += int(rng.uniform(0.5, 3.0) * rate_hz)
    return out


def note(seconds: float, rate_hz: int, hz: float, from_s: float, to_s: float, level: float = 0.05) -> np.ndarray:
    """One plucked or held note with a soft beginning and end."""
    at = np.arange(round(seconds * rate_hz)) / rate_hz
    envelope = np.clip((at - from_s) / 0.05, 0, 1) * np.clip((to_s - at) / 0.2, 0, 1)
    return level * envelope * np.sin(2 * np.pi * hz * at + 0.3)
