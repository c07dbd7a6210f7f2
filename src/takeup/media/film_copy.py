"""Writes the everyday form of a film: each picture once at its true time, H.264 in MP4 with its index at the front."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from takeup.errors import Unreadable
from takeup.media.moving_look import video_of
from takeup.media.retime import clock_for

VIDEO_RANGE = 1  # libav's number for 16 to 235


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmCopyPlan:
    """How the everyday pictures are made: even size in square pixels, quality, and the nominal rate."""

    size: tuple[int, int]  # width, height
    rate: Fraction
    crf: int
    preset: str
    profile: str
    key_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmCopyMade:
    """What was written."""

    pictures: int
    seconds: Fraction
    clock: int


def write_film_copy(
    paths: Sequence[Path],
    target: Path,
    shown: Sequence[tuple[int, Fraction]],
    end: Fraction,
    plan: FilmCopyPlan,
    *,
    sound: Path | None = None,
    metadata: Mapping[str, str] | None = None,
    hear: Callable[[int], None] = lambda pictures: None,
) -> FilmCopyMade:
    """Write chosen frames of a film's parts, each once, at exact times.

    Parameters
    ----------
    shown : sequence of (frame, time)
        Which frames (counted over all parts, in showing order) and when each begins. [s]
    end : Fraction
        When the last one ends. [s]
    sound : Path, optional
        A finished AAC file in step with the pictures.
    hear : callable
        Told the pictures written so far.

    Raises
    ------
    Unreadable
        ``capture.broken`` when none of the frames can be decoded.
    """
    clock = clock_for([time for _, time in shown] + [end])
    ticks = [round(time * clock) for _, time in shown] + [round(end * clock)]
    wanted = {frame: at for at, (frame, _) in enumerate(shown)}
    options = {"movflags": "+faststart", "video_track_timescale": str(clock)}
    with av.open(str(target), "w", format="mp4", options=options) as out:
        out.metadata.update({name: text for name, text in (metadata or {}).items() if text})
        coder = _coder(out, plan, clock)
        count, last = 0, 0
        with ExitStack() as room:
            carry = _carried(out, room.enter_context(av.open(str(sound))) if sound else None)
            next(carry)
            for number, frame in enumerate(_frames(paths)):
                at = wanted.get(number)
                if at is None:
                    continue
                made = _right(frame, plan)
                made.pts, made.time_base = ticks[at], Fraction(1, clock)
                made.duration = ticks[at + 1] - ticks[at]
                for packet in coder.encode(made):
                    out.mux(packet)
                count, last = count + 1, ticks[at + 1]
                carry.send(ticks[at] / clock)
                hear(count)
            for packet in coder.encode(None):
                out.mux(packet)
            carry.send(float("inf"))
    if not count:
        raise Unreadable("capture.broken", path=str(paths[0]), error="no picture could be decoded")
    return FilmCopyMade(pictures=count, seconds=Fraction(last, clock), clock=clock)


def _coder(out: Any, plan: FilmCopyPlan, clock: int) -> Any:
    keys = str(max(1, int(plan.key_s * plan.rate)))
    options = {"crf": str(plan.crf), "preset": plan.preset, "profile": plan.profile, "g": keys}
    stream = out.add_stream("libx264", rate=plan.rate, options=options)
    stream.time_base = Fraction(1, clock)
    coder = stream.codec_context
    coder.width, coder.height = plan.size
    coder.pix_fmt = "yuv420p"
    coder.time_base = Fraction(1, clock)
    coder.sample_aspect_ratio = Fraction(1)
    coder.color_range = VIDEO_RANGE
    coder.thread_count = 0
    return stream


def _carried(out: Any, sound: Any) -> Generator[None, float, None]:
    """Carries the packets of a finished sound file over: sent a time, all that begin before it. [s]"""
    source = sound.streams.audio[0] if sound is not None else None
    track = out.add_stream_from_template(source) if source is not None else None
    packets = _timed_packets(sound, source) if source is not None else iter(())
    waiting = next(packets, None)
    until = yield
    while True:
        while waiting is not None and float(waiting.dts * waiting.time_base) <= until:
            packet, waiting = waiting, next(packets, None)
            packet.stream = track
            out.mux(packet)
        until = yield


def _timed_packets(sound: Any, source: Any) -> Iterator[Any]:
    return (packet for packet in sound.demux(source) if packet.dts is not None)


def _frames(paths: Sequence[Path]) -> Iterator[Any]:
    """All frames of all parts, in showing order, as far as each can be read."""
    for path in paths:
        with av.open(str(path)) as container:
            stream = video_of(container)
            stream.thread_type = "AUTO"
            packets = container.demux(stream)
            while True:
                try:
                    packet = next(packets)
                except (StopIteration, av.FFmpegError):
                    break
                try:
                    yield from packet.decode()
                except (av.FFmpegError, ValueError):
                    continue


def _right(frame: Any, plan: FilmCopyPlan) -> Any:
    """A frame in 4:2:0, video range, square pixels."""
    full = frame.format.name.startswith("yuvj") or frame.color_range == 2
    return frame.reformat(
        width=plan.size[0],
        height=plan.size[1],
        format="yuv420p",
        interpolation="BICUBIC",
        src_color_range="JPEG" if full else "MPEG",
        dst_color_range="MPEG",
    )
