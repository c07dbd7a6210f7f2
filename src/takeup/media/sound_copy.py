"""Writes the everyday form of a sound track (AAC), and says how loud a track is by libav's own meter (BS.1770).

One gain and nothing else: no compression, no limiting. Measured on the decoded copy, for a lossy coder overshoots.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
from av.filter import Graph

from takeup.errors import Unreadable

MEND = {
    "none": None,
    "left-only": "mono|c0=c0",
    "right-only": "mono|c0=c1",
    "turn-right": "stereo|c0=c0|c1=-1*c1",
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
    """What happens to a track on its way: mended, cut to a stretch, started later or earlier, resampled, made louder.

    Parameters
    ----------
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

    def filters(self, seconds: float | None) -> Iterator[tuple[str, str]]:
        """The steps as libav's filters. ``seconds``: length of the whole track, for the fade at its end."""
        if pan := MEND[self.mend]:
            yield "pan", pan
        if self.from_s is not None and self.to_s is not None:
            yield "atrim", f"start={self.from_s:.6f}:end={self.to_s:.6f}"
            yield "asetpts", "PTS-STARTPTS"
            seconds = self.to_s - self.from_s
        if self.starts_s < 0:
            yield "atrim", f"start={-self.starts_s:.6f}"
            yield "asetpts", "PTS-STARTPTS"
        yield "aresample", f"{self.rate_hz}"
        if self.gain_db:
            yield "volume", f"volume={self.gain_db:.4f}dB:precision=double"
        if self.fades_s and seconds:
            fade_in, fade_out = self.fades_s
            yield "afade", f"t=in:d={fade_in}"
            yield "afade", f"t=out:st={max(0.0, seconds - fade_out):.6f}:d={fade_out}"
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
    _graph: Any = field(default=None, init=False)

    def frames(self) -> Iterator[Any]:
        """Decode, filter, hand out. A file that breaks off gives what came before the break."""
        try:
            container = av.open(str(self.path))
        except av.error.FFmpegError as error:
            raise Unreadable("capture.broken", path=str(self.path), error=str(error)) from error
        with container:
            tracks = container.streams.audio
            if len(tracks) <= self.track:
                raise Unreadable("capture.broken", path=str(self.path), error="no sound track")
            for frame in self._decoded(container, tracks[self.track]):
                yield from self._pushed(frame)
            if self._graph is not None:
                yield from self._pushed(None)

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

    def _pushed(self, frame: Any) -> Iterator[Any]:
        if self._graph is None:
            self._graph = self._built(frame)
        with suppress(av.error.EOFError):  # the stretch that was wanted is complete
            self._graph.push(frame)
        while True:
            try:
                out = self._graph.pull()
            except (av.error.BlockingIOError, av.error.EOFError):
                return
            self.seconds += out.samples / out.sample_rate
            yield out

    def _built(self, frame: Any) -> Graph:
        graph = Graph()
        channels = frame.layout.nb_channels
        last = graph.add_abuffer(
            sample_rate=frame.sample_rate,
            format=frame.format.name,
            layout=LAYOUTS.get(channels, frame.layout.name),
            time_base=frame.time_base,
        )
        steps = [*self.chain.filters(self.total_s)]
        if channels > 2:
            steps.insert(0, ("aformat", "channel_layouts=stereo"))
        for name, arguments in [*steps, *self.more, ("abuffersink", "")]:
            step = graph.add(name, arguments) if arguments else graph.add(name)
            last.link_to(step)
            last = step
        graph.configure()
        return graph


def measure_loudness(path: Path, chain: Chain = PLAIN, *, track: int = 0, hear: Hear = lambda _: None) -> Loudness:
    """How loud a track is after a chain: integrated loudness and true peak.

    Valid to 0.02 LU at the rates of this house (the meter's filter is written for 48 kHz, to which it is resampled).
    """
    through = Through(path, chain, track, (("ebur128", "metadata=1:peak=true:framelog=quiet"),), hear=hear)
    said: Mapping[str, str] = {}
    for frame in through.frames():
        if "lavfi.r128.I" in frame.metadata:
            said = dict(frame.metadata)
    lufs = float(said.get("lavfi.r128.I", "-inf"))
    peaks = [float(said[key]) for key in sorted(said) if key.startswith("lavfi.r128.true_peaks_ch")]
    levels = tuple(20 * math.log10(peak) if peak > 0 else -200.0 for peak in peaks)
    return Loudness(
        lufs=lufs if lufs > SILENT_LUFS else None,
        true_peak_dbtp=max(levels) if levels and max(levels) > -200 else None,
        channels_dbtp=levels,
        seconds=through.seconds,
    )


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
