"""Writes chapters into finished files and reads them back: MP4 and M4A by libav, Matroska in place.

MP4: the packets are put into a new file, each as it is, with the chapters both as a list (``moov/udta/chpl``) and as a
track of text that the others point to: one or the other is what a player reads. Matroska: see ``matroska_edit``.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import Any

import av
from av.stream import Disposition

from takeup.errors import CopyDiffers
from takeup.media import matroska_edit
from takeup.media.matroska_edit import CannotEdit
from takeup.media.mp4_edit import items_of, write_items_of
from takeup.plan.chaptering import Mark

TICK = Fraction(1, 1000)
NEAR_S = 0.002  # times are kept in thousandths
CARRIED = ("video", "audio")


def read_marks(path: Path) -> list[Mark]:
    """The chapters of a file as libav's reader finds them."""
    with _opened(path) as container:
        return [
            Mark(
                from_s=float(one["start"] * one["time_base"]), to_s=float(one["end"] * one["time_base"]),
                title=one["metadata"].get("title", ""),
            )
            for one in container.chapters()
        ]  # fmt: skip


def are_same(one: Sequence[Mark], other: Sequence[Mark]) -> bool:
    """Whether two lists say the same, but for the rounding of times."""
    return len(one) == len(other) and all(
        a.title == b.title and abs(a.from_s - b.from_s) <= NEAR_S and abs(a.to_s - b.to_s) <= NEAR_S
        for a, b in zip(one, other)
    )


def chapter_mp4(source: Path, between: Path, target: Path, marks: Sequence[Mark]) -> None:
    """Write an MP4 or M4A anew with these chapters, or without any; then read it back.

    ``between`` is written on the way: there libav has told words and cover in its own manner.

    Raises
    ------
    CannotEdit
        When it cannot be opened, or holds a track that would not be carried over.
    CopyDiffers
        ``describe.content-differs``: a packet, its time, or a chapter is not what it should be.
    """
    form = "ipod" if _brand(source) == b"M4A " else "mp4"
    with _opened(source) as before, av.open(str(between), "w", format=form, options={"movflags": "faststart"}) as out:
        carried = {}
        for stream in _tracks(before):
            carried[stream.index] = out.add_stream_from_template(stream)
            carried[stream.index].metadata.update(stream.metadata)
        out.set_chapters([_as_libav(at, mark) for at, mark in enumerate(marks, 1)])
        for packet in before.demux([before.streams[index] for index in carried]):
            if packet.dts is not None:
                packet.stream = carried[packet.stream_index]
                out.mux(packet)
    write_items_of(source, between, target)
    same = _held(source) == _held(target) and items_of(source) == items_of(target)
    if not same or not are_same(read_marks(target), marks):
        raise CopyDiffers("describe.content-differs", path=str(source))


def chapter_matroska(source: Path, target: Path, marks: Sequence[Mark]) -> None:
    """Write a Matroska file anew with these chapters, or without any: its clusters are copied and compared.

    Raises
    ------
    CannotEdit
        When the file was never closed, or its index of elements has no room.
    CopyDiffers
        ``describe.content-differs``.
    """
    with source.open("rb") as file, target.open("wb") as out:
        while block := file.read(1 << 22):
            out.write(block)
    matroska_edit.write_chapters(target, [(mark.from_s, mark.to_s, mark.title) for mark in marks])
    same = matroska_edit.clusters_sha256(source) == matroska_edit.clusters_sha256(target)
    if not same or not are_same(read_marks(target), marks):
        raise CopyDiffers("describe.content-differs", path=str(source))


def _as_libav(number: int, mark: Mark) -> Any:
    start, end = round(mark.from_s / TICK), round(mark.to_s / TICK)
    return {"id": number, "start": start, "end": end, "time_base": TICK, "metadata": {"title": mark.title}}


def _held(path: Path) -> tuple[dict[int, tuple[str, int]], list[tuple[Any, ...]]]:
    """A digest of each track's packets and their times, how many, and how its decoder is set up."""
    with _opened(path) as container:
        tracks = _tracks(container)
        digests = {stream.index: sha256() for stream in tracks}
        counts = dict.fromkeys(digests, 0)
        for packet in container.demux(tracks):
            if packet.dts is None:
                continue
            times = [None if one is None else one * packet.time_base for one in (packet.pts, packet.dts)]
            told = f"{times} {(packet.duration or 0) * packet.time_base} {packet.is_keyframe} {packet.size};"
            digests[packet.stream_index].update(told.encode())
            digests[packet.stream_index].update(memoryview(packet))
            counts[packet.stream_index] += 1
        setup = [
            (stream.type, stream.codec_context.name, bytes(stream.codec_context.extradata or b""), stream.start_time)
            for stream in tracks
        ]
        return {index: (digest.hexdigest(), counts[index]) for index, digest in digests.items()}, setup


def _tracks(container: Any) -> list[Any]:
    """Sound and pictures; not the cover, which libav shows as a track, and not an earlier track of chapters.

    Raises
    ------
    CannotEdit
        When another track would be lost.
    """
    tracks = [stream for stream in container.streams if stream.type in CARRIED and not _is_cover(stream)]
    others = [stream for stream in container.streams if stream not in tracks and not _is_cover(stream)]
    if len(others) > bool(container.chapters()):
        raise CannotEdit("a track that is neither sound nor picture")
    return tracks


def _is_cover(stream: Any) -> bool:
    return bool(stream.disposition & Disposition.attached_pic)


def _brand(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(12)[8:12]


def _opened(path: Path) -> Any:
    try:
        return av.open(str(path), metadata_errors="replace")
    except (av.FFmpegError, OSError) as error:
        raise CannotEdit(str(error)) from error
