"""A few seconds of a capture's sound, as a small WAV that every browser plays: to listen to a place."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import av
import numpy as np
from av.audio.resampler import AudioResampler

from takeup.errors import Unreadable

RATE_HZ = 48_000
MOST_S = 60.0


def clip_wav(path: Path, from_s: float, seconds: float) -> bytes:
    """16-bit stereo WAV of at most ``seconds`` from ``from_s`` on; shorter where the file ends, silent for no sound.

    Raises
    ------
    Unreadable
        ``listen.no-sound``: the file cannot be opened, has no sound, or ends before the place.
    """
    wanted = min(seconds, MOST_S)
    try:
        with av.open(str(path)) as file:
            if not file.streams.audio:
                raise Unreadable("listen.no-sound", path=path.name)
            stream = file.streams.audio[0]
            samples = _samples(file, stream, max(0.0, from_s), wanted)
    except (OSError, av.error.FFmpegError) as error:
        raise Unreadable("listen.no-sound", path=path.name) from error
    if not len(samples):
        raise Unreadable("listen.no-sound", path=path.name)
    out = io.BytesIO()
    with wave.open(out, "wb") as written:
        written.setnchannels(2)
        written.setsampwidth(2)
        written.setframerate(RATE_HZ)
        written.writeframes(samples.astype("<i2").tobytes())
    return out.getvalue()


def _samples(file: av.container.InputContainer, stream: av.AudioStream, from_s: float, seconds: float) -> np.ndarray:
    """Samples of the place, shape (n, 2)."""
    if from_s > 1.0 and stream.time_base:
        file.seek(int((from_s - 1.0) / stream.time_base), stream=stream)
    resampler = AudioResampler(format="s16", layout="stereo", rate=RATE_HZ)
    pieces: list[np.ndarray] = []
    begin: float | None = None
    have = 0
    most = int((seconds + 3.0) * RATE_HZ) + RATE_HZ
    for frame in file.decode(stream):
        if frame.time is not None and frame.time + frame.samples / frame.sample_rate < from_s:
            continue
        if begin is None:
            begin = frame.time or 0.0
        for part in resampler.resample(frame):
            pieces.append(part.to_ndarray().reshape(-1, 2))
            have += len(pieces[-1])
        if have >= most or (frame.time is not None and frame.time > from_s + seconds):
            break
    if not pieces:
        return np.zeros((0, 2), np.int16)
    skip = max(0, round((from_s - (begin or 0.0)) * RATE_HZ))
    return np.concatenate(pieces)[skip : skip + int(seconds * RATE_HZ)]
