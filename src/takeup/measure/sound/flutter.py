"""Wow and flutter of a measuring tone near 3 kHz: demodulated, weighted, read on a two-sigma meter.

AES6-2008 / IEC 60386 as the check values repeat them (part 2): the value is the deviation that is exceeded 5 % of the
time, after the weighting curve, in per cent. The tone's frequency is followed by the phase of its analytic signal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.flutter_weighting import weighted

NOMINAL_HZ = (3000.0, 3150.0)
REACH = 0.1  # of the nominal frequency
LOWEST_HZ, HIGHEST_HZ = NOMINAL_HZ[0] * (1 - REACH), NOMINAL_HZ[1] * (1 + REACH)
PIECE_S = 0.5
DOMINANT = 0.9  # of a piece's power must lie at the tone
BAND_HZ = 250.0  # of the tone's own modulation on each side: flutter up to 200 Hz
RATE_HZ = 4000.0  # of the deviation: its differences lose 0.04 dB at 200 Hz
GLANCE = 2048  # thin samples that a first look takes
LEAST_S, MOST_S = 5.0, 600.0
SETTLE_S = 1.0  # the weighting's own beginning, and the demodulator's
EXCEEDED = 0.05  # share of the time in which the two-sigma value is exceeded
MARGIN_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class FlutterState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: float
    piece: int
    waiting: tuple[np.ndarray, ...] = ()
    waiting_count: int = 0
    kept: tuple[np.ndarray, ...] = ()  # the longest unbroken stretch of the tone so far
    running: tuple[np.ndarray, ...] = ()  # the stretch that lasts
    pieces: int = 0
    tones: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Flutter:
    """Deviations in per cent of the tone's mean frequency."""

    weighted_percent: float
    unweighted_percent: float  # 0.1 to 200 Hz, the same meter
    hz: float  # mean frequency of the tone
    seconds: float  # read
    share: float  # of the capture that is the tone


def begin_flutter(thin_rate_hz: float) -> FlutterState:
    """Nothing heard yet."""
    return FlutterState(rate_hz=thin_rate_hz, piece=round(PIECE_S * thin_rate_hz))


def step_flutter(state: FlutterState, thin: np.ndarray) -> FlutterState:
    """Take in thin samples, shape (n, channels). The louder channel of each piece says whether it is the tone."""
    state = replace(state, waiting=(*state.waiting, thin[:, :2].copy()), waiting_count=state.waiting_count + len(thin))
    if state.waiting_count < state.piece:
        return state
    samples = np.concatenate(state.waiting)
    while len(samples) >= state.piece:
        state, samples = _taken(state, samples[: state.piece]), samples[state.piece :]
    return replace(state, waiting=(samples.copy(),), waiting_count=len(samples))


def finish_flutter(state: FlutterState) -> Flutter | None:
    """The reading; None where no tone of at least 5 s was heard."""
    stretch = max((state.kept, state.running), key=len)
    if len(stretch) * PIECE_S < LEAST_S or not state.pieces:
        return None
    samples = np.concatenate(stretch)
    loud = int(np.argmax((samples.astype(float) ** 2).mean(axis=0)))
    deviation, hz = _demodulated(samples[:, loud].astype(float), state.rate_hz)
    settle = round(SETTLE_S * RATE_HZ)
    heavy = weighted(deviation, RATE_HZ)
    return Flutter(
        weighted_percent=100 * two_sigma(heavy[settle:-settle]),
        unweighted_percent=100 * two_sigma((deviation - deviation.mean())[settle:-settle]),
        hz=hz,
        seconds=len(samples) / state.rate_hz,
        share=state.tones / state.pieces,
    )


def two_sigma(deviation: np.ndarray) -> float:
    """The magnitude that is exceeded 5 % of the time: 0.9969 of a sine's peak, 1.960 sigma of noise."""
    return float(np.quantile(np.abs(deviation), 1 - EXCEEDED))


def _taken(state: FlutterState, piece: np.ndarray) -> FlutterState:
    sounding = _is_tone(piece, state.rate_hz)
    state = replace(state, pieces=state.pieces + 1, tones=state.tones + sounding)
    if sounding:
        running = (*state.running, piece.copy())
        return replace(state, running=running[-round(MOST_S / PIECE_S) :])
    return replace(state, kept=max((state.kept, state.running), key=len), running=())


def _is_tone(piece: np.ndarray, rate_hz: float) -> bool:
    """Whether nearly all power lies in one narrow place between 2.7 and 3.47 kHz."""
    first = piece[:GLANCE]
    crossings = (first[1:] * first[:-1] < 0).sum(axis=0) * rate_hz / (2 * GLANCE)
    if not ((crossings >= LOWEST_HZ) & (crossings <= HIGHEST_HZ)).any():  # cheap, and wrong for no clean tone
        return False
    loud = piece[:, int(np.argmax((piece.astype(float) ** 2).sum(axis=0)))].astype(float)
    size = 2 ** int(np.log2(len(loud)))
    part = loud[:size] - loud[:size].mean()
    power = np.abs(np.fft.rfft(part * np.hanning(size))) ** 2
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    top = float(hz[power.argmax()])
    near = np.abs(hz - top) <= BAND_HZ
    return LOWEST_HZ <= top <= HIGHEST_HZ and float(power[near].sum()) >= DOMINANT * float(power[hz > 30].sum())


def _demodulated(samples: np.ndarray, rate_hz: float) -> tuple[np.ndarray, float]:
    """Relative deviation of the frequency RATE_HZ times a second, and the mean frequency."""
    from scipy.fft import fft, ifft, next_fast_len

    count = len(samples)
    spectrum = fft(samples - samples.mean(), next_fast_len(count))
    hz = np.fft.fftfreq(len(spectrum), 1 / rate_hz)
    band = (hz >= LOWEST_HZ - 2 * BAND_HZ) & (hz <= HIGHEST_HZ + 2 * BAND_HZ)
    middle = float(hz[band][np.abs(spectrum[band]).argmax()])
    edge = np.clip((np.abs(hz - middle) - BAND_HZ) / BAND_HZ, 0, 1)
    analytic = ifft(spectrum * (hz > 0) * (0.5 + 0.5 * np.cos(np.pi * edge)))[:count]
    phase = np.unwrap(np.angle(analytic))
    margin = round(MARGIN_S * rate_hz)
    mean = float((phase[-margin] - phase[margin]) / (count - 2 * margin) * rate_hz / (2 * np.pi))
    left = phase - 2 * np.pi * mean * np.arange(count) / rate_hz
    at = np.arange(0, (count - 1) / rate_hz, 1 / RATE_HZ)
    sampled = np.interp(at, np.arange(count) / rate_hz, left)
    return np.diff(sampled) * RATE_HZ / (2 * np.pi * mean), mean
