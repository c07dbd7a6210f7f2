"""The media data of a MOV as capture programs write them, before any index: truth by construction."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from make.video import coded, to_frame

FORMS = {
    "v210": ("v210", "yuv422p10le"),
    "uyvy": ("rawvideo", "uyvy422"),
    "yuyv": ("rawvideo", "uyvy422"),
    "dv": ("dvvideo", "yuv420p"),
    "dv525": ("dvvideo", "yuv411p"),
}


@dataclass(frozen=True)
class Written:
    """Where everything lies, and the sound that was written."""

    pictures: tuple[int, ...]
    sound: tuple[tuple[int, int], ...]
    end: int


def packets(pictures: Sequence[tuple[np.ndarray, ...]], form: str, rate: Fraction) -> list[bytes]:
    """Each picture as the bytes that the codec makes of it."""
    codec, pixels = FORMS[form]
    coder = av.CodecContext.create(codec, "w")
    coder.width, coder.height, coder.pix_fmt = pictures[0][0].shape[1], pictures[0][0].shape[0], pixels
    coder.time_base, coder.framerate = 1 / rate, rate
    found = []
    for number, planes in enumerate(pictures):
        frame = to_frame(coded(planes, pixels), pixels)
        frame.pts = number
        found += [bytes(packet) for packet in coder.encode(frame)]
    found += [bytes(packet) for packet in coder.encode(None)]
    return [_turned(one) for one in found] if form == "yuyv" else found


def _turned(packed: bytes) -> bytes:
    return np.frombuffer(packed, np.uint8).reshape(-1, 2)[:, ::-1].tobytes()


def pcm(samples: np.ndarray, sample_bytes: int, *, big: bool = False) -> list[bytes]:
    """Float samples, shape (n, channels), as the bytes of each sample of all channels."""
    codes = np.clip(
        np.rint(samples * 2.0 ** (8 * sample_bytes - 1)),
        -(2.0 ** (8 * sample_bytes - 1)),
        2.0 ** (8 * sample_bytes - 1) - 1,
    )
    raw = codes.astype("<i8").view(np.uint8).reshape(*samples.shape, 8)[..., :sample_bytes]
    raw = raw[..., ::-1] if big else raw
    flat = np.ascontiguousarray(raw).reshape(len(samples), -1)
    return [row.tobytes() for row in flat]


def write_unindexed(
    path: Path,
    pictures: Sequence[bytes],
    sound: Sequence[bytes],
    rate: Fraction,
    *,
    together: int = 1,  # pictures in a chunk
    sound_first: bool = False,
    rate_hz: int = 48000,
    wide: bool = False,  # a 64-bit size, as programs that expect more than 4 GB write it
) -> Written:
    """A MOV that ends where its index would begin; the size of its media data is still 0."""
    head = struct.pack(">I4s4sI4s", 20, b"ftyp", b"qt  ", 512, b"qt  ")
    head += struct.pack(">I4sQ", 1, b"mdat", 0) if wide else struct.pack(">I4sI4s", 8, b"wide", 0, b"mdat")
    parts, at, places, pieces, heard = [head], len(head), [], [], 0

    def add_sound(until: int) -> None:
        nonlocal at, heard
        piece = b"".join(sound[heard:until])
        heard = max(heard, min(until, len(sound)))
        if piece:
            pieces.append((at, len(piece)))
            parts.append(piece)
            at += len(piece)

    for first in range(0, len(pictures), together):
        group = pictures[first : first + together]
        until = int((first + len(group)) * rate_hz / rate)
        if sound_first:
            add_sound(until)
        for one in group:
            places.append(at)
            parts.append(one)
            at += len(one)
        if not sound_first:
            add_sound(until)
    path.write_bytes(b"".join(parts))
    return Written(tuple(places), tuple(pieces), at)
