"""Sound that went through a lossy coder (libav's) and came back, seeded and cut anywhere; sound that never did."""

from __future__ import annotations

import io

import av
import numpy as np
from make.sound import Samples

CODERS = {"mp3": ("libmp3lame", "mp3"), "aac": ("aac", "mp4"), "opus": ("libopus", "ogg"), "vorbis": ("vorbis", "ogg")}


def coded(samples: Samples, rate: int, coder: str, kilobits: int) -> Samples:
    """Coded and decoded again. ``samples``: shape (n, 2)."""
    name, form = CODERS[coder]
    buffer = io.BytesIO()
    with av.open(buffer, "w", format=form) as out:
        stream = out.add_stream(name, rate=rate, layout="stereo", options={"strict": "-2"})
        stream.bit_rate = 1000 * kilobits
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T.astype(np.float32)), "fltp", "stereo")
        frame.sample_rate, frame.pts = rate, 0
        resampler = av.AudioResampler(format=stream.codec_context.format.name, layout="stereo", rate=rate)
        fifo = av.AudioFifo()
        for one in resampler.resample(frame):
            fifo.write(one)
        size = stream.codec_context.frame_size or 1024
        while (one := fifo.read(size) or fifo.read()) is not None:
            for packet in stream.encode(one):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)
    buffer.seek(0)
    with av.open(buffer) as made:
        back = av.AudioResampler(format="fltp", layout="stereo", rate=rate)
        pieces = [one.to_ndarray() for frame in made.decode(audio=0) for one in back.resample(frame)]
    return np.concatenate(pieces, axis=1).T.astype(float)
