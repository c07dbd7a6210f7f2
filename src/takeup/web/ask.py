"""What a page is asked and what it may answer, free of the framework: so a page is a function that a test can call."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from takeup.lab.port import Lab
from takeup.lab.sessions import NOBODY, Who
from takeup.settings import Settings

MOST_TEXT = 20_000  # signs of one field; a longer one is told, nothing is cut
MOST_LINES = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Uploaded:
    """A file that came with a form, still in a temporary place."""

    name: str  # as the sender's computer called it: never used as a path
    bytes: int
    path: Path


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """What every page may reach: the lab's database, its home, its settings, the live wire, the workers."""

    lab: Lab
    home: Path
    settings: Settings
    wire: Any  # web.wire.Wire
    workers: Any  # work.workers.Workers
    demo: bool = False

    @property
    def boxes(self) -> Path:
        return self.home / "boxes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One request. ``given`` holds a form's fields or the address's question part, each field once: the last."""

    desk: Desk
    who: Who = NOBODY
    lang: str = "en"
    path: str = "/"
    address: str = ""  # of the asking computer, from the connection, never from a header
    parts: Mapping[str, str] = field(default_factory=dict)  # named parts of the path
    given: Mapping[str, str] = field(default_factory=dict)
    lists: Mapping[str, list[str]] = field(default_factory=dict)  # fields that came several times
    files: Mapping[str, Uploaded] = field(default_factory=dict)
    raw: bytes = b""  # the body, where it is no form
    headers: Mapping[str, str] = field(default_factory=dict)  # lower-case names
    words: Callable[..., str] = lambda text, **facts: text % facts if facts else text  # gettext

    def text(self, name: str, *, most: int = 500) -> str:
        """A field as typed, outer blanks and what cannot be seen taken away.

        Raises
        ------
        Refused
            When it is longer than ``most``.
        """
        raw = self.given.get(name, "")
        text = "".join(sign for sign in raw if sign.isprintable() or sign in "\n\t\u200c\u200d").strip()
        if len(text) > most:
            raise Refused(
                self.words("This is longer than fits here (%(most)d signs at most): %(name)s.", most=most, name=name)
            )
        return text

    def number(self, name: str, *, low: int = 0, high: int = 10**9) -> int | None:
        """A whole number, or None when the field is empty.

        Raises
        ------
        Refused
            When it is no whole number between ``low`` and ``high``.
        """
        text = self.text(name, most=20)
        if not text:
            return None
        try:
            number = int(text)
        except ValueError:
            number = None
        if number is None or not low <= number <= high:
            raise Refused(
                self.words("%(name)s must be a whole number from %(low)d to %(high)d.", name=name, low=low, high=high)
            )
        return number

    @property
    def version(self) -> int | None:
        """The version of the row the form was filled from."""
        text = self.given.get("version", "")
        return int(text) if text.isascii() and text.isdigit() and len(text) < 12 else None


class Refused(Exception):
    """The form asks for what cannot be: one plain sentence; nothing was changed. Status 400 unless told."""

    def __init__(self, sentence: str, *, status: int = 400) -> None:
        self.sentence, self.status = sentence, status
        super().__init__(sentence)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A page: a template with its facts."""

    template: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class SeeOther:
    """Done; look there."""

    url: str
    token: str | None = None  # a new session's token, for the cookie
    forget: bool = False  # the cookie goes


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """Bytes or text of another kind than a page."""

    body: bytes | str
    kind: str
    status: int = 200
    name: str = ""  # offered for saving under this name


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """JSON, for scripts and stations."""

    facts: Any
    status: int = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """A file of the home, in parts where the browser asks for parts."""

    path: Path
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Streamed:
    """Server-sent events from a place on (``web.wire``)."""

    events: Any  # async generator of text


Answer = Shown | SeeOther | Document | Told | Served | Streamed
