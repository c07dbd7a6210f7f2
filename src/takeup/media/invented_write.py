"""Writes the demo's invented captures as stations write theirs: WAV, MOV, AVI, MP4, TIFF."""

from __future__ import annotations

import wave
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
from PIL import Image, ImageDraw, ImageFont

INCH_MM = 25.4
Planes = tuple[np.ndarray, np.ndarray, np.ndarray]


def write_wav(path: Path, samples: np.ndarray, rate_hz: int) -> None:
    """24-bit WAV from floats, shape (samples, channels)."""
    codes = np.clip(np.rint(samples * 2**23), -(2**23), 2**23 - 1).astype("<i4")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(samples.shape[1])
        out.setsampwidth(3)
        out.setframerate(rate_hz)
        out.writeframes(codes.reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes())


def write_v210(path: Path, pictures: Iterable[Planes], sound: np.ndarray) -> None:
    """Uncompressed 10-bit 4:2:2 in MOV, top field first, pixels of 12:11, with 24-bit sound at 48 kHz."""
    with av.open(str(path), "w", format="mov") as out:
        stream = out.add_stream("v210", rate=25)
        stream.width, stream.height, stream.pix_fmt = 720, 576, "yuv422p10le"
        stream.sample_aspect_ratio = Fraction(12, 11)
        stream.codec_context.field_order = 2
        voice = out.add_stream("pcm_s24le", rate=48000, layout="stereo")
        for at, planes in enumerate(pictures):
            _mux(out, stream, _frame(planes, "yuv422p10le"), at, Fraction(1, 25))
            _mux_sound(out, voice, sound[at * 1920 : (at + 1) * 1920], at * 1920)
        _flush(out, stream, voice)


def write_dv(path: Path, pictures: Iterable[Planes]) -> None:
    """DV in AVI whose sound track is empty, as a capture whose sound was never connected."""
    with av.open(str(path), "w", format="avi") as out:
        stream = out.add_stream("dvvideo", rate=25)
        stream.width, stream.height, stream.pix_fmt = 720, 576, "yuv420p"
        voice = out.add_stream("pcm_s16le", rate=48000, layout="stereo")
        nothing = np.zeros((1920, 2), np.float32)
        for at, (luma, blue, red) in enumerate(pictures):
            eight = [np.clip((plane + 2) >> 2, 1, 254).astype(np.uint8) for plane in (luma, blue, red)]
            eight[0] = np.roll(eight[0], 1, 0)  # DV's field order is bottom first: the picture moves down a line
            planes = (eight[0], *(_by_field(plane) for plane in eight[1:]))
            _mux(out, stream, _frame(planes, "yuv420p"), at, Fraction(1, 25))
            _mux_sound(out, voice, nothing, at * 1920)
        _flush(out, stream, voice)


def write_h264(path: Path, pictures: Iterable[np.ndarray], rate: int) -> None:
    """H.264 in MP4 as a film scanner's card holds it; pictures are RGB bytes."""
    with av.open(str(path), "w", format="mp4") as out:
        stream: Any = None
        for at, picture in enumerate(pictures):
            if stream is None:
                stream = out.add_stream("libx264", rate=rate, options={"crf": "18", "preset": "superfast"})
                stream.height, stream.width = picture.shape[:2]
                stream.pix_fmt = "yuv420p"
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
            _mux(out, stream, frame, at, Fraction(1, rate))
        _flush(out, stream)


def write_tiff(path: Path, pixels: np.ndarray, ppi: int) -> None:
    """TIFF with its resolution and the sRGB profile; uint8 or uint16, shape (rows, columns, 3)."""
    import pyvips

    pyvips.cache_set_max(0)  # it would keep the pixels after they are written
    image = pyvips.Image.new_from_array(pixels).copy(interpretation="rgb16" if pixels.dtype == np.uint16 else "srgb")
    per_mm = ppi / INCH_MM
    image.copy(xres=per_mm, yres=per_mm).tiffsave(str(path), resunit="inch", profile="srgb")


def draw_ink(texts: list[tuple[str, int, tuple[int, int], int]], size: tuple[int, int], font_path: Path) -> np.ndarray:
    """Ink (0 to 1) of texts on a page.

    Parameters
    ----------
    texts : list of (text, font size, (x, y) of its top left, pixels between lines)
    size : (width, height)
    """
    page = Image.new("L", size, 0)
    draw = ImageDraw.Draw(page)
    for text, font_px, place, spacing in texts:
        font = ImageFont.truetype(str(font_path), font_px)
        draw.multiline_text(place, text, fill=255, font=font, spacing=spacing)
    return np.asarray(page, np.float32) / 255


def _by_field(plane: np.ndarray) -> np.ndarray:
    """4:2:2 colour to 4:2:0, averaged within each field."""
    out = np.empty((plane.shape[0] // 2, plane.shape[1]), np.uint8)
    for parity in (0, 1):
        lines = plane[parity::2].astype(np.uint16)
        out[parity::2] = (lines[::2] + lines[1::2] + 1) >> 1
    return out


def _frame(planes: Planes, pixel_format: str) -> av.VideoFrame:
    frame = av.VideoFrame(planes[0].shape[1], planes[0].shape[0], pixel_format)
    for into, plane in zip(frame.planes, planes):
        padded = np.zeros((into.height, into.line_size // plane.dtype.itemsize), plane.dtype)
        padded[:, : plane.shape[1]] = plane
        into.update(padded.tobytes().ljust(into.buffer_size, b"\0")[: into.buffer_size])
    return frame


def _mux(out: Any, stream: Any, frame: Any, at: int, base: Fraction) -> None:
    frame.pts, frame.time_base = at, base
    for packet in stream.encode(frame):
        out.mux(packet)


def _mux_sound(out: Any, stream: Any, sound: np.ndarray, begin: int) -> None:
    form = stream.codec_context.format.name
    top, kind = (2**15, np.int16) if form == "s16" else (2**31, np.int32)
    codes = np.clip(np.rint(sound * float(top)), -top, top - 1).astype(kind)
    frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(codes.reshape(1, -1)), form, "stereo")
    frame.sample_rate, frame.pts, frame.time_base = 48000, begin, Fraction(1, 48000)
    for packet in stream.encode(frame):
        out.mux(packet)


def _flush(out: Any, *streams: Any) -> None:
    for stream in streams:
        for packet in stream.encode(None):
            out.mux(packet)
