"""The shapes that travel between rooms: what a reader says of a capture, what a measure and a judge say of it.

Pure data, no behaviour beyond small properties. Rooms that may not know each other (media, measure, judge, pages)
meet here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType
from typing import Any, Literal

Medium = Literal["sound", "video", "film", "scan"]
Verdict = Literal["good", "look", "redo"]
Again = Literal["helps", "may help", "no"]
NO_FACTS: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundStream:
    """What the file says of its sound. ``bits`` is None for lossy codecs."""

    codec: str
    rate_hz: int
    channels: int
    bits: int | None
    lossy: bool
    seconds_stated: float | None  # by the header; None where it says nothing or was never closed
    float_samples: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureStream:
    """What the file says of its moving picture."""

    codec: str
    width: int
    height: int
    rate: Fraction | None  # pictures per second as stated [1/s]
    pixel_format: str
    bits: int
    shape: Fraction | None  # width of one pixel over its height; None when not stated
    field_order: str | None  # top, bottom, progressive; None when not stated
    lossy: bool
    pictures_stated: int | None
    seconds_stated: float | None
    full_range: bool = False  # luma from 0 to 255, as the file says; else 16 to 235
    turn: int = 0  # degrees clockwise, in quarters, by which the file wants it turned to be shown


@dataclass(frozen=True, slots=True, kw_only=True)
class StillImage:
    """What the file says of one still image (a bed scan, a page, a frame)."""

    codec: str  # tiff, jpeg, png, pdf
    compression: str | None
    width: int
    height: int
    channels: int
    bits_stated: int
    ppi_stated: float | None  # horizontal; None when the file gives none or no unit
    ppi_y_stated: float | None
    profile: str | None  # name of the embedded ICC profile; None when there is none
    lossy: bool
    orientation: int = 1  # EXIF/TIFF 274
    page: int = 0
    pages: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFile:
    """What a file is, by its content and never by its name."""

    container: str  # wav, rf64, bw64, aiff, flac, mp3, m4a, mov, avi, mkv, mp4, dv, tiff, bigtiff, jpeg, png, pdf
    bytes: int
    sound: SoundStream | None = None
    picture: PictureStream | None = None
    image: StillImage | None = None
    unclosed: bool = False  # the header was never closed: read as far as it goes
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One figure of the contract. ``value`` None needs ``why``, a key of ``words/whys.toml``; facts fill it."""

    value: Any  # a finite number, a word, a list; None when it cannot be said
    unit: str
    why: str | None = None
    why_facts: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)
    extra: Mapping[str, Any] = field(
        default_factory=lambda: NO_FACTS
    )  # further contract names of this measure: "hz", "from", "flag", "held" ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing noticed in a capture. Language-neutral: ``words`` makes its sentences from ``says`` and ``facts``."""

    name: str  # the contract's name
    verdict: Verdict
    again: Again
    says: str = ""  # key in words/findings.toml, e.g. "clipping.at-input"; empty: the name itself
    from_s: float | None = None
    to_s: float | None = None
    area: tuple[float, float, float, float] | None = None  # x, y, width, height [px]
    value: float | None = None
    unit: str | None = None
    facts: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)
    rows: tuple[str, ...] = ()  # the table rows it rests on

    def __post_init__(self) -> None:
        if self.again == "no" and self.verdict == "redo":
            raise ValueError(f"{self.name}: a finding that a second try cannot help is never redo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """A capture in miniature, for drawing the thread and for recognising the same recording again.

    ``level``: one byte per step. Sound: dBFS + 100, clipped to 0..100 (0: nothing recorded). Picture: mean luma code.
    ``recorded``: one byte per step, 1 where something was recorded. A scan has a 32 x 32 grey ``thumb`` instead.
    """

    step_s: float = 0.1
    level: bytes = b""
    recorded: bytes = b""
    luma: bytes = b""  # moving pictures: mean luma per step
    specks: bytes = b""  # scans: marks and their places on the glass (judge.scan_session.packed)
    thumb: bytes = b""  # scans: 32 * 32 grey bytes of the whole image
    prints: bytes = b""  # scans: 16 * 16 grey bytes of each picture, in their order
    strip: bytes = b""  # sound: third-octave levels, column after column, len(strip_hz) bytes each: dBFS + 140
    strip_step_s: float = 0.0
    strip_hz: tuple[float, ...] = ()  # middles of the bands [Hz]
    floor: bytes = b""  # sound: noise floor over time, dBFS + 140; 0: cannot be told there
    floor_step_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """A small picture of a moment (or of a scan), as JPEG bytes, for the thread and the letter."""

    at_s: float
    jpeg: bytes
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """All that one pass over a capture gave: figures, findings, and a miniature of it."""

    medium: Medium
    seconds: float | None  # None for stills
    measures: Mapping[str, Measured]
    findings: tuple[Finding, ...]
    left_out: tuple[tuple[str, float], ...] = ()  # (kind, seconds): digital zero, leader, blank tape ...
    trace: Trace = field(default_factory=Trace)
    stills: tuple[Still, ...] = ()

    @property
    def verdict(self) -> Verdict:
        return worst(finding.verdict for finding in self.findings)


def worst(verdicts: Any) -> Verdict:
    """The worst of some verdicts; ``good`` when there are none."""
    order: tuple[Verdict, ...] = ("good", "look", "redo")
    return max(verdicts, key=order.index, default="good")


@dataclass(frozen=True, slots=True, kw_only=True)
class Original:
    """One original of a box as its item list tells it. Unknown stays None and is planned for."""

    id: str
    carrier: str
    label: str = ""
    minutes: float | None = None  # all sides, at the marked speed
    feet: float | None = None
    count: int | None = None
    condition: tuple[str, ...] = ()  # words; "shrunk=1.2" and "acid=1.5" keep their number
    notes: str = ""
    sides: int | None = None
    speed: str | None = None  # sp, lp, ep, or pictures per second as text
    system: str | None = None
    sound: str | None = None
    frame: str | None = None
    reduction: float | None = None
    keep: str = "both"
    carrier_word: str = ""  # how the list spelled a carrier that nobody here knows; its carrier is then "other"
