"""Writes the everyday form of a video: one picture a field, H.264 in MP4 with its index at the front, AAC beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from takeup.errors import Unreadable
from takeup.media.moving_fields import BT_709, Making
from takeup.media.moving_look import rate_of, video_of
from takeup.media.moving_poster import Poster
from takeup.media.moving_prove import Held, decoded, open_moving, packets_of, told_plainly
from takeup.media.moving_write import colour_of

RANGE_TV = 1
POSTER_SIZE = (640, 480)  # what the header of its stream says; nobody reads it there
LONGEST_WAIT_S = 60.0  # a track that begins later than this after the other is not waited for


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyPlan:
    """How the everyday pictures are made."""

    order: str  # top, bottom: pictures are made of fields; progressive: as they are
    shape: Fraction  # of the capture's pixels
    crf: int
    preset: str
    profile: str
    key_s: float
    primaries: int
    transfer: int
    matrix: int
    every: int = 1  # only every so manieth field, or whole picture, is shown
    size: tuple[int, int] | None = None  # in square pixels; None: the capture's own, in its own shape
    turn: int = 0  # degrees clockwise, in quarters, to stand upright; ``shape`` and ``size`` are those after it
    levels: tuple[float, float] | None = None  # luma codes that become 16 and 235; None: as they are


@dataclass(frozen=True, slots=True, kw_only=True)
class PosterPlan:
    """Which picture players show for the file."""

    every_s: float
    head_s: float
    long_side_px: int
    quality: int
    avoid: Sequence[tuple[float, float]] = ()  # moments never taken [s]


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyMade:
    """What was written."""

    pictures: int
    rate: Fraction
    seconds: float
    width: int
    height: int
    broken: str
    poster_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """When picture and sound begin by the capture's own clock, and how long each lasts. [s]"""

    picture_s: float
    sound_s: float | None

    @property
    def sound_later_s(self) -> float:
        return (self.sound_s or 0.0) - self.picture_s if self.sound_s is not None else 0.0


def read_starts(path: Path) -> Starts:
    """When picture and sound of a file begin: a header often knows only one of them.

    Sound by its first samples, since what AAC says before them is left out by its decoder; pictures by their packets.
    """
    with open_moving(path) as container:
        picture = video_of(container)
        sound = container.streams.audio[0] if container.streams.audio else None
        wanted = {stream.index for stream in (picture, sound) if stream is not None}
        first: dict[int, float] = {}
        for packet in packets_of(container, Held(), [stream for stream in (picture, sound) if stream is not None]):
            at = packet.stream.index
            if at in first:
                continue
            if sound is not None and at == sound.index:
                first.update((at, float(frame.time)) for frame in decoded(packet, Held())[:1] if frame.time is not None)
            elif packet.pts is not None:
                first[at] = float(packet.pts * packet.time_base)
            if wanted <= first.keys() or (first and packet.pts is not None and _is_far(packet, first)):
                break
        return Starts(
            picture_s=first.get(picture.index, 0.0) if picture is not None else 0.0,
            sound_s=None if sound is None else first.get(sound.index, 0.0),
        )


def _is_far(packet: Any, first: dict[int, float]) -> bool:
    """Whether the other stream has not begun for so long that looking further is of no use."""
    return float(packet.pts * packet.time_base) - min(first.values()) > LONGEST_WAIT_S


def write_h264(path: Path, target: Path, sound: Path | None, plan: CopyPlan, tags: dict[str, str],
               hear: Callable[[float], None], poster: PosterPlan | None = None) -> CopyMade:  # fmt: skip
    """Write the pictures of a video as H.264 and, beside them, the packets of a finished AAC file.

    Parameters
    ----------
    sound : Path or None
        An M4A file, already in step with the first picture.
    tags : dict
        libav's names.
    """
    held = Held()
    with (
        told_plainly(path),
        open_moving(path) as source,
        av.open(str(target), "w", format="mp4", options={"movflags": "faststart"}) as out,
    ):
        out.metadata.update({name: text for name, text in tags.items() if text})
        picture = video_of(source)
        if picture is None:
            raise Unreadable("capture.broken", path=str(path), error="no picture")
        picture.thread_type = "AUTO"
        rate = _rate(picture, plan)
        coder = _h264_stream(out, picture, rate, plan)
        carried, chosen = _Sound(out, sound), _Chosen(out, poster)
        count, last = 0, -1
        for frame in Making(picture, plan).made_of(source, held):
            at = max(last + 1, round(float(frame.pts * frame.time_base) * rate))
            frame.pts, frame.time_base, frame.pict_type = at, 1 / rate, 0
            count, last = count + 1, at
            at_s = float(at / rate)
            chosen.see(frame, at_s)
            hear(at_s)
            for packet in coder.encode(frame):
                carried.until(at_s)
                out.mux(packet)
        for packet in coder.encode(None):
            out.mux(packet)
        carried.until(None)
        if not count:
            raise Unreadable("capture.broken", path=str(path), error=held.broken or "no picture could be read")
        poster_s = chosen.write(plan)
        return CopyMade(
            pictures=count, rate=rate, seconds=float((last + 1) / rate), width=coder.codec_context.width,
            height=coder.codec_context.height, broken=held.broken, poster_s=poster_s,
        )  # fmt: skip


def _rate(picture: Any, plan: CopyPlan) -> Fraction:
    """Pictures of the copy in a second."""
    own = rate_of(picture) or Fraction(25)
    return own * (1 if plan.order == "progressive" else 2) / plan.every


def _h264_stream(out: Any, picture: Any, rate: Fraction, plan: CopyPlan) -> Any:
    keys = str(max(1, int(plan.key_s * rate)))
    options = {"crf": str(plan.crf), "preset": plan.preset, "profile": plan.profile, "g": keys, "keyint_min": "1"}
    stream = out.add_stream("libx264", rate=rate, options=options)
    coder = stream.codec_context
    own = picture.codec_context
    wide, high = (own.height, own.width) if plan.turn % 180 else (own.width, own.height)
    coder.width, coder.height = plan.size or (wide // 2 * 2, high // 2 * 2)
    coder.pix_fmt = "yuv420p"
    coder.time_base = 1 / rate
    coder.sample_aspect_ratio = Fraction(1) if plan.size else plan.shape
    ours = (plan.primaries, plan.transfer, plan.matrix)
    coder.color_primaries, coder.color_trc, coder.colorspace = colour_of(picture, ours)
    coder.color_range = RANGE_TV
    coder.thread_count = 0
    return stream


class _Chosen:
    """The poster of a file that is being written: a stream of one JPEG, marked as no part of the film."""

    def __init__(self, out: Any, plan: PosterPlan | None) -> None:
        self.out, self.plan = out, plan
        self.poster: Poster | None = None
        if plan is None:
            return
        self.poster = Poster(every_s=plan.every_s, head_s=plan.head_s, avoid=plan.avoid)
        self.stream = out.add_stream("mjpeg", rate=1)
        self.stream.width, self.stream.height, self.stream.pix_fmt = *POSTER_SIZE, "yuvj420p"
        self.stream.disposition = av.stream.Disposition.attached_pic

    def see(self, frame: Any, at_s: float) -> None:
        if self.poster is not None:
            self.poster.see(frame, at_s)

    def write(self, plan: CopyPlan) -> float | None:
        """Hand it to the writer of MP4, which puts it beside the title; the moment it shows."""
        if self.plan is None or self.poster is None or self.poster.frame is None:
            return None
        colours = "ITU709" if plan.matrix == BT_709 else "ITU601"
        shape = Fraction(1) if plan.size else plan.shape
        packet = av.Packet(self.poster.jpeg(shape, self.plan.long_side_px, self.plan.quality, colours))
        packet.stream, packet.pts, packet.dts, packet.is_keyframe = self.stream, 0, 0, True
        self.out.mux(packet)
        return self.poster.at_s


class _Sound:
    """Carries the packets of a finished sound file over, in step with the pictures."""

    def __init__(self, out: Any, path: Path | None) -> None:
        self.out = out
        self.container = open_moving(path) if path else None
        self.stream = None
        self.packets: Iterator[Any] = iter(())
        if self.container is not None:
            self.stream = out.add_stream_from_template(self.container.streams.audio[0])
            self.packets = self.container.demux(self.container.streams.audio[0])
        self.waiting = next(self.packets, None)

    def until(self, at_s: float | None) -> None:
        while self.waiting is not None and (at_s is None or self._at() <= at_s):
            packet, self.waiting = self.waiting, next(self.packets, None)
            if packet.dts is not None:
                packet.stream = self.stream
                self.out.mux(packet)
        if at_s is None and self.container is not None:
            self.container.close()

    def _at(self) -> float:
        packet = self.waiting
        return float(packet.dts * packet.time_base) if packet is not None and packet.dts is not None else 0.0
