"""Whether decoded samples are numbers that sound can have: a float file may hold anything at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from takeup.errors import Unreadable

LARGEST = 1000.0  # 60 dB over full scale. Float samples may pass 1.0; whole numbers written as float pass this


def only_numbers(samples: np.ndarray, path: Path, first: int, rate_hz: int, *, coded: bool = False) -> np.ndarray:
    """The same samples, when they are.

    Parameters
    ----------
    samples : ndarray, shape (n, n_channels), full scale 1.0
    first, rate_hz : int
        Number of their first frame in the capture; for saying where.
    coded : bool
        They came out of a decoder, which gives such samples where a packet is damaged.

    Raises
    ------
    Unreadable
        ``sound.not-numbers`` for what is no finite number; ``sound.beyond-full-scale`` for what no converter gives;
        ``sound.damaged`` for either out of a decoder.
        Setting them to silence would judge a sound that is not in the file.
    """
    if not samples.size or max(-float(samples.min()), float(samples.max())) <= LARGEST:  # false for NaN, too
        return samples
    with np.errstate(invalid="ignore"):
        wrong = ~(np.abs(samples) <= LARGEST)
    at = first + int(np.flatnonzero(wrong.any(axis=1))[0])
    found = samples[wrong]
    if coded:
        raise Unreadable("sound.damaged", path=str(path), at=at / max(1, rate_hz))
    if np.isfinite(found).all():
        value = float(np.abs(found).max())
        raise Unreadable("sound.beyond-full-scale", path=str(path), at=at / max(1, rate_hz), value=value)
    raise Unreadable("sound.not-numbers", path=str(path), at=at / max(1, rate_hz))
