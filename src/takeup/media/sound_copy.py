"""Writes the everyday form of a sound track (AAC), and says how loud a track is by libav's own meter (BS.1770).

One gain and nothing else: no compression, no limiting. Measured on the decoded copy, for a lossy coder overshoots.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain as chain_of
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.filter import Graph

from takeup.errors import Unreadable
from takeup.media.decoded_peak import DecodedPeak
from takeup.media.moving_mended import open_or_mend
from takeup.media.sound_mend import Mender, Mends

MEND = {
    "none": None,
    "left-only": "mono|c0=c0",
    "right-only": "mono|c0=c1",
    "turn-right": "stereo|c0=c0|c1=-1*c1",
    "both-mean": "stereo|c0=0.5*c0+0.5*c1|c1=0.5*c0+0.5*c1",
    "both-left": "stereo|c0=c0|c1=c0",
    "both-right": "stereo|c0=c1|c1=c1",
}
LAYOUTS = {1: "mono", 2: "stereo"}
SILENT_LUFS = -70.0  # the meter's absolute gate: at or under it there was nothing to measure


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudness:
    """Integrated loudness, largest true peak, and each channel's; None where there is nothing to measure."""

    lufs: float | None
    true_peak_dbtp: float | None
    channels_dbtp: tuple[float, ...]
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What happens to a track on its way: cut to a stretch, slowed, resampled, mended, started later, made louder.

    Parameters
    ----------
    mend : str
        What is put right in the channels, a key of ``MEND``.
    speed : float
        So many times too fast does the capture play: slowed by it.
    centre_hz : float
        Corner of the high-pass that takes a constant offset away; 0: none. [Hz]
    mends : Mends, optional
        What is put right in the samples.
    starts_s : float
        Where the track begins on the picture's clock: silence is put before it, or its beginning left out. [s]
    """

    rate_hz: int = 48000
    mend: str = "none"
    from_s: float | None = None
    to_s: float | None = None
    starts_s: float = 0.0
    gain_db: float = 0.0
    fades_s: tuple[float, float] | None = None
    speed: float = 1.0
    centre_hz: float = 0.0
    mends: Mends | None = None

    def before(self, rate_hz: int) -> Iterator[tuple[str, str]]:
        """The steps up to the samples that may be mended, as libav's filters; ``rate_hz``: the file's own."""
        if self.from_s is not None and self.to_s is not None:
            yield "atrim", f"start={self.from_s:.6f}:end={self.to_s:.6f}"
            yield "asetpts", "PTS-STARTPTS"
        if self.starts_s < 0:
            yield "atrim", f"start={-self.starts_s:.6f}"
            yield "asetpts", "PTS-STARTPTS"
        if self.speed != 1.0:
            yield "asetrate", f"{round(rate_hz / self.speed)}"
        yield "aresample", f"{self.rate_hz}"
        if self.centre_hz:
            yield "highpass", f"frequency={self.centre_hz}:poles=1:precision=f64"

    def after(self, seconds: float | None) -> Iterator[tuple[str, str]]:
        """The steps behind them. ``seconds``: length of the whole track, for the fade at its end."""
        if self.from_s is not None and self.to_s is not None:
            seconds = self.to_s - self.from_s
        if pan := MEND[self.mend]:
            yield "pan", pan
        if self.gain_db:
            yield "volume", f"volume={self.gain_db:.4f}dB:precision=double"
        if self.fades_s and seconds:
            fade_in, fade_out = self.fades_s
            yield "afade", f"t=in:d={fade_in}"
            yield "afade", f"t=out:st={max(0.0, seconds * self.speed - fade_out):.6f}:d={fade_out}"
        if self.starts_s > 0:
            yield "adelay", f"delays={1000 * self.starts_s:.3f}:all=1"


PLAIN = Chain()
Hear = Callable[[float], None]


@dataclass(slots=True)
class Through:
    """Sound frames of a file after a chain of filters. ``seconds`` counts what came out."""

    path: Path
    chain: Chain
    track: int = 0
    more: tuple[tuple[str, str], ...] = ()  # further filters: the meter, the number form
    total_s: float | None = None
    hear: Hear = lambda _: None
    seconds: float = 0.0
    broken: str = ""

    def frames(self) -> Iterator[Any]:
        """Decode, filter, hand out. A file that breaks off gives what came before the break."""
        try:
            container = open_or_mend(self.path)
        except av.error.FFmpegError as error:
            raise Unreadable("capture.broken", path=str(self.path), error=str(error)) from error
        with container:
            tracks = container.streams.audio
            if len(tracks) <= self.track:
                raise Unreadable("capture.broken", path=str(self.path), error="no sound track")
            for frame in self._filtered(self._decoded(container, tracks[self.track])):
                self.seconds += frame.samples / frame.sample_rate
                yield frame

    def samples(self) -> Iterator[Any]:
        """The samples that may be mended, as arrays of shape (n, channels), float32."""
        self.chain = replace(self.chain, mend="none", gain_db=0.0, fades_s=None)
        self.more = (("aformat", f"sample_fmts=fltp:sample_rates={self.chain.rate_hz}"),)
        for frame in self.frames():
            yield frame.to_ndarray().T

    def _decoded(self, container: Any, track: Any) -> Iterator[Any]:
        """Frames with times counted by their samples: gaps of a damaged file close, nothing is invented."""
        done = 0
        try:
            for packet in container.demux(track):
                try:
                    frames = packet.decode()
                except av.error.InvalidDataError as error:
                    self.broken = str(error)
                    continue
                for frame in frames:
                    frame.pts, frame.time_base = done, Fraction(1, frame.sample_rate)
                    done += frame.samples
                    self.hear(done / frame.sample_rate)
                    yield frame
        except av.error.FFmpegError as error:
            self.broken = str(error)

    def _filtered(self, frames: Iterator[Any]) -> Iterator[Any]:
        after = [*self.chain.after(self.total_s), *self.more]
        first = next(frames, None)
        if first is None:
            return iter(())
        frames = chain_of((first,), frames)
        before = [*self.chain.before(first.sample_rate)]
        if first.layout.nb_channels > 2:
            before.insert(0, ("aformat", "channel_layouts=stereo"))
        if self.chain.mends is None:
            return filtered(frames, [*before, *after])
        floats = ("aformat", f"sample_fmts=fltp:sample_rates={self.chain.rate_hz}")
        return filtered(mended(filtered(frames, [*before, floats]), self.chain), after)


def filtered(frames: Iterator[Any], steps: Sequence[tuple[str, str]]) -> Iterator[Any]:
    """Frames of sound after libav's filters."""
    graph: Graph | None = None
    for frame in chain_of(frames, (None,)):
        if graph is None:
            if frame is None:
                return
            graph = _built(frame, steps)
        with suppress(av.error.EOFError):  # the stretch that was wanted is complete
            graph.push(frame)
        while True:
            try:
                out = graph.pull()
            except (av.error.BlockingIOError, av.error.EOFError):
                break
            yield out


def _built(frame: Any, steps: Sequence[tuple[str, str]]) -> Graph:
    graph = Graph()
    last = graph.add_abuffer(
        sample_rate=frame.sample_rate,
        format=frame.format.name,
        layout=LAYOUTS.get(frame.layout.nb_channels, frame.layout.name),
        time_base=frame.time_base,
    )
    for name, arguments in [*steps, ("abuffersink", "")]:
        step = graph.add(name, arguments) if arguments else graph.add(name)
        last.link_to(step)
        last = step
    graph.configure()
    return graph


def mended(frames: Iterator[Any], chain: Chain) -> Iterator[Any]:
    """Frames of planar floats with their samples put right."""
    mender: Mender | None = None
    done = 0
    for frame in chain_of(frames, (None,)):
        if mender is None:
            if frame is None or chain.mends is None:
                return
            mender = Mender(mends=chain.mends, rate_hz=chain.rate_hz, channels=frame.layout.nb_channels)
        samples = mender.finish() if frame is None else mender.step(frame.to_ndarray())
        if samples.shape[1]:
            layout = LAYOUTS[mender.channels]
            out = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples), format="fltp", layout=layout)
            out.sample_rate, out.pts, out.time_base = chain.rate_hz, done, Fraction(1, chain.rate_hz)
            done += samples.shape[1]
            yield out


def measure_loudness(
    path: Path, chain: Chain = PLAIN, *, track: int = 0, closely: bool = False, hear: Hear = lambda _: None
) -> Loudness:
    """How loud a track is after a chain: integrated loudness and true peak.

    Valid to 0.02 LU at the rates of this house (the meter's filter is written for 48 kHz, to which it is resampled).

    Parameters
    ----------
    closely : bool
        Interpolate 16 times for the true peak: libav's meter interpolates 4 times, which reads up to 0.5 dB low.
    """
    meter = ("ebur128", f"metadata=1:peak={'sample' if closely else 'true'}:framelog=quiet")
    through, peak = Through(path, chain, track, (meter,), hear=hear), DecodedPeak()
    said: Mapping[str, str] = {}
    for frame in through.frames():
        if "lavfi.r128.I" in frame.metadata:
            said = dict(frame.metadata)
        if closely:
            peak.hear(as_floats(frame), frame.sample_rate)
    lufs = float(said.get("lavfi.r128.I", "-inf"))
    peaks = [float(said[key]) for key in sorted(said) if key.startswith("lavfi.r128.true_peaks_ch")]
    levels = tuple(20 * math.log10(value) if value > 0 else -200.0 for value in (peak.finish() if closely else peaks))
    return Loudness(
        lufs=lufs if lufs > SILENT_LUFS else None,
        true_peak_dbtp=max(levels) if levels and max(levels) > -200 else None,
        channels_dbtp=levels,
        seconds=through.seconds,
    )


def as_floats(frame: Any) -> np.ndarray:
    """A frame's samples, shape (channels, n), full scale 1.0; the meter hands out floats."""
    samples = frame.to_ndarray()
    return samples if frame.format.is_planar else samples.reshape(-1, frame.layout.nb_channels).T


def write_aac(
    path: Path, target: Path, chain: Chain, *, bits_s: int, tags: Mapping[str, str], track: int = 0,
    total_s: float | None = None, language: str = "", hear: Hear = lambda _: None,
) -> float:  # fmt: skip
    """Write a track as AAC in M4A, its index at the front; the seconds written.

    Parameters
    ----------
    bits_s : int
        Bit rate. [bit/s]
    tags : mapping
        libav's names: title, artist, album, track, date, comment.
    """
    through = Through(path, chain, track, (("aformat", f"sample_fmts=fltp:sample_rates={chain.rate_hz}"),),
                      total_s=total_s, hear=hear)  # fmt: skip
    frames = through.frames()
    with av.open(str(target), "w", format="ipod", options={"movflags": "faststart"}) as out:
        out.metadata.update({name: text for name, text in tags.items() if text})
        stream = None
        for frame in frames:
            if stream is None:
                stream = out.add_stream("aac", rate=chain.rate_hz, layout=frame.layout.name, bit_rate=bits_s)
                if language:
                    stream.metadata["language"] = language
            for packet in stream.encode(frame):
                out.mux(packet)
        if stream is None:
            raise Unreadable("capture.broken", path=str(path), error="no sound could be read")
        for packet in stream.encode(None):
            out.mux(packet)
    return through.seconds
