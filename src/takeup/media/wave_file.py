"""Reads the chunks of a WAVE file (RIFF, RF64, BW64), closed or not, and writes one around untouched samples."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

from takeup.errors import Unreadable

FORMS = (b"RIFF", b"RF64", b"BW64")
OPEN = 0xFFFFFFFF  # a size not yet known, or one that stands in ds64
STEP = 1 << 22
DS64_BYTES = 28


@dataclass(frozen=True, slots=True)
class Chunk:
    """One chunk: its name and where its body lies."""

    name: bytes
    at: int
    size: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WaveFile:
    """The chunks of a WAVE file. ``closed`` is False when its header was never finished: data run to the file's end."""

    chunks: tuple[Chunk, ...]
    format: bytes  # body of the fmt chunk
    data: Chunk
    closed: bool

    @property
    def frame_bytes(self) -> int:
        return int(struct.unpack_from("<H", self.format, 12)[0])

    @property
    def rate_hz(self) -> int:
        return int(struct.unpack_from("<I", self.format, 4)[0])

    @property
    def channels(self) -> int:
        return int(struct.unpack_from("<H", self.format, 2)[0])

    @property
    def bits(self) -> int:
        return int(struct.unpack_from("<H", self.format, 14)[0])


def read_wave(path: Path) -> WaveFile:
    """List the chunks of a WAVE file without reading its sound.

    Raises
    ------
    Unreadable
        ``capture.broken`` when there is no format or no data in it.
    """
    with path.open("rb") as file:
        total = file.seek(0, 2)
        file.seek(0)
        head = file.read(12)
        if len(head) < 12 or head[:4] not in FORMS or head[8:12] != b"WAVE":
            raise Unreadable("capture.broken", path=str(path), error="no WAVE header")
        chunks: list[Chunk] = []
        long_data: int | None = None
        closed, at = True, 12
        while at + 8 <= total:
            file.seek(at)
            name, size = struct.unpack("<4sI", file.read(8))
            if name == b"ds64":
                long_data = struct.unpack("<QQQ", file.read(24))[1]
            if name == b"data":
                size, closed = _data_size(size, long_data, total - at - 8, head)
            chunks.append(Chunk(name, at + 8, min(size, total - at - 8)))
            at += 8 + size + size % 2
    data = next((chunk for chunk in chunks if chunk.name == b"data"), None)
    wanted = next((chunk for chunk in chunks if chunk.name == b"fmt " and chunk.size >= 16), None)
    if data is None or wanted is None:
        raise Unreadable("capture.broken", path=str(path), error="no sound data in it")
    return WaveFile(chunks=tuple(chunks), format=read_chunk(path, wanted), data=data, closed=closed)


def _data_size(size: int, long_data: int | None, left: int, head: bytes) -> tuple[int, bool]:
    """How long the data chunk is, and whether its header was ever finished."""
    if size == OPEN and long_data not in (None, 0, 0xFFFFFFFFFFFFFFFF) and head[:4] != b"RIFF":
        assert long_data is not None
        return (long_data, True) if long_data <= left else (left, False)
    if size in (0, OPEN) or size > left:
        return left, False
    return size, True


def read_chunk(path: Path, chunk: Chunk) -> bytes:
    """The body of one (small) chunk."""
    with path.open("rb") as file:
        file.seek(chunk.at)
        return file.read(chunk.size)


def read_samples(path: Path, wave: WaveFile) -> Iterable[bytes]:
    """The sample bytes as they lie, block after block; whole sample frames only."""
    left = wave.data.size - wave.data.size % max(wave.frame_bytes, 1)
    with path.open("rb") as file:
        file.seek(wave.data.at)
        while left > 0:
            block = file.read(min(STEP, left))
            if not block:
                return
            left -= len(block)
            yield block


def samples_sha256(path: Path) -> str:
    """SHA-256 of a WAVE file's sample bytes."""
    digest = sha256()
    for block in read_samples(path, read_wave(path)):
        digest.update(block)
    return digest.hexdigest()


def pcm_format(rate_hz: int, channels: int, bits: int, *, floats: bool = False) -> bytes:
    """The body of a fmt chunk for plain PCM; the extensible form where the plain one does not reach."""
    container = (bits + 7) // 8 * 8
    frame = channels * container // 8
    kind = 3 if floats else 1
    plain = struct.pack("<HHIIHH", kind, channels, rate_hz, rate_hz * frame, frame, container)
    if channels <= 2:
        return plain
    guid = struct.pack("<H", kind) + bytes.fromhex("000000001000800000aa00389b71")
    return struct.pack("<H", 0xFFFE) + plain[2:] + struct.pack("<HHI", 22, container, 0) + guid


def write_wave(
    target: Path,
    format_: bytes,
    samples: Iterable[bytes],
    *,
    before: Sequence[tuple[bytes, bytes]] = (),
    between: Sequence[tuple[bytes, bytes]] = (),
    after: Sequence[tuple[bytes, bytes]] = (),
    riff_limit_bytes: int,
) -> tuple[int, str]:
    """Write sample bytes into a new WAVE file, with other chunks before the format, between it and them, after them.

    Room for 64-bit sizes is kept at the front, so that the file becomes RF64 when it turns out too long for RIFF.
    Chunks of odd length come last of all, for libsndfile 1.2.2 does not skip the byte that fills such a chunk up in
    RF64: it finds no samples behind one. The text at the end of ``bext`` gets its closing NUL instead.

    Returns
    -------
    bytes, sha256
        Of the sample bytes written.
    """
    digest = sha256()
    written = 0
    front = [(name, _closed(name, body)) for name, body in (*before, (b"fmt ", format_), *between)]
    late = [chunk for chunk in front if len(chunk[1]) % 2 and chunk[0] != b"fmt "]
    with target.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", OPEN) + b"WAVE")
        _write_chunk(file, b"JUNK", bytes(DS64_BYTES))
        for name, body in (chunk for chunk in front if chunk not in late):
            _write_chunk(file, name, body)
        file.write(b"data" + struct.pack("<I", OPEN))
        data_at = file.tell()
        for block in samples:
            digest.update(block)
            file.write(block)
            written += len(block)
        if written % 2:
            file.write(b"\0")
        for name, body in sorted((*after, *late), key=lambda chunk: len(chunk[1]) % 2):
            _write_chunk(file, name, body)
        whole = file.tell() - 8
        frame = struct.unpack_from("<H", format_, 12)[0] or 1
        if whole > riff_limit_bytes:
            file.seek(0)
            file.write(b"RF64" + struct.pack("<I", OPEN) + b"WAVE" + b"ds64")
            file.write(struct.pack("<IQQQI", DS64_BYTES, whole, written, written // frame, 0))
        else:
            file.seek(4)
            file.write(struct.pack("<I", whole))
            file.seek(data_at - 4)
            file.write(struct.pack("<I", written))
    return written, digest.hexdigest()


def _closed(name: bytes, body: bytes) -> bytes:
    return body + b"\0" if name == b"bext" and len(body) % 2 else body


def _write_chunk(file: BinaryIO, name: bytes, body: bytes) -> None:
    file.write(name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2))
