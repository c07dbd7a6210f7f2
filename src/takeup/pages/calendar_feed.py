"""An iCalendar feed (RFC 5545) from facts of visits: what any calendar program can subscribe to. Pure.

Moments are written in UTC (``DTSTART:20270301T100000Z``), so that no zone table is needed and every calendar shows its
own zone; the caller turns the lab's wall clock into UTC (docs/decisions/0068).
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

LINE_OCTETS = 75  # RFC 5545, 3.1: a line holds no more, its end left out
CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f\ud800-\udfff]")  # 3.1: none of these may stand in a text
LINE_ENDS = re.compile(r"\r\n|[\r\x0b\x0c\x85\u2028\u2029]")  # of any kind that a program might cut a line at


@dataclass(frozen=True, slots=True, kw_only=True)
class CalendarVisit:
    """One visit for the feed. Moments carry a zone. ``uid`` never changes, ``sequence`` goes up with each change."""

    uid: str
    start: dt.datetime
    end: dt.datetime
    summary: str
    changed: dt.datetime  # when the visit was last changed
    description: str = ""
    place: str = ""
    sequence: int = 0
    cancelled: bool = False


def calendar_feed(visits: Sequence[CalendarVisit], *, name: str, made: dt.datetime) -> str:
    """The feed as text with CRLF line ends, to be sent as UTF-8 ``text/calendar; charset=utf-8``.

    Parameters
    ----------
    visits : sequence of CalendarVisit
    name : str
        What a calendar program shows as the feed's name.
    made : datetime
        When the feed is made, with a zone (``DTSTAMP``).

    Raises
    ------
    ValueError
        If a moment has no zone: a fault of the program.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//takeup//desk//EN",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"X-WR-CALNAME:{escaped(name)}",  # no part of the standard, and read by most programs
        *(line for visit in visits for line in _event(visit, made)),
        "END:VCALENDAR",
    ]
    return "".join(f"{folded(line)}\r\n" for line in lines)


def _event(visit: CalendarVisit, made: dt.datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{escaped(visit.uid)}"
    yield f"DTSTAMP:{utc(made)}"
    yield f"DTSTART:{utc(visit.start)}"
    yield f"DTEND:{utc(visit.end)}"
    yield f"LAST-MODIFIED:{utc(visit.changed)}"
    yield f"SEQUENCE:{visit.sequence}"
    yield f"STATUS:{'CANCELLED' if visit.cancelled else 'CONFIRMED'}"
    yield f"SUMMARY:{escaped(visit.summary)}"
    if visit.description:
        yield f"DESCRIPTION:{escaped(visit.description)}"
    if visit.place:
        yield f"LOCATION:{escaped(visit.place)}"
    yield "END:VEVENT"


def utc(moment: dt.datetime) -> str:
    """A moment in UTC as the standard writes it.

    Examples
    --------
    >>> utc(dt.datetime(2027, 3, 1, 10, tzinfo=dt.timezone(dt.timedelta(hours=8))))
    '20270301T020000Z'
    """
    if moment.tzinfo is None:
        raise ValueError("a moment of a feed carries its zone")
    return moment.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")


def escaped(text: str) -> str:
    r"""Text as a value (RFC 5545, 3.3.11): backslash, semicolon, comma and line ends spelled out.

    Examples
    --------
    >>> escaped("tapes; 2, a\\b\nnext")
    'tapes\\; 2\\, a\\\\b\\nnext'
    """
    plain = CONTROL.sub("", LINE_ENDS.sub("\n", text))
    for sign, spelled in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        plain = plain.replace(sign, spelled)
    return plain


def folded(line: str) -> str:
    """A line cut so that no piece passes 75 octets of UTF-8, never within a character (RFC 5545, 3.1)."""
    pieces, piece, room = [], "", LINE_OCTETS
    for sign in line:
        size = len(sign.encode("utf-8"))
        if size > room:
            pieces.append(piece)
            piece, room = "", LINE_OCTETS - 1  # the space that begins a further piece counts
        piece += sign
        room -= size
    return "\r\n ".join([*pieces, piece])
