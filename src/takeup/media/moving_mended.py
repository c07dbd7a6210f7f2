"""A MOV that was never closed, read as if it had been: its index is made from what lies in it and put in front.

Nothing is written. The file stays as it is; readers are handed its bytes behind a head that says where they lie.
The atoms are those of the QuickTime file format: ``moov`` with one ``trak`` for pictures and one for sound.
"""

from __future__ import annotations

import io
import os
import struct
from functools import lru_cache
from pathlib import Path
from typing import Any

import av

from takeup.media.moving_marks import Layout
from takeup.media.moving_unindexed import Piece, Pieces, learn_layout, media_data

TAGS = {"v210": b"v210", "uyvy422": b"2vuy", "yuyv422": b"yuvs"}
DV_TAGS = {480: b"dvc ", 576: b"dvcp"}
PCM_INTEGER, PCM_BIG = 4, 2  # flags of a version 2 sound description: signed integers, high byte first


class Mended(io.RawIOBase):
    """The bytes of a file behind another head, for reading and seeking."""

    def __init__(self, path: Path, head: bytes, begin: int, end: int) -> None:
        super().__init__()
        self.file = open(path, "rb")  # noqa: SIM115 - closed with this
        self.head, self.begin, self.end = head, begin, end
        self.at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:  # type: ignore[override]
        whole = len(self.head) + self.end - self.begin
        size = whole - self.at if size < 0 else max(0, min(size, whole - self.at))
        if self.at < len(self.head):
            data = self.head[self.at : self.at + size]
        else:
            data = os.pread(self.file.fileno(), size, self.begin + self.at - len(self.head))
        self.at += len(data)
        return data

    def seek(self, offset: int, whence: int = 0) -> int:
        whole = len(self.head) + self.end - self.begin
        self.at = offset + (0, self.at, whole)[whence]
        return self.at

    def tell(self) -> int:
        return self.at

    def close(self) -> None:
        self.file.close()
        super().close()


def open_mended(path: Path) -> tuple[Any, Mended] | None:
    """An open container over a MOV without its index, and the file behind it; None when what it holds cannot be told.

    Raises
    ------
    av.FFmpegError
        When libav cannot read it even so.
    """
    data = media_data(path)
    state = path.stat()
    if data is None or (head := _head(path, state.st_dev, state.st_ino, state.st_size)) is None:
        return None
    file = Mended(path, head[0], data.begin, head[1])
    try:
        return av.open(file, format="mov", metadata_errors="replace", buffer_size=1 << 20), file
    except (av.FFmpegError, OSError):
        file.close()
        raise


def open_or_mend(path: Path) -> Any:
    """An open container: the file as it lies there, or with the index that a crashed program never wrote.

    The file behind a mended one is let go with its container.

    Raises
    ------
    av.FFmpegError
        When libav cannot read it in either way.
    """
    try:
        return av.open(str(path), metadata_errors="replace")
    except av.FFmpegError:
        mended = open_mended(path)
        if mended is None:
            raise
        return mended[0]


@lru_cache(maxsize=8)
def _head(path: Path, _device: int, _number: int, size: int) -> tuple[bytes, int] | None:
    """The head that the file lacks, and where its media data end."""
    layout = learn_layout(path)
    if layout is None:
        return None
    with path.open("rb") as file:
        pieces = list(Pieces(file, layout, lambda _wanted: size))
    pictures = [piece for piece in pieces if piece.kind == "picture"]
    sound = [piece for piece in pieces if piece.kind == "sound"]
    if not pictures:
        return None
    end = pieces[-1].at + pieces[-1].length
    length = len(_whole_head(layout, pictures, sound, 0, 0))
    return _whole_head(layout, pictures, sound, length - layout.begin, end - layout.begin), end


def _whole_head(layout: Layout, pictures: list[Piece], sound: list[Piece], moved: int, data_bytes: int) -> bytes:
    tracks = [_picture_track(layout, pictures, moved)]
    if sound and layout.sound is not None:
        tracks.append(_sound_track(layout, sound, moved))
    movie = struct.pack(">IIIIIIH10x", 0, 0, 0, 1000, 0, 0x10000, 0x100) + _matrix() + bytes(24) + struct.pack(">I", 3)
    index = _atom(b"moov", _atom(b"mvhd", movie), *tracks)
    kind = struct.pack(">I4s4sI4s", 20, b"ftyp", b"qt  ", 512, b"qt  ")
    return kind + index + struct.pack(">I4sQ", 1, b"mdat", data_bytes + 16)


def _picture_track(layout: Layout, pictures: list[Piece], moved: int) -> bytes:
    tag = TAGS.get(layout.pixel_format or layout.codec) or DV_TAGS[layout.height]
    scale, step = layout.rate.numerator * 100 // layout.rate.denominator, 100
    if layout.rate.denominator != 1:
        scale, step = layout.rate.numerator, layout.rate.denominator
    described = struct.pack(
        ">6xH16xHHIIIH32sHh", 1, layout.width, layout.height, 0x480000, 0x480000, 0, 1, bytes(32), 24, -1
    )
    table = _table(
        _atom(tag, described),
        [(len(pictures), step)],
        [(1, 1, 1)],
        struct.pack(">IIII", 0, layout.picture_bytes, len(pictures), 0)[:12],
        [piece.at + moved for piece in pictures],
    )
    head = _atom(b"vmhd", struct.pack(">I8x", 1))
    return _track(1, b"vide", scale, len(pictures) * step, head, table, layout.width, layout.height)


def _sound_track(layout: Layout, sound: list[Piece], moved: int) -> bytes:
    shape = layout.sound
    assert shape is not None
    flags = PCM_INTEGER | (PCM_BIG if shape.big_endian else 0)
    described = struct.pack(
        ">6xHHHIHHhHIIdIIIIII", 1, 2, 0, 0, 3, 16, -2, 0, 0x10000, 72, float(shape.rate_hz), shape.channels, 0x7F000000,
        8 * shape.sample_bytes, flags, shape.frame_bytes, 1,
    )  # fmt: skip
    counts = [piece.length // shape.frame_bytes for piece in sound]
    changes = [at for at in range(len(counts)) if at == 0 or counts[at] != counts[at - 1]]
    table = _table(
        _atom(b"lpcm", described),
        [(sum(counts), 1)],
        [(at + 1, counts[at], 1) for at in changes],
        struct.pack(">III", 0, shape.frame_bytes, sum(counts)),
        [piece.at + moved for piece in sound],
    )
    return _track(2, b"soun", shape.rate_hz, sum(counts), _atom(b"smhd", bytes(8)), table, 0, 0)


def _table(
    described: bytes, times: list[tuple[int, int]], chunks: list[tuple[int, int, int]], sizes: bytes, places: list[int]
) -> bytes:
    """``stbl``: what samples are, how long they last, how many a chunk holds, how big they are, where chunks lie."""
    return _atom(
        b"stbl",
        _atom(b"stsd", struct.pack(">II", 0, 1) + described),
        _atom(b"stts", struct.pack(">II", 0, len(times)) + b"".join(struct.pack(">II", *one) for one in times)),
        _atom(b"stsc", struct.pack(">II", 0, len(chunks)) + b"".join(struct.pack(">III", *one) for one in chunks)),
        _atom(b"stsz", sizes),
        _atom(b"co64", struct.pack(f">II{len(places)}Q", 0, len(places), *places)),
    )


def _track(
    number: int, kind: bytes, scale: int, duration: int, media_head: bytes, table: bytes, width: int, height: int
) -> bytes:
    head = struct.pack(">IIIIII8xHHHH", 0xF, 0, 0, number, 0, 0, 0, 0, 0x100 if kind == b"soun" else 0, 0) + _matrix()
    head += struct.pack(">II", width << 16, height << 16)
    handler = struct.pack(">I4s4s12xB", 0, b"mhlr", kind, 0)
    here = _atom(b"dinf", _atom(b"dref", struct.pack(">II", 0, 1) + _atom(b"url ", struct.pack(">I", 1))))
    media = _atom(
        b"mdia",
        _atom(b"mdhd", struct.pack(">IIIIIHH", 0, 0, 0, scale, duration, 0, 0)),
        _atom(b"hdlr", handler),
        _atom(b"minf", media_head, here, table),
    )
    return _atom(b"trak", _atom(b"tkhd", head), media)


def _matrix() -> bytes:
    return struct.pack(">9I", 0x10000, 0, 0, 0, 0x10000, 0, 0, 0, 0x40000000)


def _atom(name: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return struct.pack(">I4s", len(body) + 8, name) + body
