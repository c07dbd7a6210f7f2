"""What kind of PCM lies between pictures, told from its bytes alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SHAPES = {
    2: ((1, 2),),
    3: ((1, 3),),
    4: ((2, 2),),
    6: ((2, 3),),
    8: ((4, 2), (2, 4)),
    12: ((4, 3),),
    16: ((8, 2), (4, 4)),
}
"""(channels, bytes a sample) by bytes of one sample of all channels, the usual one first."""
RATES = (48000, 44100, 32000)
NEAR = 0.02  # sound and pictures are cut into each other by whole samples: their lengths agree within a picture
WIDER = 4.0  # the usual shape is left only for one that is this much smoother


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundShape:
    """PCM as it lies in a file."""

    rate_hz: int
    channels: int
    sample_bytes: int
    big_endian: bool

    @property
    def frame_bytes(self) -> int:
        return self.channels * self.sample_bytes

    @property
    def codec(self) -> str:
        """libav's name."""
        return f"pcm_s{8 * self.sample_bytes}{'be' if self.big_endian else 'le'}"


def sound_shape(data: bytes, bytes_s: float, counted: int) -> SoundShape | None:
    """Channels, width, byte order and rate; None where none fits.

    Parameters
    ----------
    data : bytes
        some of the sound, from the beginning of a sample
    bytes_s : float
        how many bytes a second of it takes, as pictures tell
    counted : int
        of how many bytes that was told: few tell it roughly

    Notes
    -----
    The right way to read PCM is the one in which it changes least from sample to sample: any other makes a low byte,
    which is as good as random, weigh most.
    """
    slack = max(NEAR, min(0.06, 4096 / max(counted, 1)))
    pairs = [(abs(np.log(bytes_s / (frame * rate))), frame, rate) for frame in SHAPES for rate in RATES]
    apart, frame, rate = min(pairs) if bytes_s > 0 else (1.0, 0, 0)
    if apart > slack:
        return None
    found = []
    for number, (channels, width) in enumerate(SHAPES[frame]):
        for big in (False, True):
            weight = 1.0 if number == 0 else WIDER
            found.append((weight * _roughness(data, channels, width, big), number, big, channels, width))
    _, _, big, channels, width = min(found)
    return SoundShape(rate_hz=rate, channels=channels, sample_bytes=width, big_endian=big)


def samples_from(data: bytes, shape: SoundShape) -> np.ndarray:
    """PCM bytes as float32 samples, shape (n_samples, n_channels), full scale 1.0."""
    number = len(data) // shape.frame_bytes
    codes = _codes(data[: number * shape.frame_bytes], shape.sample_bytes, shape.big_endian)
    return (codes / 2.0**31).astype(np.float32).reshape(number, shape.channels)


def _codes(data: bytes, width: int, big: bool) -> np.ndarray:
    """Samples as 32-bit integers, left-justified, as float64."""
    raw = np.frombuffer(data, np.uint8).reshape(-1, width)
    wide = np.zeros((len(raw), 4), np.uint8)
    wide[:, 4 - width :] = raw[:, ::-1] if big else raw
    return wide.view("<i4").ravel().astype(np.float64)


def _roughness(data: bytes, channels: int, width: int, big: bool) -> float:
    """RMS change from sample to sample in the roughest channel, full scale 1.0."""
    frame = channels * width
    codes = _codes(data[: min(len(data), 1 << 18) // frame * frame], width, big).reshape(-1, channels) / 2.0**31
    return float(np.sqrt(np.square(np.diff(codes, axis=0)).mean(axis=0)).max()) if len(codes) > 1 else 0.0
