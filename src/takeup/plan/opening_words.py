"""Opening hours and closures as people write them in one line, and back. Pure."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

DASHES = re.compile(r"\s*[-–—~～至到]\s*")
PARTS = re.compile(r"[,;，；、]")
TIME = re.compile(r"(\d{1,2})(?:[:：.](\d{2}))?")


def read_hours(text: str) -> list[list[str]]:
    """Hours of a day: ``10-13, 14:30-18`` gives pairs of times; an empty line is a closed day.

    Raises
    ------
    ValueError
        Holding the part that is not understood: no pair of times, an end before its beginning, hours that overlap.

    Examples
    --------
    >>> read_hours("10-13, 14:30–18"), read_hours("")
    ([['10:00', '13:00'], ['14:30', '18:00']], [])
    """
    spans: list[list[str]] = []
    for part in PARTS.split(text):
        if not part.strip():
            continue
        ends = DASHES.split(part.strip())
        if len(ends) != 2:
            raise ValueError(part.strip())
        start, end = (_time(one) for one in ends)
        if start is None or end is None or start >= end or (spans and start < spans[-1][1]):
            raise ValueError(part.strip())
        spans.append([start, end])
    return spans


def _time(text: str) -> str | None:
    found = TIME.fullmatch(text.strip())
    if not found:
        return None
    hour, minute = int(found[1]), int(found[2] or 0)
    return f"{hour:02d}:{minute:02d}" if hour * 60 + minute <= 24 * 60 and minute < 60 else None


def written_hours(spans: Sequence[Sequence[str]]) -> str:
    """Back to one line."""
    return ", ".join(f"{start}-{end}" for start, end in spans)


def read_closures(text: str) -> list[str]:
    """Days the lab is closed, one a line, whatever is written after the day; a span ``2027-08-01 - 2027-08-14`` too.

    Raises
    ------
    ValueError
        Holding the line that begins with no day.

    Examples
    --------
    >>> read_closures("2027-03-08 Monday off\\n2027-12-24 - 2027-12-26")
    ['2027-03-08', '2027-12-24', '2027-12-25', '2027-12-26']
    """
    days: set[str] = set()
    for line in text.splitlines():
        if not line.strip():
            continue
        found = re.match(r"\s*(\d{4}-\d{2}-\d{2})(?:\s*(?:-|–|—|~|至|到|\.\.|/)\s*(\d{4}-\d{2}-\d{2}))?", line)
        try:
            first = dt.date.fromisoformat(found[1]) if found else None
            last = dt.date.fromisoformat(found[2]) if found and found[2] else first
        except ValueError:
            first = last = None
        if first is None or last is None or last < first or (last - first).days > 366:
            raise ValueError(line.strip())
        days |= {(first + dt.timedelta(days=n)).isoformat() for n in range((last - first).days + 1)}
    return sorted(days)


def written_closures(days: Sequence[str]) -> str:
    """Back to one day a line."""
    return "\n".join(days)
