"""What a finished file says of itself: who, when, where, in words that every kind of file has a place for. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from uuid import NAMESPACE_URL, UUID, uuid5

from takeup.streams import Original
from takeup.words.edtf import Sure, read_date, sure_part

ALT_MOST = 250  # letters of an alternative text: IPTC asks for no more, the rest is the extended description


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanned:
    """What is known of a scan though nobody described it: when the station wrote it, its bytes, its original."""

    written: str = ""  # ISO 8601 in UTC, "2027-03-02T10:00:00+00:00"
    sha256: tuple[str, ...] = ()  # of the captures it was made from
    object_said: tuple[tuple[str, str], ...] = ()  # language, the original in words: its kind, its size when known
    mended: tuple[str, ...] = ()  # what a copy puts right, one text each with its figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Tags:
    """Language-neutral. ``date`` holds only what is sure; ``date_given`` the date as it was given,
    ``date_said`` the same as people say it, doubt and all."""

    id: str  # of the item or picture
    title: str
    description: str = ""
    people: tuple[str, ...] = ()
    date: Sure | None = None
    date_given: str = ""
    date_said: str = ""
    place: str = ""
    keywords: tuple[str, ...] = ()
    creator: str = ""
    rights: str = ""
    event: str = ""  # on what occasion: a wedding, a fair
    album: str = ""
    track: int = 0
    tracks: int = 0
    carrier: str = ""
    scanned: Scanned | None = None  # of scans alone

    @property
    def guid(self) -> UUID | None:
        """Names the picture for good: the same for its master and its copies, whatever is written into them."""
        if self.scanned is None or not self.scanned.sha256:
            return None
        return uuid5(NAMESPACE_URL, f"urn:scan:{':'.join(self.scanned.sha256)}:{self.id}")

    @property
    def alt_texts(self) -> tuple[str, str]:
        """The description for people who cannot see the picture: short, and at length where it does not fit."""
        if len(self.description) <= ALT_MOST:
            return self.description, ""
        return self.title, self.description

    @property
    def date_text(self) -> str:
        """For date fields that take a year, a year and month, or a day."""
        return self.date.text() if self.date else ""

    @property
    def exact_day(self) -> Sure | None:
        """For date fields that take nothing less than a day."""
        return self.date if self.date and self.date.day is not None else None

    def comment(self) -> str:
        """One line for formats with a single free field: what has no field of its own there."""
        date = self.date_said if self.date_said == self.date_given else f"{self.date_said} ({self.date_given})"
        parts = [
            self.description,
            f"People: {', '.join(self.people)}" if self.people else "",
            f"Date: {date}" if self.date_given else "",
            f"Place: {self.place}" if self.place else "",
            f"Event: {self.event}" if self.event else "",
            f"Keywords: {', '.join(self.keywords)}" if self.keywords else "",
            f"By: {self.creator}" if self.creator else "",
            f"Rights: {self.rights}" if self.rights else "",
            f"Item {self.id}",
        ]
        return ". ".join(part.rstrip(".") for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A description as the record keeps it; empty where nothing is known."""

    title: str = ""
    description: str = ""
    people: Sequence[str] = ()
    date: str = ""
    place: str = ""
    keywords: Sequence[str] = ()
    creator: str = ""
    rights: str = ""
    event: str = ""


def told_of_back(own: Told | None, front: Told | None, name: str) -> Told | None:
    """What the back of a picture says of itself: what is written on it; who, when and where are its front's.

    Parameters
    ----------
    own : Told or None
        What somebody wrote of the back itself: its reading is the description.
    front : Told or None
        What is known of its front, or of the whole item.
    name : str
        What the front is called where nobody gave it a title.

    Examples
    --------
    >>> front = Told(title="Sea", people=("Ilse",), place="Quay")
    >>> back = told_of_back(Told(description="Harbour, 1974"), front, "p1-1")
    >>> back.title, back.description, back.people, back.place
    ('Sea, back', 'Harbour, 1974', ('Ilse',), 'Quay')
    >>> told_of_back(None, None, "p1-1") is None
    True
    """
    if own is None and front is None:
        return None
    front, own = front or Told(), own or Told()
    title = own.title or f"{front.title or name}, back"
    return replace(front, title=title, description=own.description)


def plan_tags(
    original: Original,
    told: Told | None,
    *,
    id: str = "",
    part: str = "",
    place_in: tuple[int, int] = (0, 0),
    date_said: str = "",
    scanned: Scanned | None = None,
) -> Tags:
    """What a finished file of an item is to say of itself.

    Parameters
    ----------
    id : str
        Of the picture, where it is one of several cut from a scan; else the item's own.
    part, place_in : str, tuple of int
        Side or part, and its place among them.
    date_said : str
        The date as people say it.
    scanned : Scanned, optional
        What is known of a scan.
    """
    told = told or Told()
    name = told.title or original.label or id or original.id
    beside = f", {_part_in_words(part)}" if part and place_in[1] > 1 else ""
    return Tags(
        id=id or original.id,
        title=name + beside,
        description=told.description,
        people=tuple(told.people),
        date=sure_part(read_date(told.date)),
        date_given=told.date,
        date_said=date_said or told.date,
        place=told.place,
        keywords=tuple(told.keywords),
        creator=told.creator,
        rights=told.rights,
        event=told.event,
        album=original.label or told.title or original.id,
        track=place_in[0],
        tracks=place_in[1],
        carrier=original.carrier,
        scanned=scanned,
    )


def _part_in_words(part: str) -> str:
    """``a`` and ``side-a`` are side A; a number is a part."""
    letter = part.removeprefix("side-")
    if len(letter) == 1 and letter.isalpha():
        return f"side {letter.upper()}"
    return f"part {part}" if part.isdigit() else part.replace("-", " ")
