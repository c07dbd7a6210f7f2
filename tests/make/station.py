"""A capture program that writes in simulated time: every sleep of the reader lets it write what is due."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace


@dataclass
class Station:
    """Writes a WAV of packed samples at their own pace.

    ``piece``: bytes it gathers before it writes. ``header``: ``never`` (0), ``ones``, ``end``, ``always`` (after every
    write), ``full`` (the final size from the start), ``rf64`` (reserved room, converted when closed). ``text``: chunks
    written behind the samples before the header is closed. ``pauses``: (from, to) seconds in which it does not write;
    the samples come all the same.
    """

    path: Path
    samples: bytes
    rate: int = 24_000
    channels: int = 2
    bits: int = 24
    piece: int = 5000
    header: str = "never"
    text: bytes = b""
    pauses: tuple[tuple[float, float], ...] = ()
    written: int = 0
    closed: bool = False
    at: dict[float, Callable[[], None]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        width = self.channels * self.bits // 8
        form = struct.pack("<HHIIHH", 1, self.channels, self.rate, self.rate * width, width, self.bits)
        room = b"JUNK" + struct.pack("<I", 28) + bytes(28) if self.header == "rf64" else b""
        size = {"ones": 0xFFFFFFFF, "full": len(self.samples)}.get(self.header, 0)
        start = b"WAVE" + room + b"fmt " + struct.pack("<I", 16) + form + b"data" + struct.pack("<I", size)
        self.path.write_bytes(b"RIFF" + struct.pack("<I", size) + start)
        self.data_at = 8 + len(start)
        self.bytes_a_second = self.rate * width

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.bytes_a_second

    def advance(self, now: float) -> None:
        """Write what is due at this moment."""
        for when in [when for when in self.at if when <= now]:
            self.at.pop(when)()
        if self.closed or any(start <= now < end for start, end in self.pauses):
            return
        due = min(len(self.samples), int(now * self.bytes_a_second))
        last = due == len(self.samples)
        if not last:
            due -= due % self.piece
        if due > self.written:
            self._append(self.samples[self.written : due])
            self.written = due
            if self.header == "always":
                self._state(due)
        if last:
            self._close()

    def _close(self) -> None:
        self.closed = True
        if self.text:
            self._append(bytes(len(self.samples) % 2) + self.text)
        if self.header in ("end", "always", "full"):
            self._state(len(self.samples))
        if self.header == "rf64":
            size = self.path.stat().st_size
            long_sizes = struct.pack("<QQQI", size - 8, len(self.samples), 0, 0)
            self._put(0, b"RF64" + b"\xff" * 4 + b"WAVEds64" + struct.pack("<I", 28) + long_sizes)
            self._put(self.data_at - 4, b"\xff" * 4)

    def _state(self, size: int) -> None:
        self._put(4, struct.pack("<I", self.path.stat().st_size - 8))
        self._put(self.data_at - 4, struct.pack("<I", size))

    def _append(self, more: bytes) -> None:
        with self.path.open("ab") as file:
            file.write(more)

    def _put(self, at: int, some: bytes) -> None:
        with self.path.open("r+b") as file:
            file.seek(at)
            file.write(some)


class Clock:
    """Stands in for the module ``time``: sleeping moves it on and lets a station write."""

    def __init__(self, station: Station) -> None:
        self.now, self.station = 0.0, station

    def monotonic(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds
        self.station.advance(self.now)


def run_by(clock: Clock, monkeypatch) -> None:
    """Make everything that follows a growing file live by this clock."""
    from takeup.media import moving_growing, sound_growing, watching
    from takeup.tasks import check_sound, follow

    for module in (sound_growing, watching, moving_growing, follow, check_sound):
        monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=clock.monotonic, sleep=clock.sleep))
