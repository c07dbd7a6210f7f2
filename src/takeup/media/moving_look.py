"""What a moving-picture file says of itself: its header, its streams, and its first picture.

Three traps decide the code: libav guesses a length when the header has none (so headers are read by hand where that
matters); FFV1 pictures do not repeat the field order that the stream states, while DV pictures in AVI state it alone;
and an unstated pixel shape must stay unstated (Matroska without DisplayWidth is not "square").
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from takeup.errors import Unreadable
from takeup.media.moving_header import Header, read_header
from takeup.streams import CaptureFile, PictureStream, SoundStream

LOSSLESS = {"rawvideo", "v210", "ffv1", "utvideo", "huffyuv", "ffvhuff", "magicyuv", "r210", "v410", "y41p", "png"}
ORDERS = {1: "progressive", 2: "top", 3: "bottom", 4: "top", 5: "bottom"}
"""libav's field_order. 4 and 5 (9 and 14 in the file) mean interleaved lines with top / bottom shown first: RFC 9559
5.1.4.1.28.2, and the same practice in MOV."""
NOMINAL = [Fraction(n, d) for n, d in ((24, 1), (25, 1), (30, 1), (50, 1), (60, 1), (16, 1), (18, 1), (20, 1))]
NOMINAL += [Fraction(n * 1000, 1001) for n in (24, 30, 60)]
PREDICTING = ("h264", "hevc", "mpeg2video", "mpeg1video", "mpeg4", "vp8", "vp9", "av1", "msmpeg4v3", "wmv3", "vc1")
"""Codecs that predict pictures from others: a held picture is not quite equal after them, and damage goes on until
the next picture that stands alone."""
FULL = 2  # libav's color_range: luma takes every code, 0 is black and 255 white
TICKS = 0.02  # a moment of an AVI that differs so much from a picture is none
NEAR = 2e-4  # 29.97 and 30 are 1e-3 apart


def look_inside(path: Path, container: Any) -> CaptureFile:
    """Describe an open container."""
    header = read_header(path)
    video, audio = video_of(container), sound_of(container)
    if video is None and audio is None:
        raise Unreadable("capture.broken", path=str(path), error="no picture and no sound track")
    kind = _container(container, header, video is not None)
    picture = _picture(container, video, kind, header) if video is not None else None
    sound = _sound(container, audio, kind, header) if audio is not None else None
    more = sum(stream.type == "audio" for stream in container.streams)
    return CaptureFile(
        container=kind,
        bytes=path.stat().st_size,
        sound=sound,
        picture=picture,
        unclosed=header.unclosed,
        notes=("sound-tracks",) if more > 1 else (),
    )


def video_of(container: Any) -> Any:
    """The moving picture's stream: the first that is no cover picture; None when there is none."""
    for stream in container.streams.video:
        if not stream.disposition & av.stream.Disposition.attached_pic and stream.codec_context is not None:
            return stream
    return None


def sound_of(container: Any) -> Any:
    """The first sound stream; None when there is none."""
    return next((stream for stream in container.streams.audio if stream.codec_context is not None), None)


def _container(container: Any, header: Header, has_picture: bool) -> str:
    name = container.format.name
    if name.startswith("mov"):
        if not has_picture:
            return "m4a"
        return "mov" if header.brand in ("", "qt  ") else "mp4"
    return {"matroska,webm": "mkv", "avi": "avi", "dv": "dv"}.get(name, name.split(",")[0])


def _picture(container: Any, stream: Any, kind: str, header: Header) -> PictureStream:
    coder = stream.codec_context
    first = _first_picture(container, stream)
    order = ORDERS.get(coder.field_order)
    if coder.name == "dvvideo" and order in (None, "progressive"):
        order = "bottom"  # by the format: both DV systems send the lower field first
    elif order is None and first is not None and first.interlaced_frame:
        order = None  # interlaced, but which field comes first is not written
    shape = stream.sample_aspect_ratio or None
    if kind == "mkv" and not header.display_stated and coder.name != "dvvideo":
        shape = coder.sample_aspect_ratio or None
    form = coder.format or (first.format if first is not None else None)
    rate = rate_of(stream)
    counted = stream.frames > 0 and kind != "dv"
    if kind == "avi" and rate and abs(stream.time_base * rate - 1) > TICKS:
        counted = False  # its header counts moments, most of them empty
    return PictureStream(
        codec=coder.name,
        width=coder.width,
        height=coder.height,
        rate=rate,
        pixel_format=form.name if form else "",
        bits=max((component.bits for component in form.components), default=8) if form else 8,
        shape=Fraction(shape) if shape else None,
        field_order=order,
        lossy=coder.name not in LOSSLESS,
        pictures_stated=stream.frames if counted else None,
        seconds_stated=_seconds(stream, kind, header),
        full_range=coder.color_range == FULL or (form is not None and form.name.startswith("yuvj")),
        turn=turn_of(first),
    )


def _sound(container: Any, stream: Any, kind: str, header: Header) -> SoundStream:
    coder = stream.codec_context
    lossy = not (coder.name.startswith("pcm") or coder.name in ("flac", "alac", "wavpack", "tta"))
    bits = None if lossy else _bits(coder)
    return SoundStream(
        codec=coder.name,
        rate_hz=coder.sample_rate,
        channels=coder.layout.nb_channels,
        bits=bits,
        lossy=lossy,
        seconds_stated=_seconds(stream, kind, header),
        float_samples=coder.name.startswith(("pcm_f32", "pcm_f64")),
    )


def _bits(coder: Any) -> int:
    for part in coder.name.split("_"):
        digits = part.strip("abcdefghijklmnopqrstuvwxyz")
        if part[:1] in "suf" and digits.isdigit():
            return int(digits)
    if coder.format is not None and coder.format.name in ("s16", "s16p"):
        return 16
    return 24  # a lossless coder that unpacks to 32 bits holds up to 24


def rate_of(stream: Any) -> Fraction | None:
    """Pictures a second: of libav's guess and the mean over the file, the one that is a usual rate.

    Where pictures are missing, the mean is none; where steps are counted in thousandths, the guess may be none. When
    neither is, or both are, the mean is taken if they are near each other, else the guess.
    """
    guess, mean = stream.guessed_rate, stream.average_rate
    close = bool(mean and guess and abs(mean / guess - 1) < 0.02)
    rates = [Fraction(rate) for rate in ((mean, guess) if close else (guess, mean)) if rate]
    for rate in rates if close else rates[:1]:
        near = min(NOMINAL, key=lambda nominal: abs(rate / nominal - 1))
        if abs(rate / near - 1) < NEAR:
            return near
    return rates[0] if rates else None


def turn_of(frame: Any) -> int:
    """Degrees clockwise by which the file wants its pictures turned to be shown (telephones are held upright)."""
    return 0 if frame is None else round(-frame.rotation / 90) * 90 % 360


def _seconds(stream: Any, kind: str, header: Header) -> float | None:
    """The stream's length by the header; None where libav would only be guessing."""
    if kind == "dv":
        return None
    if kind == "mkv":
        return _tagged(stream) or header.seconds
    if kind == "avi":  # libav measures a cut file; the count in its header is what was meant to come
        return float(stream.frames * stream.time_base) if stream.type == "video" and stream.frames else None
    if stream.duration and stream.duration > 0 and stream.time_base:
        return float(stream.duration * stream.time_base)
    return None


def _tagged(stream: Any) -> float | None:
    text = next((value for key, value in stream.metadata.items() if key.upper().startswith("DURATION")), "")
    try:
        hours, minutes, seconds = text.split(":")
        return int(hours) * 3600 + int(minutes) * 60 + float(seconds) or None
    except ValueError:
        return None


def _first_picture(container: Any, stream: Any) -> Any:
    try:
        for packet in container.demux(stream):
            for frame in packet.decode():
                return frame
    except (av.FFmpegError, ValueError):
        return None
    return None
