"""Writes the everyday form of a video: one picture a field, H.264 in MP4 with its index at the front, AAC beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from av.filter import Graph

from takeup.errors import Unreadable
from takeup.media.moving_look import video_of
from takeup.media.moving_prove import Held, decoded, open_moving, packets_of

FIELDS = {"top": "tff", "bottom": "bff", "progressive": "prog"}
RANGE_TV = 1
LONGEST_WAIT_S = 60.0  # a track that begins later than this after the other is not waited for


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyPlan:
    """How the everyday pictures are made."""

    order: str  # top, bottom: one picture is made of each field; progressive: as they are
    shape: Fraction
    crf: int
    preset: str
    profile: str
    key_s: float
    primaries: int
    transfer: int
    matrix: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CopyMade:
    """What was written."""

    pictures: int
    rate: Fraction
    seconds: float
    width: int
    height: int
    broken: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Starts:
    """When picture and sound begin by the capture's own clock, and how long each lasts. [s]"""

    picture_s: float
    sound_s: float | None

    @property
    def sound_later_s(self) -> float:
        return (self.sound_s or 0.0) - self.picture_s if self.sound_s is not None else 0.0


def read_starts(path: Path) -> Starts:
    """When picture and sound of a file begin, by their first packets: a header often knows only one of them."""
    with open_moving(path) as container:
        picture = video_of(container)
        sound = container.streams.audio[0] if container.streams.audio else None
        wanted = {stream.index for stream in (picture, sound) if stream is not None}
        first: dict[int, float] = {}
        for packet in packets_of(container, Held(), [stream for stream in (picture, sound) if stream is not None]):
            if packet.pts is not None:
                first.setdefault(packet.stream.index, float(packet.pts * packet.time_base))
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
               hear: Callable[[float], None]) -> CopyMade:  # fmt: skip
    """Write the pictures of a video as H.264 and, beside them, the packets of a finished AAC file.

    Parameters
    ----------
    sound : Path or None
        An M4A file, already in step with the first picture.
    tags : dict
        libav's names.
    """
    held = Held()
    with open_moving(path) as source, av.open(str(target), "w", format="mp4", options={"movflags": "faststart"}) as out:
        out.metadata.update({name: text for name, text in tags.items() if text})
        picture = video_of(source)
        if picture is None:
            raise Unreadable("capture.broken", path=str(path), error="no picture")
        picture.thread_type = "AUTO"
        rate = (picture.average_rate or picture.guessed_rate or Fraction(25)) * (
            1 if plan.order == "progressive" else 2
        )
        coder = _h264_stream(out, picture, rate, plan)
        carried = _Sound(out, sound)
        count, last = 0, 0.0
        for frame in _fields(source, picture, plan, held):
            count += 1
            last = float(frame.pts * frame.time_base)
            hear(last)
            for packet in coder.encode(frame):
                carried.until(last)
                out.mux(packet)
        for packet in coder.encode(None):
            out.mux(packet)
        carried.until(None)
        if not count:
            raise Unreadable("capture.broken", path=str(path), error=held.broken or "no picture could be read")
        return CopyMade(
            pictures=count, rate=rate, seconds=last + float(1 / rate), width=coder.codec_context.width,
            height=coder.codec_context.height, broken=held.broken,
        )  # fmt: skip


def _h264_stream(out: Any, picture: Any, rate: Fraction, plan: CopyPlan) -> Any:
    keys = str(max(1, int(plan.key_s * rate)))
    options = {"crf": str(plan.crf), "preset": plan.preset, "profile": plan.profile, "g": keys, "keyint_min": "1"}
    stream = out.add_stream("libx264", rate=rate, options=options)
    coder = stream.codec_context
    coder.width, coder.height = picture.codec_context.width // 2 * 2, picture.codec_context.height // 2 * 2
    coder.pix_fmt = "yuv420p"
    coder.time_base = 1 / rate
    coder.sample_aspect_ratio = plan.shape
    coder.color_primaries, coder.color_trc, coder.colorspace = plan.primaries, plan.transfer, plan.matrix
    coder.color_range = RANGE_TV
    coder.thread_count = 0
    return stream


def _fields(source: Any, picture: Any, plan: CopyPlan, held: Held) -> Iterator[Any]:
    """Pictures ready for the coder: one of each field, 4:2:0 made afterwards, times from 0 on an even grid."""
    graph = None
    count = 0
    for packet in packets_of(source, held, [picture]):
        try:
            frames = packet.decode()
        except av.error.FFmpegError as error:
            held.broken = str(error)
            continue
        for frame in frames:
            base = frame.time_base or picture.time_base
            frame.pts, frame.time_base = frame.pts if frame.pts is not None else count, base
            count += 1
            graph = graph or _graph(frame, picture, plan)
            graph.push(frame)
            yield from _pulled(graph)
    if graph is not None:
        graph.push(None)
        yield from _pulled(graph)


def _graph(frame: Any, picture: Any, plan: CopyPlan) -> Graph:
    graph = Graph()
    last = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format.name, time_base=frame.time_base,
    )  # fmt: skip
    steps = [("setfield", FIELDS[plan.order])]
    if plan.order != "progressive":
        steps.append(("bwdif", f"mode=send_field:parity={FIELDS[plan.order]}:deint=all"))
    steps += [("setpts", "PTS-STARTPTS"), ("format", "yuv420p")]
    if frame.width % 2 or frame.height % 2:
        steps.append(("crop", f"{frame.width // 2 * 2}:{frame.height // 2 * 2}:0:0"))
    steps += [("setsar", f"{plan.shape.numerator}/{plan.shape.denominator}"), ("buffersink", "")]
    for name, arguments in steps:
        step = graph.add(name, arguments) if arguments else graph.add(name)
        last.link_to(step)
        last = step
    graph.configure()
    return graph


def _pulled(graph: Graph) -> Iterator[Any]:
    while True:
        try:
            yield graph.pull()
        except (av.error.BlockingIOError, av.error.EOFError):
            return


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
