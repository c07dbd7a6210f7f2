"""Reads moving pictures and their sound through libav, one packet at a time; nothing is ever held whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Picture:
    """One decoded picture as it lies in the file: planes are never scaled, stretched or converted."""

    index: int  # counted from 0 as decoded
    at_s: float  # its own time stamp [s]
    planes: tuple[np.ndarray, ...]  # luma, then blue and red difference; uint8 or uint16; shape (rows, columns)
    bits: int  # of a sample
    interlaced: bool  # as the picture says of itself
    top_first: bool
    key: bool = False


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """Some decoded sound, in file order between the pictures."""

    first: int  # sample number of its first sample
    at_s: float
    samples: np.ndarray  # float32, shape (n_samples, n_channels), full scale 1.0
    rate_hz: int
