"""What the letter is told: plain facts of a parcel, in the family's own order.

Texts that exist in both languages are ``{"en": ..., "zh-Hans": ...}``. Every ``href`` is a path below ``data/`` with
``/``, not yet quoted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from takeup.streams import Finding, Report, Verdict

Said = Mapping[str, str]
Kind = Literal["sound", "moving", "picture", "document", "text", "other"]
Section = Literal["listen", "watch", "pictures"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noticed:
    """One finding with its sentences. ``before_s``: seconds of the capture before it, when a copy plays several."""

    finding: Finding
    why: Said
    do: Said
    before_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """One capture's report with the sentences of its findings."""

    report: Report
    noticed: tuple[Noticed, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One file of the parcel."""

    href: str
    role: str  # master, copy, page, text, small
    bytes: int
    kind: Kind
    size: tuple[int, int] | None = None  # as shown [px]

    @property
    def name(self) -> str:
        return self.href.rsplit("/", 1)[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """Who, when, where, as the family told it; empty where nothing is known."""

    title: str = ""
    description: str = ""
    people: tuple[str, ...] = ()
    date: str = ""  # EDTF, else the words as they were given
    place: str = ""
    keywords: tuple[str, ...] = ()
    creator: str = ""
    rights: str = ""
    event: str = ""


NOTHING_SAID = Described()


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One thing to play, see or read: an everyday file, its small pictures, the captures it was made from."""

    file: Held
    part: str = ""  # "side-a", "2", "back": the piece of the original it is
    picture: str = ""  # id of a picture cut from a scan: "b1-1"
    small: Held | None = None  # its small picture: poster, thumbnail, first page
    strip: Held | None = None  # moving pictures: moments side by side in the order of time
    captured: tuple[Captured, ...] = ()
    text: Held | None = None  # its words, where they were recognised
    said: Described = NOTHING_SAID  # of a picture cut from a scan
    notes: tuple[Said, ...] = ()  # worth knowing: what the capture was not good enough for


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacking:
    """A part of an original that is not in the parcel though the rest of it is."""

    part: str
    because: str  # a key under ``words/letter`` ``missing``


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One original with what was made from it."""

    id: str
    carrier: str
    section: Section
    label: str = ""  # what is written on it
    said: Described = NOTHING_SAID
    shown: tuple[Shown, ...] = ()
    captured: tuple[Captured, ...] = ()  # every capture its files were made from, once
    masters: tuple[Held, ...] = ()
    others: tuple[Held, ...] = ()  # further files of it that stand nowhere else
    lacking: tuple[Lacking, ...] = ()
    spoken: tuple[Said, ...] = ()  # of an interview: who asks, in which language, what each speaker signed

    @property
    def title(self) -> str:
        return self.said.title or self.label or self.id

    @property
    def verdict(self) -> Verdict | Literal["none"]:
        order = ("good", "look", "redo")
        return max((captured.report.verdict for captured in self.captured), key=order.index, default="none")


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """An original with nothing in this parcel: ``because`` is a key under ``words/letter`` ``missing``."""

    id: str
    title: str
    carrier: str
    because: str
    why: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """All that the letter tells."""

    box: str
    lab: str
    lang: str  # the language it opens in
    brought: str  # date, ISO 8601
    packed: str
    originals: int
    files: int  # of the payload
    bytes: int
    entries: tuple[Entry, ...]
    missing: tuple[Missing, ...] = ()
    care: tuple[tuple[str, tuple[str, ...]], ...] = ()  # (carrier, keys of advice), in the box's order
    advice: tuple[str, ...] = ()  # keys of advice for everybody
    held: tuple[Held, ...] = ()  # every file of the payload but the letter itself
    papers: tuple[str, ...] = ()  # the package's own files beside data/
    algorithm: str = "sha256"
    copies_only: bool = False
