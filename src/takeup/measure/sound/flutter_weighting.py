"""The weighting curve of wow and flutter: AES6-2008 table 1 = IEC 60386 table I, through an analogue fit.

The fit (check values, part 2; its worst error at the table's points is 0.27 dB): three zeros at 0, a pair of poles at
0.4463 Hz with Q 0.6545, poles at 1.5178 and 8.4873 Hz, a zero at 30.838 Hz over a pole at 42.740 Hz, 1 at 4 Hz.
"""

from __future__ import annotations

import numpy as np

PAIR_HZ, PAIR_Q = 0.4463, 0.6545
POLES_HZ = (1.5178, 8.4873)
ZERO_HZ, LAST_POLE_HZ = 30.838, 42.740
UNITY_HZ = 4.0


def response(hz: np.ndarray) -> np.ndarray:
    """Complex response at some frequencies [Hz]; 1 in magnitude at 4 Hz."""
    return _raw(np.asarray(hz, float)) / np.abs(_raw(np.array([UNITY_HZ])))[0]


def weighted(deviation: np.ndarray, rate_hz: float) -> np.ndarray:
    """A deviation over time, weighted; its mean goes to 0.

    Applied in the frequency domain, over a stretch with room behind it: the curve rings for some seconds at 0.4 Hz.
    """
    count = len(deviation)
    size = 1 << (count + round(8 * rate_hz)).bit_length()
    about = deviation - deviation.mean()
    spectrum = np.fft.rfft(about, size) * response(np.fft.rfftfreq(size, 1 / rate_hz))
    return np.fft.irfft(spectrum, size)[:count]


def _raw(hz: np.ndarray) -> np.ndarray:
    s = 1j * hz
    pair = s * s + s * PAIR_HZ / PAIR_Q + PAIR_HZ**2
    return s**3 / pair / ((s + POLES_HZ[0]) * (s + POLES_HZ[1])) * (s + ZERO_HZ) / (s + LAST_POLE_HZ)
