"""How far up the programme of a capture reaches, and how its hiss is shaped: third octaves by what is heard when.

Contract: the upper edge of the highest third-octave band whose loud moments stand 6 dB above its quiet ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.spectrum import Spectrum
from takeup.measure.sound.states import HISS, PROGRAMME, States

LOUD_SHARE, QUIET_SHARE = 0.1, 0.1  # of the moments: the loudest and the quietest of each band
STANDS_DB = 6.0
NOISE_SPREAD = (
    3.8  # loudest against quietest tenth of steady noise, in standard deviations of its level (2 x 1.75, + 10 %)
)
FEWEST = 8  # moments
HALF_BAND = 10**0.05
A_CORNERS_HZ = (20.598997, 107.65265, 737.86223, 12194.217)  # IEC 61672-1 (from memory; 0 dB at 1 kHz is the check)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bandwidth:
    """What the bands tell. Mean squares of the louder channel; None where there are too few such moments."""

    hz: float | None  # upper edge of the programme
    cliff_hz: float | None
    lower_rate_hz: int | None
    bands_hz: np.ndarray
    programme: np.ndarray | None  # mean of each band while there is programme
    hiss: np.ndarray | None  # ... while there is only hiss, within the recorded part
    hiss_a_dbfs: float | None  # A-weighted level of the hiss


def bandwidth_of(spectrum: Spectrum | None, states: States, hop_s: float) -> Bandwidth | None:
    """Tell the bands' loud moments from their quiet ones within what was recorded.

    Parameters
    ----------
    spectrum : Spectrum or None
        None (nothing can be told) for a capture shorter than one window.
    states : States
        What each hop holds; leader and what lies outside the first and last programme are left out.
    hop_s : float
    """
    if spectrum is None:
        return None
    programme, hiss = _moments(spectrum, states, hop_s)
    recorded = spectrum.bands[programme | hiss]
    noise = _mean(spectrum.bands[hiss])
    return Bandwidth(
        hz=_upper_edge(recorded, spectrum) if len(recorded) >= FEWEST and programme.any() else None,
        cliff_hz=spectrum.cliff_hz,
        lower_rate_hz=spectrum.lower_rate_hz,
        bands_hz=spectrum.hz,
        programme=_mean(spectrum.bands[programme]),
        hiss=noise,
        hiss_a_dbfs=None if noise is None else float(10 * np.log10((noise * a_weight(spectrum.hz)).sum() + 1e-20)),
    )


def a_weight(hz: np.ndarray) -> np.ndarray:
    """A-weighting as a factor of power, 1 at 1 kHz."""

    def shape(f: np.ndarray) -> np.ndarray:
        a, b, c, d = (corner**2 for corner in A_CORNERS_HZ)
        f = np.square(f)
        return (d * f**2) ** 2 / ((f + a) ** 2 * (f + b) * (f + c) * (f + d) ** 2)

    return shape(np.asarray(hz, float)) / shape(np.array(1000.0))


def _moments(spectrum: Spectrum, states: States, hop_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Which windows lie in programme, and which wholly in hiss, between its first and last programme."""
    first = np.floor(spectrum.starts / spectrum.rate_hz / hop_s).astype(int)
    last = np.ceil((spectrum.starts + spectrum.size) / spectrum.rate_hz / hop_s).astype(int)
    sums = np.cumsum(np.stack([states.state == PROGRAMME, states.state == HISS, np.ones(len(states.state))], 1), axis=0)
    sums = np.concatenate([np.zeros((1, 3)), sums])
    last = np.minimum(last, len(states.state))
    inside = sums[last] - sums[np.minimum(first, last)]
    spans = np.flatnonzero(states.state == PROGRAMME)
    middle = (first + last) // 2
    within = (middle >= spans[0]) & (middle <= spans[-1]) if len(spans) else np.ones(len(first), bool)
    whole = inside[:, 2] > 0
    return within & whole & (inside[:, 0] > inside[:, 2] / 2), within & whole & (inside[:, 1] == inside[:, 2])


def _upper_edge(bands: np.ndarray, spectrum: Spectrum) -> float | None:
    """Upper edge of the highest band that stands out in any channel; None when none does."""
    levels = np.sort(bands.astype(float), axis=0)
    quiet = levels[: max(1, round(len(levels) * QUIET_SHARE))].mean(axis=0)
    loud = levels[-max(1, round(len(levels) * LOUD_SHARE)) :].mean(axis=0)
    stands = 10 * np.log10(np.maximum(loud, 1e-20) / np.maximum(quiet, 1e-20))
    stands = np.where(loud > 1e-15, stands, 0.0).max(axis=0)
    return _edge_of(stands >= np.maximum(STANDS_DB, _noise_spread_db(spectrum)), spectrum.hz)


def _noise_spread_db(spectrum: Spectrum) -> np.ndarray:
    """By how much the loud moments of steady noise stand above its quiet ones: narrow bands scatter widely."""
    width = spectrum.hz * (HALF_BAND - 1 / HALF_BAND)
    degrees = np.maximum(
        1.0, width * spectrum.size / spectrum.rate_hz / 1.5
    )  # a Hann window sees two thirds of its length
    return NOISE_SPREAD * 10 / np.log(10) / np.sqrt(degrees)


def _edge_of(stands: np.ndarray, hz: np.ndarray) -> float | None:
    at = np.flatnonzero(stands)
    return float(hz[at[-1]] * HALF_BAND) if len(at) else None


def _mean(bands: np.ndarray) -> np.ndarray | None:
    """Of the louder channel; None with too few moments."""
    if len(bands) < FEWEST:
        return None
    by_channel = bands.mean(axis=0, dtype=float)
    return by_channel[int(np.argmax(by_channel.sum(axis=1)))]
