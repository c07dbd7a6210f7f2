"""Reads captures of sound: PCM straight from the disk (closed, unclosed or still growing), the rest through libav."""

from __future__ import annotations

import queue
import re
import threading
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from takeup.errors import Unreadable
from takeup.media.moving_growing import Growing
from takeup.media.sound_growing import growing_samples
from takeup.media.sound_numbers import only_numbers
from takeup.media.wave import Layout, Unpack24, read_layout, unpack
from takeup.streams import CaptureFile, SoundStream

BLOCK_HOPS = 128  # blocks are whole hundredths of a second where the rate allows it, which saves copying
BLOCK = 1 << 16  # frames handed out at once, at most, by a decoder
PCM_FILES = ("wav", "rf64", "bw64", "aiff")
ODD_FRAMES_S = 1.0  # of frames of another rate or number of channels: more than a false frame at a cut


def look_at_sound(path: Path) -> CaptureFile:
    """Say what a WAV, RF64, BW64, AIFF, FLAC or MP3 file is.

    Raises
    ------
    Unreadable
        ``sound.unfinished`` (its header is not all there), ``sound.no-samples``, ``capture.broken``.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        head = file.read(4)
    if head not in (b"RIFF", b"RF64", b"BW64", b"FORM"):
        return _look_at_coded(path, size, None)
    layout = read_layout(path)
    if layout.form == "coded":
        return _look_at_coded(path, size, layout)
    stated = layout.data_bytes
    notes = ("sound.cut-short",) if layout.cut_short else ("sound.unclosed",) if layout.unclosed else ()
    return CaptureFile(
        container=layout.container,
        bytes=size,
        sound=SoundStream(
            codec=_codec(layout),
            rate_hz=layout.rate_hz,
            channels=layout.channels,
            bits=layout.bits,
            lossy=False,
            seconds_stated=None if stated is None else stated // layout.frame_bytes / layout.rate_hz,
            float_samples=layout.form == "float",
        ),
        unclosed=layout.unclosed,
        notes=notes,
    )


def read_sound(
    path: Path, capture: CaptureFile, *, idle_s: float | None = None, quick_24: Unpack24 | None = None
) -> Iterator[np.ndarray]:
    """Hand out the samples in order, block by block; never the whole file.

    Parameters
    ----------
    path, capture : Path, CaptureFile
        The file, and what looking at it told.
    idle_s : float, optional
        The file may still grow: at its end wait until it has not grown for so long [s].
    quick_24 : callable, optional
        See :func:`takeup.media.wave.unpack`.

    Yields
    ------
    ndarray, float32, shape (n, n_channels)
        Full scale 1.0. A file that was cut gives what it has.

    Raises
    ------
    Unreadable
        ``capture.cannot-open``, ``capture.broken``.
    """
    if capture.container in PCM_FILES:
        layout = read_layout(path)
        if layout.form != "coded":
            return _read_pcm(path, layout, idle_s, quick_24)
    return _read_coded(path, capture, idle_s)


def read_ahead(blocks: Iterable[np.ndarray], depth: int = 4) -> Iterator[np.ndarray]:
    """The same blocks, read by a second thread while the first one works on those before."""
    waiting: queue.Queue[Any] = queue.Queue(maxsize=depth)
    stopped = threading.Event()

    def put(thing: Any) -> bool:
        while not stopped.is_set():
            try:
                waiting.put(thing, timeout=0.1)
                return True
            except queue.Full:
                continue
        return False

    def read() -> None:
        try:
            for block in blocks:
                if not put(block):
                    return
            put(None)
        except BaseException as error:  # handed to the thread that asked, which raises it
            put(error)

    reader = threading.Thread(target=read, name="read-ahead", daemon=True)
    reader.start()
    try:
        while (got := waiting.get()) is not None:
            if isinstance(got, BaseException):
                raise got
            yield got
    finally:
        stopped.set()
        reader.join()


def can_follow_sound(capture: CaptureFile) -> bool:
    """Whether this file of sound alone can be read while it is being written."""
    pcm = capture.sound is not None and re.fullmatch(r"pcm_[suf]\d+(le|be)?", capture.sound.codec)
    return capture.container in ("flac", "mp3") or (capture.container in PCM_FILES and bool(pcm))


def _read_pcm(path: Path, layout: Layout, idle_s: float | None, quick_24: Unpack24 | None) -> Iterator[np.ndarray]:
    width, channels = layout.frame_bytes, layout.channels
    most = max(4, round(layout.rate_hz / 100) * max(1, BLOCK_HOPS // max(1, channels // 2)) // 4 * 4) * width
    pieces = _stored(path, layout, most) if idle_s is None else growing_samples(path, layout, most, idle_s)
    left, frames = b"", 0
    for piece in pieces:
        raw = left + piece if left else piece
        whole = len(raw) // width * width
        left = raw[whole:]
        if whole:
            block = unpack(memoryview(raw)[:whole], layout, quick_24)
            yield only_numbers(block, path, frames, layout.rate_hz) if layout.form == "float" else block
            frames += len(block)


def _stored(path: Path, layout: Layout, most: int) -> Iterator[bytes]:
    remaining = layout.data_bytes
    if remaining is None and layout.ends_at is not None:
        remaining = layout.ends_at - layout.data_at
    with path.open("rb", buffering=0) as file:
        file.seek(layout.data_at)
        while remaining is None or remaining > 0:
            piece = file.read(most if remaining is None else min(most, remaining))
            if not piece:
                return
            if remaining is not None:
                remaining -= len(piece)
            yield piece


def _look_at_coded(path: Path, size: int, layout: Layout | None) -> CaptureFile:
    import av

    try:
        with av.open(str(path), metadata_errors="replace") as container:
            stream = next((one for one in container.streams.audio if one.codec_context is not None), None)
            if stream is None:
                raise Unreadable("capture.broken", path=str(path), error="no sound track")
            sound = sound_stream_of(stream)
            if (
                layout and layout.cut_short and layout.data_bytes and sound.seconds_stated
            ):  # libav goes by what is there
                whole = layout.data_bytes / max(1, size - layout.data_at)
                sound = replace(sound, seconds_stated=sound.seconds_stated * whole)
            kind = layout.container if layout else container.format.name.split(",")[0]
    except (av.FFmpegError, OSError) as error:
        raise Unreadable("capture.broken", path=str(path), error=_said(error)) from error
    if kind == "mp3" and not _length_is_written(path):
        sound = replace(sound, seconds_stated=None)  # libav would only be guessing from the rate of the first frames
    return CaptureFile(container=kind, bytes=size, sound=sound)


def _length_is_written(path: Path) -> bool:
    """Whether an MP3 file's first frame is the kind that states how many follow."""
    with path.open("rb") as file:
        head = file.read(10)
        tag = 0
        if head[:3] == b"ID3" and len(head) == 10:
            tag = 10 + sum((byte & 0x7F) << shift for byte, shift in zip(head[6:], (21, 14, 7, 0)))
        file.seek(tag)
        first = file.read(4096)
    return any(name in first for name in (b"Xing", b"Info", b"VBRI"))


def sound_stream_of(stream: Any) -> SoundStream:
    """What an open libav stream says of its sound."""
    coder = stream.codec_context
    name = coder.name
    lossy = not (name.startswith(("pcm_s", "pcm_f", "pcm_u")) or name in ("flac", "alac", "wavpack"))
    bits = None
    if not lossy:
        bits = 16 if coder.format is not None and coder.format.name in ("s16", "s16p") else 24
    stated = stream.duration * stream.time_base if stream.duration and stream.time_base else None
    return SoundStream(
        codec=name,
        rate_hz=coder.sample_rate,
        channels=coder.layout.nb_channels,
        bits=bits,
        lossy=lossy,
        seconds_stated=float(stated) if stated else None,
    )


def _read_coded(path: Path, capture: CaptureFile, idle_s: float | None) -> Iterator[np.ndarray]:
    import av

    source = Growing(path, idle_s) if idle_s is not None and capture.container in ("flac", "mp3") else None
    try:
        container = av.open(
            source or str(path), format=capture.container if source else None, metadata_errors="replace"
        )
    except (av.FFmpegError, OSError) as error:
        raise Unreadable("capture.broken", path=str(path), error=_said(error)) from error
    try:
        yield from _blocks(container, path, capture, at_once=source is not None)
    finally:
        container.close()
        if source is not None:
            source.close()


def _blocks(container: Any, path: Path, capture: CaptureFile, *, at_once: bool) -> Iterator[np.ndarray]:
    """Decoded samples of an open container; ``at_once``: as they come, not gathered."""
    from takeup.media.moving_planes import samples_of

    gathered: list[np.ndarray] = []
    count = frames = 0
    for frame in _frames(container, path, capture):
        gathered.append(only_numbers(samples_of(frame), path, frames, frame.sample_rate, coded=True))
        count += len(gathered[-1])
        frames += len(gathered[-1])
        if at_once or count >= BLOCK:
            yield np.concatenate(gathered)
            gathered, count = [], 0
    if gathered:
        yield np.concatenate(gathered)


def _frames(container: Any, path: Path, capture: CaptureFile) -> Iterator[Any]:
    """Sound frames of the rate and channels that the file states, as far as it can be read."""
    import av

    stream = next(one for one in container.streams.audio if one.codec_context is not None)
    wanted = (capture.sound.rate_hz, capture.sound.channels) if capture.sound else (0, 0)
    packets = container.demux(stream)
    odd_s = 0.0
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.FFmpegError, OSError):
            return  # what was read until here is what the file has
        try:
            frames = packet.decode()
        except (av.FFmpegError, ValueError):
            continue  # half a packet at a cut; the length tells
        for frame in frames:
            if (frame.sample_rate, frame.layout.nb_channels) == wanted:
                yield frame
                continue
            odd_s += frame.samples / max(1, frame.sample_rate)
            if odd_s > ODD_FRAMES_S:
                raise Unreadable("sound.changes-midway", path=str(path))


def _codec(layout: Layout) -> str:
    order = "be" if layout.big_endian else "le"
    letter = {"int": "s", "uint": "u", "float": "f"}[layout.form]
    bits = 8 * layout.sample_bytes
    return f"pcm_{letter}{bits}" + (order if bits > 8 else "")


def _said(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
