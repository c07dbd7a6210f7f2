"""Small pieces of a capture that every browser plays or shows: a few seconds of sound or picture, stills, a miniature.

A piece is sought, never read up to: eight seconds near the end of a tape of three hours take as long as at its start.
The capture is only read.
"""

from __future__ import annotations

import io
import wave
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any, BinaryIO

import av
import numpy as np
import pyvips
from av.filter import Graph

from takeup.errors import Unreadable
from takeup.media.moving_look import sound_of, video_of
from takeup.media.moving_mended import open_or_mend
from takeup.media.still import OpenStill
from takeup.media.still_write import in_srgb
from takeup.streams import CaptureFile, Still

SOUND_HZ = 48000  # what every browser plays
WIDEST_PX = 640  # of a moving piece: a look, not a viewing
SHAPE = Fraction(4, 3)  # of a picture whose own shape nobody stated
STEP_BACK_S = 1.0  # sought so much earlier: the next key picture in front may be later than the index says
QUALITY = 82
FAR_S = 10.0  # walking so far costs less than seeking anew
Source = Path | BinaryIO  # a file, or bytes of one that libav is to take for a file
CODER = {"crf": "25", "preset": "ultrafast", "tune": "fastdecode", "g": "25"}


def write_sound_piece(path: Path, target: Path, from_s: float, seconds: float) -> float:
    """Write some seconds of a capture's sound as 16-bit WAV; the seconds written.

    Raises
    ------
    Unreadable
        ``excerpt.nothing-there`` when the capture holds no sound at that place.
    """
    blocks = list(sound_blocks(path, from_s, seconds))
    samples = np.concatenate(blocks) if blocks else np.zeros((0, 2), np.int16)
    if not len(samples):
        raise Unreadable("excerpt.nothing-there", name=path.name)
    held = io.BytesIO()
    with wave.open(held, "wb") as out:
        out.setnchannels(samples.shape[1])
        out.setsampwidth(2)
        out.setframerate(SOUND_HZ)
        out.writeframes(samples.astype("<i2").tobytes())
    target.write_bytes(held.getvalue())
    return len(samples) / SOUND_HZ


def sound_blocks(path: Source, from_s: float, seconds: float) -> Iterator[np.ndarray]:
    """Samples of a stretch, int16, two channels; a second of a broken packet is skipped."""
    wanted = round(seconds * SOUND_HZ)
    with _opened(path) as container:
        track = sound_of(container)
        if track is None:
            return
        turn = av.AudioResampler(format="s16", layout="stereo", rate=SOUND_HZ)
        for frame in _decoded(container, track, from_s):
            at = float(frame.pts * frame.time_base) if frame.pts is not None else from_s
            frame.pts = None
            for made in turn.resample(frame):
                block = made.to_ndarray().reshape(-1, 2)
                skip = max(0, round((from_s - at) * SOUND_HZ))
                at += len(block) / SOUND_HZ
                if skip < len(block):
                    yield block[skip : skip + wanted]
                    wanted -= len(block) - skip
                if wanted <= 0:
                    return


def write_moving_piece(path: Source, target: Path, from_s: float, seconds: float) -> float:
    """Write some seconds of moving pictures as H.264 in MP4, with their sound as AAC; the seconds written.

    Lines of two fields are put together to whole pictures, pixels made square: a look at what is there.

    Raises
    ------
    Unreadable
        ``excerpt.nothing-there`` when no picture can be read at that place.
    """
    options = {"movflags": "+faststart"}
    with _opened(path) as source, av.open(str(target), "w", format="mp4", options=options) as out:
        picture = video_of(source)
        if picture is None:
            raise Unreadable("excerpt.nothing-there", name=_name(path))
        size = _small(picture, WIDEST_PX)
        rate = picture.average_rate or picture.guessed_rate or Fraction(25)
        coder = out.add_stream("libx264", rate=rate, options=CODER)
        coder.width, coder.height, coder.pix_fmt = size[0], size[1], "yuv420p"
        coder.codec_context.thread_count = 1
        voice = out.add_stream("aac", rate=SOUND_HZ, layout="stereo") if sound_of(source) is not None else None
        count = 0
        for frame in _whole_pictures(_decoded(source, picture, from_s), from_s, seconds, size):
            frame.pts, frame.time_base = count, 1 / rate
            count += 1
            for packet in coder.encode(frame):
                out.mux(packet)
        for packet in coder.encode(None) if count else ():
            out.mux(packet)
        if not count:
            raise Unreadable("excerpt.nothing-there", name=_name(path))
        if voice is not None:
            _add_sound(out, voice, sound_blocks(path, from_s, count / float(rate)))
    return float(count / rate)


def _whole_pictures(frames: Iterable[Any], from_s: float, seconds: float, size: tuple[int, int]) -> Iterator[Any]:
    graph: Graph | None = None
    for frame in frames:
        at = float(frame.pts * frame.time_base) if frame.pts is not None else from_s
        if at < from_s - 1e-3:
            continue
        if at >= from_s + seconds:
            return
        graph = graph or _graph(frame, size)
        graph.push(frame)
        with suppress(av.error.BlockingIOError, av.error.EOFError):
            yield graph.pull()


def _graph(frame: Any, size: tuple[int, int]) -> Graph:
    graph = Graph()
    last = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format.name, time_base=frame.time_base or Fraction(1, 25)
    )
    steps = [("yadif", "mode=send_frame:deint=all")] if frame.interlaced_frame else []
    steps += [
        ("scale", f"{size[0]}:{size[1]}:flags=bilinear"),
        ("format", "yuv420p"),
        ("setsar", "1"),
        ("buffersink", ""),
    ]
    for name, arguments in steps:
        step = graph.add(name, arguments) if arguments else graph.add(name)
        last.link_to(step)
        last = step
    graph.configure()
    return graph


def _add_sound(out: Any, voice: Any, blocks: Iterator[np.ndarray]) -> None:
    done = 0
    for block in blocks:
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(block).reshape(1, -1), "s16", "stereo")
        frame.sample_rate, frame.pts, frame.time_base = SOUND_HZ, done, Fraction(1, SOUND_HZ)
        done += len(block)
        for packet in voice.encode(frame):
            out.mux(packet)
    for packet in voice.encode(None):
        out.mux(packet)


def stills_at(path: Source, times_s: Sequence[float], *, widest_px: int = 160) -> tuple[Still, ...]:
    """One small picture for each of some rising times; a place without one is left out.

    Times less than ten seconds apart are walked through and met exactly; of times far apart each gets the key picture
    that lies before it, which needs no walking.
    """
    stills: list[Still] = []
    with _opened(path) as container:
        picture = video_of(container)
        if picture is None or not times_s:
            return ()
        size = _small(picture, widest_px)
        if len(times_s) > 1 and times_s[1] - times_s[0] >= FAR_S:
            picture.codec_context.skip_frame = "NONKEY"
            for at_s in times_s:
                frame = next(_decoded(container, picture, at_s), None)
                stills += [_still(frame, at_s, size)] if frame is not None else []
            return tuple(stills)
        waiting = list(times_s)
        for frame in _decoded(container, picture, times_s[0]):
            at = float(frame.pts * frame.time_base) if frame.pts is not None else waiting[0]
            if at >= waiting[0] - 1e-3:
                stills.append(_still(frame, waiting.pop(0), size))
            if not waiting:
                break
    return tuple(stills)


def _still(frame: Any, at_s: float, size: tuple[int, int]) -> Still:
    pixels = frame.reformat(width=size[0], height=size[1], format="rgb24", interpolation="AREA").to_ndarray()
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels)).copy(interpretation="srgb")
    return Still(at_s=at_s, jpeg=image.jpegsave_buffer(Q=QUALITY), width=size[0], height=size[1])


def write_strip(stills: Sequence[Still], target: Path) -> None:
    """Write some stills side by side as one JPEG: a piece of film that cannot flicker.

    Raises
    ------
    Unreadable
        ``excerpt.nothing-there`` without any.
    """
    if not stills:
        raise Unreadable("excerpt.nothing-there", name=target.name)
    images = [pyvips.Image.new_from_buffer(still.jpeg, "") for still in stills]
    joined = pyvips.Image.arrayjoin(images, across=len(images), shim=4, background=[255, 255, 255])
    target.write_bytes(joined.jpegsave_buffer(Q=QUALITY, keep="none"))


def write_miniature(path: Path, capture: CaptureFile, target: Path, longest_px: int, *, upright: bool) -> None:
    """Write a scan, small, in its own colours.

    Parameters
    ----------
    upright : bool
        Turned as its file says it is to be shown; else as its pixels lie, which is how corners are told.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be decoded.
    """
    still = OpenStill(path, capture)
    try:
        image = still.vips()
        image = image.thumbnail_image(longest_px, height=longest_px, size="down", no_rotate=True)
        image = in_srgb(image, still)
        image = image.autorot() if upright else image
        target.write_bytes(image.jpegsave_buffer(Q=QUALITY, keep="none"))
    except pyvips.Error as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error).strip()[-120:]) from error


def write_small_jpeg(path: Path, target: Path, longest_px: int) -> None:
    """Write a finished picture, small.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be decoded.
    """
    try:
        image = pyvips.Image.thumbnail(str(path), longest_px, height=longest_px, size="down")
        target.write_bytes(image.jpegsave_buffer(Q=QUALITY, keep="none"))
    except pyvips.Error as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error).strip()[-120:]) from error


def _small(picture: Any, widest: int) -> tuple[int, int]:
    """Even size in square pixels; a standard-definition picture that states no pixel shape is 4:3."""
    coder = picture.codec_context
    shape = picture.sample_aspect_ratio or coder.sample_aspect_ratio
    if shape:
        aspect = Fraction(coder.width, coder.height) * shape
    else:
        aspect = SHAPE if coder.width in (704, 720) else Fraction(coder.width, coder.height)
    width = min(widest, coder.width) // 2 * 2
    return width, max(2, round(width / float(aspect)) // 2 * 2)


def _decoded(container: Any, track: Any, from_s: float) -> Iterator[Any]:
    """Frames from a place on, those of broken packets left out; from the start where the file cannot be sought."""
    begin = (container.start_time or 0) / av.time_base
    with suppress(av.FFmpegError):
        container.seek(int(max(0.0, begin + from_s - STEP_BACK_S) * av.time_base), backward=True)
    for packet in _from_key(container, track, from_s):
        try:
            for frame in packet.decode():
                if frame.pts is not None and begin:
                    frame.pts -= round(begin / float(frame.time_base))
                yield frame
        except (av.FFmpegError, ValueError):
            continue


def _from_key(container: Any, track: Any, from_s: float) -> Iterator[Any]:
    """Packets from the last one on that can be decoded by itself and lies before the place: a file that could not be
    sought is walked up to there, and nothing of it decoded."""
    packets, held = container.demux(track), []
    before = from_s - STEP_BACK_S + (container.start_time or 0) / av.time_base
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.FFmpegError):
            yield from held
            return
        if packet.pts is not None and packet.pts * packet.time_base < before:
            held = [packet] if packet.is_keyframe else [*held, packet]
            continue
        yield from held
        held = []
        yield packet


def _opened(path: Source) -> Any:
    try:
        if not isinstance(path, Path):
            path.seek(0)
            return av.open(path, metadata_errors="replace")
        return open_or_mend(path)
    except (av.FFmpegError, OSError) as error:
        raise Unreadable("capture.broken", path=_name(path), error=str(error)) from error


def _name(path: Source) -> str:
    return path.name if isinstance(path, Path) else ""
