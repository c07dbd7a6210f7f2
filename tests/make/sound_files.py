"""Sound files made by hand, byte by byte, and by libav: what no writing library would write."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np


def packed_24(samples: np.ndarray) -> bytes:
    """Samples of full scale 1.0 as packed 24-bit words, lowest byte first."""
    whole = np.round(samples * 2**23).astype("<i4")
    return whole.reshape(-1, 1).view(np.uint8)[:, :3].tobytes()


def wave(
    data: bytes, *, tag: int = 1, channels: int = 2, rate: int = 48_000, bits: int = 24, align: int | None = None,
    bytes_a_second: int | None = None, size: int | None = None, magic: bytes = b"RIFF", before: bytes = b"",
    behind: bytes = b"",
) -> bytes:  # fmt: skip
    """A WAVE file whose header says whatever it is told to say."""
    align = channels * ((bits + 7) // 8) if align is None else align
    pace = rate * align if bytes_a_second is None else bytes_a_second
    form = struct.pack("<HHIIHH", tag, channels, rate, pace & 0xFFFFFFFF, align & 0xFFFF, bits)
    body = b"WAVE" + before + b"fmt " + struct.pack("<I", len(form)) + form
    body += b"data" + struct.pack("<I", len(data) if size is None else size) + data + behind
    return magic + struct.pack("<I", len(body) if magic == b"RIFF" else 0xFFFFFFFF) + body


def bw64(samples: np.ndarray, rate: int) -> bytes:
    """ITU-R BS.2088: sizes of all ones, the true one in the first chunk."""
    data = packed_24(samples)
    sizes = b"ds64" + struct.pack("<IQQQI", 28, len(data) + 80, len(data), 0, 0)
    return wave(data, channels=samples.shape[1], rate=rate, size=0xFFFFFFFF, magic=b"BW64", before=sizes)


def aiff(data: bytes, *, channels: int = 2, bits: int = 16, rate_80: bytes = b"\x40\x0e\xbb\x80" + bytes(6)) -> bytes:
    """An AIFF file; its rate is an 80-bit float (48 kHz: 1.4648 x 2^15)."""
    common = struct.pack(">hIh", channels, len(data) // max(1, abs(channels) * 2), bits) + rate_80
    body = b"AIFFCOMM" + struct.pack(">I", 18) + common + b"SSND" + struct.pack(">III", len(data) + 8, 0, 0) + data
    return b"FORM" + struct.pack(">I", len(body)) + body


def libav_file(path: Path, samples: np.ndarray, rate: int, codec: str, form: str, kind: str) -> Path:
    """Written by libav; ``kind``: its sample format (s16p, s32p, fltp)."""
    import av

    layout = "stereo" if samples.shape[1] == 2 else "mono"
    scaled = {
        "s16p": lambda: np.round(samples * 2**15).astype(np.int16),
        "s32p": lambda: np.round(samples * 2**31).astype(np.int64).clip(-(2**31), 2**31 - 1).astype(np.int32),
        "fltp": lambda: samples.astype(np.float32),
    }[kind]()
    with av.open(str(path), "w", format=form) as container:
        stream = container.add_stream(codec, rate=rate, layout=layout)
        stream.format = kind
        for at in range(0, len(scaled), 4096):
            plane = np.ascontiguousarray(scaled[at : at + 4096].T)
            frame = av.AudioFrame.from_ndarray(plane, format=kind, layout=layout)
            frame.sample_rate, frame.pts = rate, at
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def soundfile_bytes(samples: np.ndarray, rate: int, form: str, subtype: str) -> bytes:
    """Written by libsndfile."""
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=form, subtype=subtype)
    return file.getvalue()
