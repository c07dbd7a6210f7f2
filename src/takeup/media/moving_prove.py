"""What a moving-picture file holds, picture by picture and sample by sample, and whether another file holds the same.

Hashing runs in a thread of its own: SHA-256 and the decoders let go of Python's lock, so the second core does it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from hashlib import sha256
from itertools import zip_longest
from pathlib import Path
from queue import Queue
from types import TracebackType
from typing import Any

import av
import numpy as np

from takeup.errors import CopyDiffers, Unreadable
from takeup.media.moving_look import video_of
from takeup.media.moving_mended import open_or_mend
from takeup.media.moving_planes import planes_of
from takeup.media.sound_write import interleaved

MARK_BYTES = 8  # of the running digest, kept after each picture: 720 kB for an hour
AHEAD = 6  # pictures that wait for the hashing thread at most

Hear = Callable[[float], None]


@dataclass(slots=True)
class Held:
    """What a file holds, counted and hashed while it is decoded."""

    pictures: int = 0
    samples: dict[int, int] = field(default_factory=dict)  # sound track -> sample frames
    broken: str = ""
    picture_digest: Any = field(default_factory=sha256)
    sound_digests: dict[int, Any] = field(default_factory=dict)
    marks: bytearray = field(default_factory=bytearray)  # the running digest's first bytes after each picture

    def sound(self) -> dict[int, str]:
        return {track: digest.hexdigest() for track, digest in self.sound_digests.items()}

    def take_picture(self, frame: Any) -> None:
        """Hash a picture's samples as they lie, plane after plane, without the padding of rows."""
        for plane in sample_planes(frame):
            self.picture_digest.update(plane)
        self.marks += self.picture_digest.copy().digest()[:MARK_BYTES]
        self.pictures += 1

    def take_sound(self, track: int, frame: Any) -> None:
        self.samples[track] = self.samples.get(track, 0) + frame.samples
        self.sound_digests.setdefault(track, sha256()).update(interleaved(frame))


class Taking:
    """Takes pictures into a ``Held`` beside the work that makes or reads them."""

    def __init__(self, held: Held) -> None:
        self.held = held
        self.error: BaseException | None = None
        self._waiting: Queue[Any] = Queue(AHEAD)
        self._thread = threading.Thread(target=self._work, daemon=True, name="hash-pictures")

    def __enter__(self) -> Taking:
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._waiting.put(None)
        self._thread.join()
        if kind is None and self.error is not None:
            raise self.error

    def picture(self, frame: Any) -> None:
        self._waiting.put(frame)

    def _work(self) -> None:
        while (frame := self._waiting.get()) is not None:
            if self.error is None:
                try:
                    self.held.take_picture(frame)
                except BaseException as error:
                    self.error = error


def open_moving(path: Path) -> Any:
    """Open a moving-picture file.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be opened.
    """
    try:
        return open_or_mend(path)
    except av.error.FFmpegError as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error)) from error


@contextmanager
def told_plainly(path: Path) -> Iterator[None]:
    """What libav cannot do with a file becomes ``capture.broken``; a full disk stays what it is."""
    try:
        yield
    except av.error.FFmpegError as error:
        if isinstance(error, OSError):
            raise
        raise Unreadable("capture.broken", path=str(path), error=str(error)) from error


def packets_of(container: Any, held: Held, streams: list[Any]) -> Iterator[Any]:
    """Packets in file order, as far as the file goes; at its end an empty one a stream, which empties its decoder."""
    try:
        for packet in container.demux(*streams):
            if packet.size or packet.dts is None:
                yield packet
    except av.error.FFmpegError as error:
        held.broken = str(error)


def decoded(packet: Any, held: Held) -> list[Any]:
    """A packet's frames; none, and a word in ``held``, when it cannot be decoded."""
    try:
        return packet.decode()
    except av.error.FFmpegError as error:
        held.broken = str(error)
        return []


def read_held(path: Path, hear: Hear, checked: Callable[[Held], None] = lambda held: None) -> Held:
    """Decode a whole file and hash what it holds. ``checked`` sees it after each picture handed on, a few behind."""
    held = Held()
    with open_moving(path) as container, Taking(held) as taking:
        picture = video_of(container)
        if picture is None:
            raise Unreadable("capture.broken", path=str(path), error="no picture")
        picture.thread_type = "AUTO"
        tracks = {stream.index: at for at, stream in enumerate(container.streams.audio)}
        count = 0
        for packet in packets_of(container, held, [picture, *container.streams.audio]):
            at = packet.stream.index  # an empty packet's own stream_index is always 0
            for frame in decoded(packet, held):
                if at != picture.index:
                    held.take_sound(tracks[at], frame)
                    continue
                taking.picture(frame)
                count += 1
                hear(count)
                checked(held)
    return held


def prove(own: Held, capture: Path, master: Path, hear: Hear) -> None:
    """Decode a master and compare every picture and every sound sample with what its capture held.

    Raises
    ------
    CopyDiffers
        ``finish.pictures-differ`` or ``finish.sound-differs``, with the first place that differs.
    """
    seen = 0

    def checked(held: Held) -> None:
        nonlocal seen
        until = len(held.marks)
        if held.marks[seen:until] != own.marks[seen:until]:
            raise CopyDiffers("finish.pictures-differ", path=str(capture), number=_first(held, own))
        seen = until

    kept = read_held(master, hear, checked)
    if kept.marks != own.marks or kept.picture_digest.digest() != own.picture_digest.digest():
        raise CopyDiffers("finish.pictures-differ", path=str(capture), number=_first(kept, own))
    if own.sound() != kept.sound():
        raise CopyDiffers("finish.sound-differs", path=str(capture))


def _first(one: Held, other: Held) -> int:
    """The first picture after which the running digests differ."""
    least = min(len(one.marks), len(other.marks)) // MARK_BYTES
    return next(
        (
            at
            for at in range(least)
            if one.marks[at * MARK_BYTES : (at + 1) * MARK_BYTES]
            != other.marks[at * MARK_BYTES : (at + 1) * MARK_BYTES]
        ),
        least,
    )


def prove_packets(capture: Path, master: Path, hear: Hear) -> Held:
    """Compare the packets of two files, stream by stream in their order, and the first picture decoded from each.

    Raises
    ------
    CopyDiffers
        ``finish.pictures-differ`` or ``finish.sound-differs``.
    """
    own, kept = Held(), Held()
    with open_moving(capture) as one, open_moving(master) as other:
        pairs = [(video_of(one), video_of(other)), *zip_longest(one.streams.audio, other.streams.audio)]
        if any(mine is None or theirs is None for mine, theirs in pairs):
            raise CopyDiffers("finish.sound-differs", path=str(capture))
    for at, kind in enumerate(["finish.pictures-differ", *["finish.sound-differs"] * (len(pairs) - 1)]):
        both = zip_longest(_packet_bytes(capture, at, own), _packet_bytes(master, at, kept))
        for number, (mine, theirs) in enumerate(both):
            if mine != theirs:
                raise CopyDiffers(kind, path=str(capture), number=number)
            if at == 0:
                own.pictures += 1
                hear(own.pictures)
    if _first_picture(capture) != _first_picture(master):
        raise CopyDiffers("finish.pictures-differ", path=str(capture), number=0)
    return own


def _packet_bytes(path: Path, at: int, held: Held) -> Iterator[bytes]:
    with open_moving(path) as container:
        streams = [video_of(container), *container.streams.audio]
        for packet in packets_of(container, held, [streams[at]]):
            if packet.size:
                yield bytes(packet)


def _first_picture(path: Path) -> bytes:
    """What the first picture decodes to, digested; empty when none does."""
    held = Held()
    with open_moving(path) as container:
        for packet in packets_of(container, held, [video_of(container)]):
            for frame in decoded(packet, held):
                held.take_picture(frame)
                return held.picture_digest.digest()
    return b""


def sample_planes(frame: Any) -> list[np.ndarray]:
    """A picture's samples as they lie, plane after plane, without the padding of rows."""
    if frame.format.is_rgb:
        deep = max(component.bits for component in frame.format.components) > 8
        return [np.ascontiguousarray(frame.to_ndarray(format="rgb48le" if deep else "rgb24"))]
    planes, _ = planes_of(frame)
    return [np.ascontiguousarray(plane) for plane in planes]
