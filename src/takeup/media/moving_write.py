"""Writes video masters: every picture without loss (FFV1) and the sound's own samples, in Matroska.

What the capture held is hashed on the way, before anything is converted; ``moving_prove`` compares the master with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from takeup.errors import Unreadable
from takeup.media.moving_look import rate_of, video_of
from takeup.media.moving_prove import Hear, Held, Taking, decoded, open_moving, packets_of, told_plainly

PLAIN_PCM = {"u8", "s16le", "s24le", "s32le", "f32le", "f64le"}  # as Matroska and every reader has them
ORDERS = {"top": 2, "bottom": 3, "progressive": 1}  # libav's field_order
ORDER_WORDS = {"top": "tt", "bottom": "bb", "progressive": "progressive"}
UNSAID = 2  # libav's "unspecified" of primaries, transfer and matrix


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


def write_ffv1(capture: Path, target: Path, truth: PictureTruth, options: Mapping[str, str], hear: Hear) -> Held:
    """Code a capture's pictures without loss and carry its sound over, into Matroska; what the capture held.

    Time stamps are the capture's own, counted from its first; a gap in them stays a gap.
    """
    held = Held()
    with (
        told_plainly(capture),
        open_moving(capture) as source,
        av.open(str(target), "w", format="matroska") as out,
        Taking(held) as taking,
    ):
        picture = video_of(source)
        if picture is None:
            raise Unreadable("capture.broken", path=str(capture), error="no picture")
        picture.thread_type = "AUTO"
        coder = _ffv1_stream(out, picture, truth, options)
        sounds = {stream.index: _Track(out, stream, at) for at, stream in enumerate(source.streams.audio)}
        begin = _first_moment(source)
        count, rate = 0, rate_of(picture) or Fraction(25)
        for packet in packets_of(source, held, [picture, *source.streams.audio]):
            at = packet.stream.index  # an empty packet's own stream_index is always 0
            if at != picture.index:
                sounds[at].carry(packet, begin, held)
                continue
            for frame in decoded(packet, held):
                taking.picture(frame)
                _mux_picture(out, coder, frame, truth, begin, count)
                count += 1
                hear(float(count / rate))
        for packet in coder.encode(None):
            out.mux(packet)
        for track in sounds.values():
            track.end()
    return held


def _ffv1_stream(out: Any, picture: Any, truth: PictureTruth, options: Mapping[str, str]) -> Any:
    rate = rate_of(picture) or Fraction(25)
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
    said = colour_of(picture, (truth.primaries, truth.transfer, truth.matrix), coloured=truth.video_range)
    coder.color_primaries, coder.color_trc, coder.colorspace = said
    full = not truth.video_range or is_full(picture)
    coder.color_range = 2 if full else 1
    return stream


def colour_of(picture: Any, ours: tuple[int, int, int], *, coloured: bool = True) -> tuple[int, int, int]:
    """Primaries, transfer and matrix: as the file states them, else ``ours``. R'G'B' has no matrix (H.273: 0)."""
    coder = picture.codec_context
    stated = (coder.color_primaries, coder.color_trc, coder.colorspace)
    primaries, transfer, matrix = (one if one not in (0, UNSAID) else other for one, other in zip(stated, ours))
    return primaries, transfer, matrix if coloured else 0


def is_full(picture: Any) -> bool:
    """Whether luma goes from 0 to 255 by the file's own word."""
    coder = picture.codec_context
    return coder.color_range == 2 or bool(coder.format and coder.format.name.startswith("yuvj"))


class _Track:
    """The master's track for a capture's sound: its own packets, or the same samples in a form Matroska has."""

    def __init__(self, out: Any, source: Any, number: int) -> None:
        self.out, self.number = out, number
        codec = source.codec_context.name
        self.exact = not codec.startswith("pcm_") or codec[4:] in PLAIN_PCM
        if self.exact:
            self.stream = out.add_stream_from_template(source)
            return
        wide = {"s16": "s16", "s32": "s24", "u8": "u8", "flt": "f32", "dbl": "f64"}[source.codec_context.format.name]
        if codec.startswith("pcm_s32"):
            wide = "s32"
        name = f"pcm_{wide}" if wide == "u8" else f"pcm_{wide}le"
        rate, layout = source.codec_context.sample_rate, source.codec_context.layout.name
        self.stream = out.add_stream(name, rate=rate, layout=layout)

    def carry(self, packet: Any, begin: Fraction, held: Held) -> None:
        for frame in decoded(packet, held):
            held.take_sound(self.number, frame)
            if not self.exact:
                frame.pts = None
                for coded in self.stream.encode(frame):
                    self.out.mux(coded)
        if self.exact and packet.dts is not None:
            shift = round(begin / packet.time_base)
            packet.pts, packet.dts = packet.pts - shift, packet.dts - shift
            packet.stream = self.stream
            self.out.mux(packet)

    def end(self) -> None:
        for packet in self.stream.encode(None) if not self.exact else ():
            self.out.mux(packet)


def _first_moment(source: Any) -> Fraction:
    """The earliest start of any of its streams: the master's clock begins there. [s]"""
    starts = [stream.start_time * stream.time_base for stream in source.streams if stream.start_time is not None]
    return min(starts, default=Fraction(0))


def _mux_picture(out: Any, stream: Any, frame: Any, truth: PictureTruth, begin: Fraction, count: int) -> None:
    base = frame.time_base or stream.codec_context.time_base
    pts = frame.pts if frame.pts is not None else count
    if frame.format.name != truth.pixel_format:
        frame = frame.reformat(format=truth.pixel_format)
    frame.pts, frame.time_base = pts - round(begin / base), base
    frame.pict_type = 0
    for packet in stream.encode(frame):
        out.mux(packet)


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
            packet.stream = carried[packet.stream.index]
            out.mux(packet)
