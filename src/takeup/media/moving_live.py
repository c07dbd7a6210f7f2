"""A growing MOV of uncompressed or DV pictures: read from its media data, and held against its index in the end."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av

from takeup.media.moving_layout import may_hold
from takeup.media.moving_look import LOSSLESS, sound_of, video_of
from takeup.media.moving_marks import Layout
from takeup.media.moving_mended import open_mended
from takeup.media.moving_sound_guess import samples_from
from takeup.media.moving_unindexed import Piece, Pieces, learn_layout, media_data
from takeup.media.watching import Watch
from takeup.streams import CaptureFile, PictureStream, SoundStream

NOTE = "index-at-end"  # of a capture file that is read from its media data
PIXELS = {"v210": "yuv422p10le"}
LOOK_EVERY_S = 0.05
ENOUGH_TO_SEE = 3 << 20  # bytes in which pictures of a known kind show, if there are any


@dataclass(frozen=True, slots=True)
class Settled:
    """What the index of the finished file says of what was read while it grew."""

    capture: CaptureFile
    stamps: tuple[float, ...]  # of the pictures [s]
    sound_s: float  # where sound begins


def open_without_index(path: Path) -> bool:
    """Whether a file is a MOV that is still open, or was never closed: its media data have no end yet."""
    try:
        data = media_data(path)
    except OSError:
        return False
    return data is not None and data.end is None and _is_mov(path)


def _is_mov(path: Path) -> bool:
    with path.open("rb") as file:
        head = file.read(12)
    return head[4:8] != b"ftyp" or head[8:12] == b"qt  "


def may_be_told(path: Path) -> bool:
    """Whether it may yet turn out what lies in an open MOV; H.264 and its kin never tell."""
    data = media_data(path)
    if data is None:
        return False
    with path.open("rb") as file:
        file.seek(data.begin)
        part = file.read(ENOUGH_TO_SEE)
    return len(part) < ENOUGH_TO_SEE or may_hold(part)


def look_at_open_mov(path: Path, system: str | None = None) -> CaptureFile | None:
    """What is being captured into a MOV that is not closed; None when its bytes do not tell (yet)."""
    layout = learn_layout(path, system)
    if layout is None:
        return None
    _LAYOUTS[_key(path)] = layout
    codec = layout.codec
    order = "bottom" if codec == "dvvideo" else None
    dv_pixels = "yuv420p" if layout.height == 576 else "yuv411p"
    picture = PictureStream(
        codec=codec, width=layout.width, height=layout.height, rate=layout.rate,
        pixel_format=layout.pixel_format or PIXELS.get(codec, dv_pixels), bits=10 if codec == "v210" else 8, shape=None,
        field_order=order, lossy=codec not in LOSSLESS, pictures_stated=None, seconds_stated=None,
    )  # fmt: skip
    sound = layout.sound and SoundStream(
        codec=layout.sound.codec, rate_hz=layout.sound.rate_hz, channels=layout.sound.channels,
        bits=8 * layout.sound.sample_bytes, lossy=False, seconds_stated=None,
    )  # fmt: skip
    size = path.stat().st_size
    return CaptureFile(container="mov", bytes=size, picture=picture, sound=sound, unclosed=True, notes=(NOTE,))


_LAYOUTS: dict[tuple[int, int], Layout] = {}  # of files that are being followed: found once, by what lay in them then


def _key(path: Path) -> tuple[int, int]:
    state = path.stat()
    return state.st_dev, state.st_ino


class Live:
    """Pieces of an open MOV as they are written; iterate ``packets``, then ask ``places``."""

    def __init__(self, path: Path, idle_s: float) -> None:
        self.path = path
        self.layout = _LAYOUTS.get(_key(path)) or learn_layout(path)
        assert self.layout is not None
        self.file = path.open("rb")
        self.idle_s = idle_s
        self.watch = Watch(path, self.file)
        self.pieces = Pieces(self.file, self.layout, self._wait)
        self.places: list[int] = []
        self.ended = False
        self.coder = _decoder(self.layout)

    def __iter__(self) -> Iterator[tuple[Piece, Any]]:
        """Each piece with its frames (a picture) or samples (sound)."""
        assert self.layout is not None
        for piece in self.pieces:
            data = os.pread(self.file.fileno(), piece.length, piece.at)
            self.watch.read_to = piece.at + piece.length
            if piece.kind == "picture":
                self.places.append(piece.at)
                packet = av.Packet(data)
                packet.pts = packet.dts = len(self.places) - 1
                yield piece, self.coder.decode(packet)
            elif self.layout.sound is not None:
                yield piece, samples_from(data, self.layout.sound)

    def close(self) -> None:
        self.file.close()

    def _wait(self, wanted: int) -> int:
        """How long the file is: as long as wanted, or as it stays."""
        until, size = time.monotonic() + self.idle_s, -1
        while True:
            self.watch.look()
            if self.watch.size != size:
                size, until = self.watch.size, time.monotonic() + self.idle_s
            if size >= wanted or self.ended:
                return size
            if time.monotonic() >= until:
                self.ended = True
                return size
            time.sleep(LOOK_EVERY_S)


def settle(path: Path, capture: CaptureFile, places: list[int], samples: int) -> Settled | None:
    """Hold what was read against the index; None where they differ: then the file is to be read once more.

    ``capture`` is what the finished file says of itself.
    """
    opened = _opened(path)
    if opened is None or capture.picture is None:
        return None
    container, source = opened
    try:
        video, audio = video_of(container), sound_of(container)
        if video is None or video.time_base is None:
            return None
        entries = list(video.index_entries)
        own = [entry.pos - entries[0].pos for entry in entries] if entries else []
        if own != [place - places[0] for place in places]:
            return None
        heard = 0
        begins = 0.0
        if audio is not None:
            pieces = list(audio.index_entries)
            frame = audio.codec_context.format.bytes * audio.codec_context.layout.nb_channels
            bits = capture.sound.bits if capture.sound else None
            frame = (bits or 8 * frame) // 8 * audio.codec_context.layout.nb_channels
            heard = sum(entry.size for entry in pieces) // frame
            begins = float(pieces[0].timestamp * audio.time_base) if pieces else 0.0
        if heard != samples:
            return None
        stamps = tuple(float(entry.timestamp * video.time_base) for entry in entries)
        return Settled(capture, stamps, begins)
    finally:
        container.close()
        if source is not None:
            source.close()


def _opened(path: Path) -> tuple[Any, Any] | None:
    try:
        return av.open(str(path), metadata_errors="replace"), None
    except (av.FFmpegError, OSError):
        try:
            return open_mended(path)
        except (av.FFmpegError, OSError):
            return None


def _decoder(layout: Layout) -> Any:
    coder = av.CodecContext.create(layout.codec, "r")
    coder.width, coder.height = layout.width, layout.height
    if layout.pixel_format:
        coder.pix_fmt = layout.pixel_format
    return coder
