"""Level histories of invented recordings, for comparing captures: seeded, not made the way the comparison looks."""

import numpy as np


def talk(seconds: float, seed: int, step_s: float = 0.1) -> np.ndarray:
    """Somebody talking: phrases of a gamma length with word-sized humps, pauses of a lognormal length [dBFS]."""
    rng = np.random.default_rng(seed)
    level: list[float] = []
    while len(level) * step_s < seconds:
        phrase = int(rng.gamma(3.0, 0.8) / step_s) + 2
        loud = -22 + rng.normal(0, 4)
        humps = loud + 5 * np.sin(np.cumsum(rng.uniform(0.5, 2.5, phrase))) + rng.normal(0, 1.5, phrase)
        level += list(humps)
        level += list(-55 + rng.normal(0, 0.6, int(rng.lognormal(-0.3, 0.7) / step_s) + 1))
    return np.array(level[: int(seconds / step_s)])


def song(seconds: float, seed: int, step_s: float = 0.1) -> np.ndarray:
    """Music: a beat, bars that repeat, verses that swell; little between them [dBFS]."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds / step_s)) * step_s
    beat = rng.uniform(0.4, 0.8)
    bar = rng.normal(0, 2.0, 16)
    verses = np.arange(0, seconds + 24, 12.0)
    swell = np.interp(t, verses, rng.normal(-20, 4, len(verses)))
    return swell + bar[(t / beat).astype(int) % 16] + 2 * np.exp(-((t % beat) / 0.15)) + rng.normal(0, 0.7, len(t))


def played_again(history: np.ndarray, *, start_s: float, rate: float, gain_db: float, seed: int, step_s: float = 0.1):
    """The same recording from another playing: begun elsewhere, at another speed and level, with its own noise."""
    rng = np.random.default_rng(seed)
    length = len(history) * step_s
    at = np.arange(0, (length - start_s) / rate, step_s) * rate + start_s
    again = np.interp(at, np.arange(len(history)) * step_s, history) + gain_db
    return again + rng.normal(0, 0.3, len(again))


def as_bytes(history: np.ndarray) -> bytes:
    return np.clip(np.round(history + 100), 0, 100).astype(np.uint8).tobytes()
