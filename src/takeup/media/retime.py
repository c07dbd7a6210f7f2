"""Gives a film scan its true time: the scanner's own packets, never coded again, in MP4 with new exact time stamps.

Parts of one recording are joined. Every frame keeps its order of decoding and of showing; only the clock is new.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import Any

import av

from takeup.errors import CopyDiffers, NotPossible, Unreadable
from takeup.media.moving_look import sound_of, video_of

CLOCKS = (90_000, 24_000)  # ticks per second tried first
LEAST_CLOCK = 10_000
HIGHEST_CLOCK = 2**31 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPackets:
    """What one part holds, without decoding it: ``shown`` the place in showing order of each packet in file order."""

    path: Path
    codec: str
    size: tuple[int, int]
    head: bytes  # the decoder's set-up
    shown: tuple[int, ...]
    broken: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retimed:
    """What was written. ``digest`` over the packets as they were read; ``clock`` ticks per second."""

    frames: int
    clock: int
    seconds: Fraction
    digest: str
    sound: bool
    broken: str = ""


def look_at_parts(paths: Sequence[Path]) -> list[PartPackets]:
    """Walk through all packets of each part and refuse parts that do not belong together.

    Raises
    ------
    NotPossible
        ``film.parts-differ`` when codecs, sizes or decoder set-ups differ.
    Unreadable
        ``capture.broken`` when a part holds no frame.
    """
    parts = [_look(path) for path in paths]
    first = parts[0]
    for part in parts[1:]:
        if (part.codec, part.size) != (first.codec, first.size) or part.head != first.head:
            raise NotPossible(
                "film.parts-differ",
                one=first.path.name,
                other=part.path.name,
                one_is=f"{first.codec} {first.size[0]} x {first.size[1]}",
                other_is=f"{part.codec} {part.size[0]} x {part.size[1]}",
            )
    return parts


def retime(
    parts: Sequence[PartPackets],
    target: Path,
    times: Sequence[Fraction],
    *,
    codecs: Sequence[str],
    keep_sound: bool = False,
    metadata: dict[str, str] | None = None,
    hear: Callable[[int], None] = lambda frames: None,
) -> Retimed:
    """Write the parts' packets, one after another, into one MP4 with the times given.

    Parameters
    ----------
    parts : sequence of PartPackets
        From :func:`look_at_parts`, in order.
    target : Path
        A part name from ``files.beside``.
    times : sequence of Fraction
        When each frame (in showing order, all parts together) begins, from 0; one more: the end. [s]
    codecs : sequence of str
        What MP4 may hold (a row).
    keep_sound : bool
        Whether the sound track goes along as it is: only where picture time is unchanged and there is one part.
    hear : callable
        Told the frames written so far.

    Raises
    ------
    NotPossible
        ``film.not-for-mp4``, when MP4 has no place for this codec.
    """
    first = parts[0]
    if first.codec not in codecs:
        raise NotPossible("film.not-for-mp4", path=str(first.path), codec=first.codec)
    clock = clock_for(times)
    ticks = [round(time * clock) for time in times]
    decode = _decode_times(ticks, _shown(parts))
    digest, frames = sha256(), 0
    options = {"movflags": "+faststart+use_metadata_tags", "video_track_timescale": str(clock)}
    with av.open(str(first.path)) as sample, av.open(str(target), "w", format="mp4", options=options) as out:
        stream = out.add_stream_from_template(video_of(sample), opaque=True)
        stream.time_base = Fraction(1, clock)
        sound_in = sound_of(sample) if keep_sound and len(parts) == 1 else None
        track = out.add_stream_from_template(sound_in) if sound_in is not None else None
        out.metadata.update(metadata or {})
        for packet, is_sound in _packets(parts, sound=track is not None):
            if is_sound:
                packet.stream = track
                out.mux(packet)
                continue
            shown = decode[frames][1]
            digest.update(bytes(packet))
            packet.stream, packet.time_base = stream, Fraction(1, clock)
            packet.dts, packet.pts = decode[frames][0], ticks[shown]
            packet.duration = ticks[shown + 1] - ticks[shown]
            out.mux(packet)
            frames += 1
            hear(frames)
    return Retimed(
        frames=frames,
        clock=clock,
        seconds=Fraction(ticks[-1], clock),
        digest=digest.hexdigest(),
        sound=track is not None,
        broken=parts[-1].broken,
    )


def prove_retimed(target: Path, parts: Sequence[PartPackets], times: Sequence[Fraction], made: Retimed) -> None:
    """Read the written file back: the same packets byte for byte (or unit for unit), each at its exact time.

    Raises
    ------
    CopyDiffers
        ``film.master-differs``, naming the first frame that does.
    """
    wanted = [round(time * made.clock) for time in times]
    shown = _shown(parts)
    count = 0
    with av.open(str(target)) as written:
        stream = video_of(written)
        scale = stream.time_base * made.clock
        sources = (packet for packet, is_sound in _packets(parts, sound=False))
        for count, (packet, source) in enumerate(zip(_full(written.demux(stream)), sources, strict=False), 1):
            at = shown[count - 1]
            if not _same(bytes(packet), bytes(source)) or packet.pts * scale != wanted[at]:
                raise CopyDiffers("film.master-differs", path=str(target), frame=count - 1)
    if count != len(shown) or count != made.frames:
        raise CopyDiffers("film.master-differs", path=str(target), frame=count)


def clock_for(times: Sequence[Fraction]) -> int:
    """Ticks per second in which every time is a whole number; where none is fine enough, 90 000."""
    for clock in CLOCKS:
        if all((time * clock).denominator == 1 for time in times):
            return clock
    common = 1
    for time in times:
        common = common * time.denominator // _gcd(common, time.denominator)
        if common > HIGHEST_CLOCK:
            return CLOCKS[0]
    while common < LEAST_CLOCK:
        common *= 10
    return common


def _gcd(one: int, other: int) -> int:
    while other:
        one, other = other, one % other
    return one


def _look(path: Path) -> PartPackets:
    try:
        with av.open(str(path)) as container:
            stream = video_of(container)
            if stream is None:
                raise Unreadable("capture.broken", path=str(path), error="no picture track")
            stamps, broken = [], ""
            try:
                for at, packet in enumerate(_full(container.demux(stream))):
                    stamps.append((packet.pts if packet.pts is not None else packet.dts, at))
            except av.FFmpegError as error:
                broken = str(error)
            coder = stream.codec_context
            ranks = _ranks(stamps)
            if container.format.name == "avi" and coder.has_b_frames:
                ranks = _ranks_by_decoding(path, len(stamps)) or ranks
            found = PartPackets(
                path=path,
                codec=coder.name,
                size=(coder.width, coder.height),
                head=bytes(coder.extradata or b""),
                shown=ranks,
                broken=broken,
            )
    except (av.FFmpegError, OSError) as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error)) from error
    if not found.shown:
        raise Unreadable("capture.broken", path=str(path), error="no frame in it")
    return found


def _ranks(stamps: list[tuple[int | None, int]]) -> tuple[int, ...]:
    """Place in showing order of each packet; file order where the file gives no times."""
    if any(stamp is None for stamp, _ in stamps):
        return tuple(range(len(stamps)))
    ranks = [0] * len(stamps)
    for rank, (_, at) in enumerate(sorted(stamps)):
        ranks[at] = rank
    return tuple(ranks)


def _ranks_by_decoding(path: Path, count: int) -> tuple[int, ...]:
    """Place in showing order where the file numbers its packets in decoding order alone (AVI with B pictures).

    A decoded picture carries the number of the packet it came from. Empty where not every packet gave one picture.
    """
    with av.open(str(path)) as container:
        stream = video_of(container)
        stream.thread_type = "AUTO"
        numbers: dict[int, int] = {}
        came: list[int] = []
        try:
            for packet in container.demux(stream):
                if packet.size and packet.pts is not None:
                    numbers[packet.pts] = len(numbers)
                came.extend(numbers[frame.pts] for frame in packet.decode() if frame.pts in numbers)
        except (av.FFmpegError, ValueError):
            return ()
    if sorted(came) != list(range(count)):
        return ()
    ranks = [0] * count
    for rank, at in enumerate(came):
        ranks[at] = rank
    return tuple(ranks)


def _shown(parts: Sequence[PartPackets]) -> list[int]:
    """Place in showing order of each packet of all parts together."""
    shown: list[int] = []
    for part in parts:
        begin = len(shown)
        shown.extend(begin + rank for rank in part.shown)
    return shown


def _decode_times(ticks: Sequence[int], shown: Sequence[int]) -> list[tuple[int, int]]:
    """For each packet in file order its time of decoding, never after its showing, and its place in showing order."""
    delay = max((at - rank for at, rank in enumerate(shown)), default=0)
    step = max(1, ticks[1] - ticks[0]) if len(ticks) > 1 else 1
    return [
        (ticks[at - delay] if at >= delay else ticks[0] - (delay - at) * step, rank) for at, rank in enumerate(shown)
    ]


def _full(packets: Iterator[Any]) -> Iterator[Any]:
    return (packet for packet in packets if packet.size)


def _packets(parts: Sequence[PartPackets], *, sound: bool) -> Iterator[tuple[Any, bool]]:
    """All packets of all parts, each with whether it is sound; as far as each part can be read."""
    for part in parts:
        with av.open(str(part.path)) as container:
            stream = video_of(container)
            streams = [stream, sound_of(container)] if sound else [stream]
            count = 0
            try:
                for packet in _full(container.demux(streams)):
                    is_sound = packet.stream.type == "audio"
                    count += not is_sound
                    if count > len(part.shown):
                        break
                    yield packet, is_sound
            except av.FFmpegError:
                continue  # as far as it goes: look_at_parts has counted to the same place


def _same(written: bytes, source: bytes) -> bool:
    """Whether two packets hold the same: byte for byte, or (H.264, HEVC) the same units set apart in the other way.

    AVI sets the units of a picture apart by start codes, MP4 by their lengths; the units themselves stay.
    """
    return written == source or _by_lengths(written) == _by_start_codes(source)


def _by_start_codes(packet: bytes) -> list[bytes]:
    return [unit.rstrip(b"\0") for unit in packet.split(b"\0\0\1") if unit.strip(b"\0")]


def _by_lengths(packet: bytes) -> list[bytes]:
    units, at = [], 0
    while at + 4 <= len(packet):
        length = int.from_bytes(packet[at : at + 4], "big")
        units.append(packet[at + 4 : at + 4 + length].rstrip(b"\0"))
        at += 4 + length
    return units
