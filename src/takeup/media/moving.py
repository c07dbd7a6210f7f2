"""Reads moving pictures and their sound through libav, one packet at a time; nothing is ever held whole."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import av
import numpy as np

from takeup.errors import Unreadable
from takeup.media.moving_blocks import blocks_are_damaged, chunk_is_damaged, scan_has_a_hole
from takeup.media.moving_checksums import decode_listening
from takeup.media.moving_growing import Growing
from takeup.media.moving_live import NOTE, Live
from takeup.media.moving_look import PREDICTING, look_inside, sound_of, video_of
from takeup.media.moving_mended import open_mended
from takeup.media.moving_planes import planes_of, samples_of
from takeup.media.sound_numbers import only_numbers
from takeup.streams import CaptureFile

FOLLOWED = ("avi", "mkv", "dv")  # containers that can be read while they grow; MOV and MP4 keep their index at the end


@dataclass(frozen=True, slots=True)
class Picture:
    """One decoded picture as it lies in the file: planes are never scaled, stretched or converted."""

    index: int  # counted from 0 as decoded
    at_s: float  # its own time stamp [s]
    planes: tuple[np.ndarray, ...]  # luma, then blue and red difference; uint8 or uint16; shape (rows, columns)
    bits: int  # of a sample
    interlaced: bool  # as the picture says of itself
    top_first: bool
    key: bool = False
    damaged: bool = False  # the decoder had to mend it
    stamped: bool = True  # False: the file gave no time, ``at_s`` is counted


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """Some decoded sound, in file order between the pictures."""

    first: int  # sample number of its first sample
    at_s: float
    samples: np.ndarray  # float32, shape (n_samples, n_channels), full scale 1.0
    rate_hz: int


@dataclass(slots=True)
class Reading:
    """A capture being read: an iterator of pictures and sound blocks in file order.

    After (and during) the walk ``broken`` tells why it ended before its end, and ``faults`` at which seconds packets
    did not decode. What came before a break has been handed out.
    """

    path: Path
    capture: CaptureFile
    idle_s: float | None = None
    sound: bool = True
    pictures: bool = True
    broken: str | None = None
    faults: list[float] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    """Where pictures of an open MOV lie in the file: its index will say so, too."""
    read_to: int = 0
    """The byte after the last packet that came; 0 where the container does not say."""
    heard: bool = False
    """Whether AAC has given its first sound."""
    _walk: Iterator[Picture | SoundBlock] | None = None

    def __iter__(self) -> Iterator[Picture | SoundBlock]:
        return self

    def __next__(self) -> Picture | SoundBlock:
        if self._walk is None:
            self._walk = self._steps()
        return next(self._walk)

    def close(self) -> None:
        """Stop early; the file is let go."""
        if self._walk is not None:
            self._walk.close()  # type: ignore[attr-defined]

    def _steps(self) -> Iterator[Picture | SoundBlock]:
        if NOTE in self.capture.notes:
            yield from self._live_steps()
            return
        container, source = _open(self.path, self.capture, self.idle_s)
        try:
            wanted = [video_of(container)] * self.pictures + [sound_of(container)] * self.sound
            streams = [stream for stream in wanted if stream is not None]
            unpacker = _Unpacker(self.path, self.capture)
            for packet in self._packets(container, streams):
                known = len(self.faults)
                frames = self._decode(packet)
                if len(self.faults) > known and packet.stream.codec_context.name in PREDICTING:
                    unpacker.hurt = True
                yield from unpacker.unpack(frames)
            if self.broken:
                for stream in streams:
                    with suppress(av.FFmpegError):
                        yield from unpacker.unpack(stream.codec_context.decode(None))
        finally:
            container.close()
            if source is not None:
                source.close()

    def _live_steps(self) -> Iterator[Picture | SoundBlock]:
        """What lies in an open MOV, as it is written."""
        live = Live(self.path, self.idle_s or 0.0)
        self.places = live.places
        unpacker = _Unpacker(self.path, self.capture)
        rate = self.capture.sound.rate_hz if self.capture.sound else 0
        try:
            for piece, held in live:
                if piece.kind == "picture":
                    yield from unpacker.unpack(held)
                else:
                    yield unpacker.samples(held, rate)
        finally:
            live.close()

    def _packets(self, container: Any, streams: list[Any]) -> Iterator[Any]:
        """Packets to the end, or as far as the container can be read."""
        packets = container.demux(streams)
        while True:
            try:
                packet = next(packets)
            except (StopIteration, av.EOFError):
                return
            except (av.FFmpegError, OSError) as error:
                self.broken = getattr(error, "strerror", None) or str(error)
                return
            if not self._placed(packet):
                self.broken = "the file ends in mid picture"
                return
            yield packet

    def _without_lead_in(self, packet: Any) -> list[Any]:
        """The first sound of an AAC stream. Its coder needs a packet of run-in, which a file marks to be left out;
        where the sound begins late, writers of MP4 shift the mark away with it, and the run-in would count as sound."""
        frames = packet.decode()
        if not frames:
            return frames
        self.heard = True
        marked = any(str(data.data_type) == "skip_samples" for data in packet.iter_sidedata())
        late = packet.pts is not None and packet.pts > 0
        return frames if marked or not late or self.capture.container not in ("mp4", "mov", "m4a") else frames[1:]

    def _placed(self, packet: Any) -> bool:
        """Note where a packet lies, and whether what lies between it and the one before is what it should be.

        False for half a DV picture: its reader fills it up with what the picture before left.
        """
        if not packet.size or packet.pos is None or packet.pos < 0:
            return True
        end = packet.pos + packet.size
        if self.capture.container == "dv" and end > self.capture.bytes and end > self.path.stat().st_size:
            return packet.stream.type != "video"
        if self.capture.container == "avi" and self.read_to and chunk_is_damaged(self.path, self.read_to, packet.pos):
            self.faults.append(_at_s(packet))
        self.read_to = max(self.read_to, end)
        return True

    def _decode(self, packet: Any) -> list[Any]:
        try:
            name = packet.stream.codec_context.name
            told = {"dvvideo": blocks_are_damaged, "mjpeg": scan_has_a_hole}.get(name)
            if told is not None and packet.size and told(packet):
                self.faults.append(_at_s(packet))
            if name == "aac" and not self.heard:
                return self._without_lead_in(packet)
            if name != "ffv1":
                return packet.decode()
            frames, wrong = decode_listening(packet)
            self.faults.extend(wrong)
            return frames
        except (av.FFmpegError, ValueError) as error:
            self.faults.append(_at_s(packet))
            if packet.is_corrupt:  # half a packet at the end of a cut file
                self.broken = getattr(error, "strerror", None) or str(error)
            return []


def look_at_moving(path: Path) -> CaptureFile:
    """Say what a MOV, AVI, MKV, MP4, M4A or raw DV file is: header, streams and its first picture.

    Raises
    ------
    Unreadable
        ``capture.broken`` when neither picture nor sound can be found in it.
    """
    try:
        with av.open(str(path), metadata_errors="replace") as container:
            return look_inside(path, container)
    except (av.FFmpegError, OSError) as error:
        container, source = _mended(path, error)
        with container, source:
            found = look_inside(path, container)
        return replace(found, unclosed=True, notes=(*found.notes, "index-made"))


def can_follow(capture: CaptureFile) -> bool:
    """Whether this container can be read while it is still being written."""
    return capture.container in FOLLOWED


def read_moving(
    path: Path, capture: CaptureFile, *, idle_s: float | None = None, sound: bool = True, pictures: bool = True
) -> Reading:
    """Read a capture once, in file order.

    Parameters
    ----------
    path, capture : Path, CaptureFile
        the file, and what :func:`look_at_moving` said of it
    idle_s : float, optional
        When given, the file may still grow: it is whole after so long without growth [s]. Only where
        :func:`can_follow` says so; else it is read as it is now.
    sound, pictures : bool
        which of the two are wanted; the other is skipped without being decoded

    Returns
    -------
    Reading
        iterate it; then ask ``broken`` and ``faults``.

    Raises
    ------
    Unreadable
        ``capture.broken`` when the file cannot be opened at all (raised by the first step).
    """
    return Reading(path, capture, idle_s, sound, pictures)


def _open(path: Path, capture: CaptureFile, idle_s: float | None) -> tuple[Any, Any]:
    source = Growing(path, idle_s) if idle_s is not None and can_follow(capture) else None
    form = {"mkv": "matroska", "avi": "avi", "dv": "dv"}[capture.container] if source else None
    try:
        container = av.open(source or str(path), format=form, metadata_errors="replace")
    except (av.FFmpegError, OSError) as error:
        if source is not None:
            source.close()
            raise _broken(path, error) from error
        container, source = _mended(path, error)
    for stream in container.streams:
        if stream.type in ("video", "audio"):
            stream.thread_type = "SLICE" if stream.codec_context.name == "ffv1" else "AUTO"
    return container, source


def _at_s(packet: Any) -> float:
    """A packet's own time [s]; -1 where it has none."""
    at = packet.pts if packet.pts is not None else packet.dts
    return float(at * packet.time_base) if at is not None else -1.0


def _mended(path: Path, error: Exception) -> tuple[Any, Any]:
    """A MOV without its index, opened with one that is made from what lies in it."""
    try:
        opened = open_mended(path)
    except (av.FFmpegError, OSError):
        opened = None
    if opened is None:
        raise _broken(path, error) from error
    return opened


def _broken(path: Path, error: Exception) -> Unreadable:
    return Unreadable("capture.broken", path=str(path), error=getattr(error, "strerror", None) or str(error))


class _Unpacker:
    """Turns libav's frames into ours and keeps both counts."""

    def __init__(self, path: Path, capture: CaptureFile) -> None:
        self.path = path
        self.index = 0
        self.first = 0
        self.hurt = False  # pictures are predicted from a damaged one until one stands alone again
        self.rate = float(capture.picture.rate) if capture.picture and capture.picture.rate else 25.0
        self.top_first = bool(capture.picture and capture.picture.field_order == "top")

    def unpack(self, frames: list[Any]) -> Iterator[Picture | SoundBlock]:
        for frame in frames:
            yield self._picture(frame) if isinstance(frame, av.VideoFrame) else self._block(frame)

    def _picture(self, frame: Any) -> Picture:
        planes, bits = planes_of(frame)
        index, self.index = self.index, self.index + 1
        stamped = frame.time is not None and frame.time_base
        at_s = float(frame.time) if stamped else index / self.rate
        interlaced = bool(frame.interlaced_frame)
        key = bool(frame.key_frame)
        self.hurt = self.hurt and not key
        damaged = self.hurt or bool(frame.is_corrupt)
        return Picture(index, at_s, planes, bits, interlaced, self.top_first, key, damaged, stamped)

    def samples(self, samples: np.ndarray, rate_hz: int) -> SoundBlock:
        """Sound that is already unpacked."""
        first, self.first = self.first, self.first + len(samples)
        return SoundBlock(first, first / rate_hz, samples, rate_hz)

    def _block(self, frame: Any) -> SoundBlock:
        samples = only_numbers(samples_of(frame), self.path, self.first, frame.sample_rate, coded=True)
        first, self.first = self.first, self.first + len(samples)
        at_s = float(frame.time) if frame.time is not None else first / frame.sample_rate
        return SoundBlock(first, at_s, samples, frame.sample_rate)
