"""Seeded hum with known truth: families of lines, wandering as a machine wanders or still as the mains stand."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .sound import Samples, db, sine

FAMILY = {1: -50.0, 2: -56.0, 3: -54.0}  # peak dBFS by harmonic: the check values' own (sound.md, part 4, fault 3)


def hum(
    rng: np.random.Generator,
    hz: float,
    count: int,
    rate: int = 48_000,
    *,
    levels_dbfs: Mapping[int, float] = FAMILY,
    wow_share: float = 0.0,
    wow_hz: float = 0.7,
    channels: int = 2,
) -> Samples:
    """A family of sines with random phases. Shape (count, channels). ``wow_share``: peak deviation of the speed."""
    at = np.arange(count) / rate if wow_share else np.zeros(0)
    turns = hz * at + (hz * wow_share / (2 * np.pi * wow_hz)) * np.sin(2 * np.pi * wow_hz * at)
    wave = np.zeros(count)
    for harmonic, level in levels_dbfs.items():
        phase = rng.uniform(0, 2 * np.pi)
        still = None if wow_share else sine(harmonic * hz, count, rate, phase)
        wave += db(level) * (np.sin(2 * np.pi * harmonic * turns + phase) if still is None else still)
    return np.repeat(wave[:, None], channels, axis=1)


def family_rms_dbfs(levels_dbfs: Mapping[int, float] = FAMILY) -> float:
    """RMS of a family: half the sum of the squared amplitudes."""
    return float(10 * np.log10(sum(db(level) ** 2 / 2 for level in levels_dbfs.values())))


def held_notes(
    rng: np.random.Generator, seconds: float, hz: tuple[float, ...], rate: int = 48_000, hold_s: float | None = None
) -> Samples:
    """A bass that plays one note after the other and lets each die away; RMS 1. Shape (n,)."""
    count, at = round(seconds * rate), 0
    out = np.zeros(count)
    while at < count:
        length = min(count - at, round((hold_s or rng.uniform(0.3, 2)) * rate))
        t = np.arange(length) / rate
        note = rng.choice(hz)
        wave = sum(np.sin(2 * np.pi * note * k * t) / k**1.2 for k in range(1, 7))
        out[at : at + length] = wave * np.minimum(1, t / 0.02) * np.exp(-t * rng.uniform(0.2, 1.5))
        at += length
    return out / out.std()


def pedal(seconds: float, hz: float, rate: int = 48_000) -> Samples:
    """An organ pedal held all the time, with four partials; RMS 1. Shape (n,)."""
    wave = np.sum([sine(hz * k, round(seconds * rate), rate, k) / k for k in range(1, 5)], axis=0)
    return wave / wave.std()
