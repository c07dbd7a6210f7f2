"""Writes sound masters: the samples of a capture, bit for bit, in a WAVE file that says what it is."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import av
import numpy as np

from takeup.errors import CopyDiffers, Unreadable
from takeup.media.wave_file import (
    FORMS,
    WaveFile,
    pcm_format,
    read_chunk,
    read_samples,
    read_wave,
    samples_sha256,
    write_wave,
)
from takeup.media.wave_tags import Bext, continued_history, pack_info, unpack_bext, unpack_info

OURS = (b"fmt ", b"data", b"ds64", b"JUNK", b"junk", b"FLLR", b"PAD ", b"bext")
LARGEST_KEPT = 64 << 20  # a foreign chunk longer than this is no description [bytes]

Hear = Callable[[float], None]  # told how many bytes (or seconds) are done


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundMaster:
    """What a master turned out to be. ``samples_sha256`` is of its sample bytes, read back from the master itself."""

    rate_hz: int
    channels: int
    bits: int
    sample_bytes: int
    samples_sha256: str
    was_closed: bool  # False: the capture's header had never been finished
    broken: str = ""  # why the capture could not be read to its end


def write_sound_master(
    capture: Path,
    target: Path,
    *,
    bits: int | None,
    bext: Bext,
    info: dict[str, str],
    riff_limit_bytes: int,
    hear: Hear,
    xmp: bytes = b"",
) -> SoundMaster:
    """Write the master of a PCM or losslessly packed capture, read it back and compare.

    Parameters
    ----------
    bits : int or None
        Bits of a sample as the capture states them.
    hear : callable
        Told the seconds of sound done.

    Raises
    ------
    CopyDiffers
        ``finish.samples-differ`` when the master, read back, does not hold the capture's very samples.
    """
    with capture.open("rb") as file:
        head = file.read(4)
    if head in FORMS:
        return _from_wave(capture, target, bext, info, xmp, riff_limit_bytes, hear)
    return _unpacked(capture, target, bits or 32, bext, info, xmp, riff_limit_bytes, hear)


def _from_wave(
    capture: Path, target: Path, bext: Bext, info: dict[str, str], xmp: bytes, limit: int, hear: Hear
) -> SoundMaster:
    wave = read_wave(capture)
    before, after, bext, info = _own_chunks(capture, wave, bext, info)

    def told() -> Iterator[bytes]:
        done = 0
        for block in read_samples(capture, wave):
            yield block
            done += len(block)
            hear(done / max(wave.frame_bytes, 1) / wave.rate_hz)

    written, digest = write_wave(
        target,
        wave.format,
        told(),
        before=[(b"bext", bext.pack())],
        between=before,
        after=[*after, *_words(info, xmp)],
        riff_limit_bytes=limit,
    )
    if samples_sha256(target) != digest or written == 0:
        raise CopyDiffers("finish.samples-differ", path=str(capture))
    return SoundMaster(
        rate_hz=wave.rate_hz,
        channels=wave.channels,
        bits=wave.bits,
        sample_bytes=written,
        samples_sha256=digest,
        was_closed=wave.closed,
    )


def _words(info: dict[str, str], xmp: bytes) -> list[tuple[bytes, bytes]]:
    return [(b"LIST", pack_info(info)), *([(b"_PMX", xmp)] if xmp else [])]


def _own_chunks(capture: Path, wave: WaveFile, bext: Bext, info: dict[str, str]):
    """The capture's own chunks, kept in their places; its ``bext`` and INFO are continued, not thrown away."""
    before: list[tuple[bytes, bytes]] = []
    after: list[tuple[bytes, bytes]] = []
    for chunk in wave.chunks:
        if chunk.name == b"bext":
            bext = _continued(unpack_bext(read_chunk(capture, chunk)), bext)
        if chunk.name in OURS or chunk.size > LARGEST_KEPT:
            continue
        body = read_chunk(capture, chunk)
        if chunk.name == b"LIST" and body[:4] == b"INFO":
            info = unpack_info(body) | info
            continue
        if chunk.name == b"fact":  # how many frames there are: a header that was never closed does not know
            frames = wave.data.size // max(wave.frame_bytes, 1)
            body = struct.pack("<I", min(frames, 0xFFFFFFFF)) + body[4:]
        (before if chunk.at < wave.data.at else after).append((chunk.name, body))
    return before, after, bext, info


def _continued(own: Bext, ours: Bext) -> Bext:
    """The station's account of the recording first, ours after it."""
    begun = own if own.origination_date or own.origination_time else ours
    return replace(
        ours,
        origination_date=begun.origination_date,
        origination_time=begun.origination_time,
        time_reference=own.time_reference or begun.time_reference,
        umid=own.umid,
        coding_history=continued_history(own.coding_history, ours.coding_history),
    )


def _unpacked(
    capture: Path, target: Path, bits: int, bext: Bext, info: dict[str, str], xmp: bytes, limit: int, hear: Hear
) -> SoundMaster:
    source = ExactSamples(capture)
    stored = _stored_bits(source, bits)
    format_ = pcm_format(source.rate_hz, source.channels, stored, floats=source.floats)
    packed = (_narrowed(block, source.bytes_each, stored // 8) for block in source.blocks(hear))
    written, _ = write_wave(
        target,
        format_,
        packed,
        before=[(b"bext", bext.pack())],
        after=_words(info, xmp),
        riff_limit_bytes=limit,
    )
    back = ExactSamples(target)
    for _ in back.blocks(lambda _: None):
        pass
    if back.digest != source.digest or written == 0:
        raise CopyDiffers("finish.samples-differ", path=str(capture))
    return SoundMaster(
        rate_hz=source.rate_hz,
        channels=source.channels,
        bits=stored,
        sample_bytes=written,
        samples_sha256=samples_sha256(target),
        was_closed=True,
        broken=source.broken,
    )


def _stored_bits(source: ExactSamples, bits: int) -> int:
    if source.floats or source.bytes_each < 4:
        return 8 * source.bytes_each
    return 24 if bits <= 24 else 32


def _narrowed(block: bytes, from_bytes: int, to_bytes: int) -> bytes:
    """Four-byte samples as three: the lowest byte is empty in them (proven when the master is read back)."""
    if from_bytes == to_bytes:
        return block
    return np.frombuffer(block, np.uint8).reshape(-1, from_bytes)[:, from_bytes - to_bytes :].tobytes()


class ExactSamples:
    """The decoded samples of a lossless file, interleaved, in the decoder's own number form: nothing is converted.

    ``digest`` is the SHA-256 of what has been handed out, so that two files can be compared sample for sample.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.broken = ""
        self._digest = sha256()
        with _opened(path) as container:
            coder = container.streams.audio[0].codec_context
            self.rate_hz, self.channels = coder.sample_rate, coder.layout.nb_channels
            form = coder.format
            self.bytes_each, self.floats = form.bytes, form.name.startswith(("flt", "dbl"))

    @property
    def digest(self) -> str:
        return self._digest.hexdigest()

    def blocks(self, hear: Hear) -> Iterator[bytes]:
        """Hand the samples out, block after block, as far as the file can be read."""
        done = 0
        with _opened(self.path) as container:
            try:
                for frame in container.decode(audio=0):
                    block = interleaved(frame)
                    self._digest.update(block)
                    yield block
                    done += frame.samples
                    hear(done / self.rate_hz)
            except av.error.FFmpegError as error:
                self.broken = str(error)


def interleaved(frame: Any) -> bytes:
    """A sound frame's samples, channel beside channel, in the decoder's number form."""
    if not frame.format.is_planar:
        return bytes(frame.planes[0])[: frame.samples * frame.layout.nb_channels * frame.format.bytes]
    return frame.to_ndarray().T.tobytes()


def _opened(path: Path) -> Any:
    try:
        container = av.open(str(path))
    except av.error.FFmpegError as error:
        raise Unreadable("capture.broken", path=str(path), error=str(error)) from error
    if not container.streams.audio:
        container.close()
        raise Unreadable("capture.broken", path=str(path), error="no sound track")
    return container
