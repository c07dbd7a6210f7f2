"""Writes video masters: every picture without loss (FFV1) and the sound's own samples, in Matroska; and proves it.

The proof decodes capture and master side by side and compares each picture's planes and all sound samples.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from hashlib import sha256
from itertools import zip_longest
from pathlib import Path
from typing import Any

import av

from takeup.errors import CopyDiffers, Unreadable
from takeup.media.moving_look import video_of
from takeup.media.moving_planes import planes_of
from takeup.media.sound_write import interleaved

PLAIN_PCM = {"u8", "s16le", "s24le", "s32le", "f32le", "f64le"}  # as Matroska and every reader has them
ORDERS = {"top": 2, "bottom": 3, "progressive": 1}  # libav's field_order
ORDER_WORDS = {"top": "tt", "bottom": "bb", "progressive": "progressive"}
UNSAID = 2  # libav's "unspecified" of primaries, transfer and matrix

Hear = Callable[[float], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureTruth:
    """What is written into the master beside the pictures. Colour as libav numbers it (ITU-T H.273)."""

    pixel_format: str
    order: str
    shape: Fraction
    primaries: int = UNSAID
    transfer: int = UNSAID
    matrix: int = UNSAID
    video_range: bool = True


@dataclass(slots=True)
class Held:
    """What a file holds, counted and hashed while it is decoded."""

    pictures: int = 0
    samples: dict[int, int] = field(default_factory=dict)  # sound track -> sample frames
    broken: str = ""
    picture_digest: Any = field(default_factory=sha256)
    sound_digests: dict[int, Any] = field(default_factory=dict)

    def sound(self) -> dict[int, str]:
        return {track: digest.hexdigest() for track, digest in self.sound_digests.items()}


def open_moving(path: Path) -> Any:
    """Open a moving-picture file.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be opened.
    """
    try:
        return av.open(str(path))
    except av.error.FFmpegError as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error)) from error


def packets_of(container: Any, held: Held, streams: list[Any]) -> Iterator[Any]:
    """Packets in file order, as far as the file goes."""
    try:
        for packet in container.demux(*streams):
            if packet.size or packet.dts is None:
                yield packet
    except av.error.FFmpegError as error:
        held.broken = str(error)


def write_ffv1(capture: Path, target: Path, truth: PictureTruth, options: Mapping[str, str], hear: Hear) -> None:
    """Code a capture's pictures without loss and carry its sound over, into Matroska.

    Time stamps are the capture's own, counted from its first; a gap in them stays a gap.
    """
    with open_moving(capture) as source, av.open(str(target), "w", format="matroska") as out:
        picture = video_of(source)
        if picture is None:
            raise Unreadable("capture.broken", path=str(capture), error="no picture")
        picture.thread_type = "AUTO"
        coder = _ffv1_stream(out, picture, truth, options)
        sounds = {stream.index: _sound_stream(out, stream) for stream in source.streams.audio}
        begin = _first_moment(source)
        held = Held()
        for packet in packets_of(source, held, [picture, *source.streams.audio]):
            if packet.stream_index == picture.index:
                for frame in _decoded(packet, held):
                    _mux_picture(out, coder, frame, truth, begin, held)
                    hear(float(held.pictures / (picture.average_rate or 25)))
            else:
                _mux_sound(out, packet, *sounds[packet.stream_index], begin)
        for packet in coder.encode(None):
            out.mux(packet)
        for stream, exact in sounds.values():
            if not exact:
                for packet in stream.encode(None):
                    out.mux(packet)


def _ffv1_stream(out: Any, picture: Any, truth: PictureTruth, options: Mapping[str, str]) -> Any:
    rate = picture.average_rate or picture.guessed_rate or Fraction(25)
    stream = out.add_stream("ffv1", rate=rate, options={**options, "field_order": ORDER_WORDS[truth.order]})
    coder = stream.codec_context
    coder.width, coder.height, coder.pix_fmt = (
        picture.codec_context.width,
        picture.codec_context.height,
        truth.pixel_format,
    )
    coder.time_base = picture.time_base
    coder.gop_size = 1
    coder.thread_count, coder.thread_type = 0, "SLICE"
    coder.sample_aspect_ratio = truth.shape
    coder.color_primaries, coder.color_trc, coder.colorspace = truth.primaries, truth.transfer, truth.matrix
    coder.color_range = 1 if truth.video_range else 2
    return stream


def _sound_stream(out: Any, stream: Any) -> tuple[Any, bool]:
    """The master's track for a capture's track, and whether its packets are carried over as they are."""
    codec = stream.codec_context.name
    if not codec.startswith("pcm_") or codec[4:] in PLAIN_PCM:
        return out.add_stream_from_template(stream), True
    wide = {"s16": "s16", "s32": "s24", "u8": "u8", "flt": "f32", "dbl": "f64"}[stream.codec_context.format.name]
    if codec.startswith("pcm_s32"):
        wide = "s32"
    name = f"pcm_{wide}" if wide == "u8" else f"pcm_{wide}le"
    return out.add_stream(name, rate=stream.codec_context.sample_rate, layout=stream.codec_context.layout.name), False


def _first_moment(source: Any) -> Fraction:
    """The earliest start of any of its streams: the master's clock begins there. [s]"""
    starts = [stream.start_time * stream.time_base for stream in source.streams if stream.start_time is not None]
    return min(starts, default=Fraction(0))


def _decoded(packet: Any, held: Held) -> list[Any]:
    try:
        return packet.decode()
    except av.error.FFmpegError as error:
        held.broken = str(error)
        return []


def _mux_picture(out: Any, stream: Any, frame: Any, truth: PictureTruth, begin: Fraction, held: Held) -> None:
    base = frame.time_base or stream.codec_context.time_base
    pts = frame.pts if frame.pts is not None else held.pictures
    if frame.format.name != truth.pixel_format:
        frame = frame.reformat(format=truth.pixel_format)
    frame.pts, frame.time_base = pts - round(begin / base), base
    frame.pict_type = 0
    held.pictures += 1
    for packet in stream.encode(frame):
        out.mux(packet)


def _mux_sound(out: Any, packet: Any, stream: Any, exact: bool, begin: Fraction) -> None:
    if exact:
        if packet.dts is None:
            return
        shift = round(begin / packet.time_base)
        packet.pts, packet.dts = packet.pts - shift, packet.dts - shift
        packet.stream = stream
        out.mux(packet)
        return
    for frame in packet.decode():
        frame.pts = None
        for coded in stream.encode(frame):
            out.mux(coded)


def rewrap(source_path: Path, target: Path, *, container: str, metadata: Mapping[str, str] | None = None) -> None:
    """Put a file's own packets into a new container: nothing is decoded, nothing coded."""
    with open_moving(source_path) as source, av.open(str(target), "w", format=container) as out:
        out.metadata.update(source.metadata if metadata is None else metadata)
        carried = {}
        for stream in source.streams:
            if stream.type in ("video", "audio") and stream.codec_context is not None:
                carried[stream.index] = out.add_stream_from_template(stream)
                carried[stream.index].metadata.update(stream.metadata)
        for packet in packets_of(source, Held(), [source.streams[index] for index in carried]):
            if packet.dts is None:
                continue
            packet.stream = carried[packet.stream_index]
            out.mux(packet)


def prove(capture: Path, master: Path, hear: Hear) -> Held:
    """Decode both files side by side and compare every picture and every sound sample; what they hold.

    Raises
    ------
    CopyDiffers
        ``finish.pictures-differ`` or ``finish.sound-differs``, with the first place that differs.
    """
    own, kept = Held(), Held()
    both = zip_longest(picture_planes(capture, own), picture_planes(master, kept))
    for at, (one, other) in enumerate(both):
        if one != other:
            raise CopyDiffers("finish.pictures-differ", path=str(capture), number=at)
        hear(at)
    if own.sound() != kept.sound():
        raise CopyDiffers("finish.sound-differs", path=str(capture))
    return own


def picture_planes(path: Path, held: Held) -> Iterator[bytes]:
    """Each picture's planes as bytes; meanwhile all sound is hashed into ``held``."""
    with open_moving(path) as container:
        picture = video_of(container)
        picture.thread_type = "AUTO"
        sounds = {stream.index: at for at, stream in enumerate(container.streams.audio)}
        for packet in packets_of(container, held, [picture, *container.streams.audio]):
            for frame in _decoded(packet, held):
                if packet.stream_index == picture.index:
                    planes = plane_bytes(frame)
                    held.pictures += 1
                    held.picture_digest.update(planes)
                    yield planes
                    continue
                track = sounds[packet.stream_index]
                held.samples[track] = held.samples.get(track, 0) + frame.samples
                held.sound_digests.setdefault(track, sha256()).update(interleaved(frame))


def plane_bytes(frame: Any) -> bytes:
    """A picture's samples as they lie, plane after plane, without the padding of rows."""
    if frame.format.is_rgb:
        deep = max(component.bits for component in frame.format.components) > 8
        return frame.to_ndarray(format="rgb48le" if deep else "rgb24").tobytes()
    planes, _ = planes_of(frame)
    return b"".join(plane.tobytes() for plane in planes)
