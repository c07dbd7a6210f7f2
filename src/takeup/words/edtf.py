"""Dates as a description may give them: our subset of EDTF (ISO 8601-2). Pure.

The subset: ``1974``, ``1974-07``, ``1974-07-14``, seasons and other parts of a year ``1974-21`` to ``1974-41``, a date
with a time of day, unspecified digits ``197X``, ``19XX``, ``1974-XX``, ``1974-07-XX``, ``1974-XX-XX``, one qualifier at
the end (``?`` perhaps, ``~`` about, ``%`` both), intervals ``1970/1975`` whose ends may be open (``..``) or unknown
(nothing), and ``..1970`` and ``1970..`` for "up to" and "from". A reversed interval is not a date.
"""

from __future__ import annotations

import re
from calendar import monthrange
from dataclasses import dataclass
from typing import Literal

PLAIN = re.compile(
    r"(?P<year>\d{4}|\d{3}X|\d{2}XX)(?:-(?P<month>\d{2}|XX)(?:-(?P<day>\d{2}|XX))?)?"
    r"(?P<time>T\d{2}:\d{2}(?::\d{2})?(?:Z|[+-]\d{2}(?::\d{2})?)?)?(?P<doubt>[?~%])?"
)
FIRST_PART, LAST_PART = 21, 41  # seasons, quarters and halves stand where a month does
Doubt = Literal["", "?", "~", "%"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One date as it was written: what is not known is None. ``digits`` of the year are known (4, 3 or 2)."""

    year: int  # of a decade or century: its first year
    digits: int = 4
    month: int | None = None
    part: int | None = None  # 21..41: a season, quarter or half of the year
    day: int | None = None
    months_open: bool = False  # "1974-XX": in some month of that year
    days_open: bool = False
    doubt: Doubt = ""

    def span(self) -> tuple[tuple[int, int, int], tuple[int, int, int]]:
        """First and last day that it may mean. A season counts as its whole year: hemispheres differ."""
        last_year = self.year + 10 ** (4 - self.digits) - 1
        if self.month is None:
            return (self.year, 1, 1), (last_year, 12, 31)
        if self.day is None:
            return (self.year, self.month, 1), (self.year, self.month, _days(self.year, self.month))
        return (self.year, self.month, self.day), (self.year, self.month, self.day)


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A date or an interval. ``end`` is None for a single date; ``start`` or ``end`` may be ``..`` or ``""``."""

    start: Moment | Literal["..", ""]
    end: Moment | Literal["..", ""] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sure:
    """What is certain of a date, as far as it is certain: a year, a month of it, a day of that."""

    year: int
    month: int | None = None
    day: int | None = None

    def text(self) -> str:
        """ISO 8601, as far as it is known.

        Examples
        --------
        >>> Sure(year=1974).text(), Sure(year=1974, month=7, day=4).text()
        ('1974', '1974-07-04')
        """
        parts = [f"{self.year:04d}"] + [f"{part:02d}" for part in (self.month, self.day) if part is not None]
        return "-".join(parts)


def read_date(text: str) -> Written | None:
    """Read a date of our subset; None when it is none.

    Examples
    --------
    >>> read_date("197X").start.digits, read_date("1970/1975") is None, read_date("1975/1970") is None
    (3, False, True)
    >>> read_date("1974-02-30") is None, read_date("summer 1974") is None
    (True, True)
    """
    text = text.strip()
    if text.count("/") > 1 or text.count("..") > 1 and "/" not in text:
        return None
    if "/" in text:
        first, last = text.split("/")
    elif text.startswith(".."):
        first, last = "..", text[2:]
    elif text.endswith(".."):
        first, last = text[:-2], ".."
    else:
        moment = _moment(text)
        return Written(start=moment) if moment else None
    start, end = _end_of_interval(first), _end_of_interval(last)
    if start is None or end is None or not (isinstance(start, Moment) or isinstance(end, Moment)):
        return None
    if isinstance(start, Moment) and isinstance(end, Moment) and start.span()[0] > end.span()[1]:
        return None
    return Written(start=start, end=end)


def sure_part(written: Written | None) -> Sure | None:
    """What may go into a date field that cannot carry doubt: None for a doubtful date, a decade, a season, an interval.

    Examples
    --------
    >>> sure_part(read_date("1974-07-XX")), sure_part(read_date("1974~")), sure_part(read_date("1974-22"))
    (Sure(year=1974, month=7, day=None), None, None)
    """
    if written is None or written.end is not None or not isinstance(written.start, Moment):
        return None
    moment = written.start
    if moment.doubt or moment.digits < 4 or moment.part is not None:
        return None
    return Sure(year=moment.year, month=moment.month, day=moment.day)


def _end_of_interval(text: str) -> Moment | Literal["..", ""] | None:
    if text == "..":
        return ".."
    if text == "":
        return ""
    return _moment(text)


def _moment(text: str) -> Moment | None:
    match = PLAIN.fullmatch(text)
    if match is None:
        return None
    year, month, day = match["year"], match["month"], match["day"]
    known = year.rstrip("X")
    if len(known) < 4 and month is not None:
        return None
    if match["time"] and (day is None or "XX" in (month, day) or not _time_is_valid(match["time"])):
        return None
    number = int(known.ljust(4, "0"))
    doubt = match["doubt"] or ""
    part = None
    if month not in (None, "XX") and not 1 <= int(month) <= 12:
        if not FIRST_PART <= int(month) <= LAST_PART or day is not None:
            return None
        part, month = int(month), None
    if month == "XX" and day not in (None, "XX"):
        return None
    month_number = int(month) if month not in (None, "XX") else None
    day_number = int(day) if day not in (None, "XX") else None
    if day_number is not None and not 1 <= day_number <= _days(number, month_number or 1):
        return None
    return Moment(
        year=number, digits=len(known), month=month_number, part=part, day=day_number,
        months_open=month == "XX", days_open=day == "XX", doubt=doubt,  # type: ignore[arg-type]
    )  # fmt: skip


def _days(year: int, month: int) -> int:
    return monthrange(year or 4, month)[1]  # the year 0 was a leap year, and the calendar module begins at 1


def _time_is_valid(text: str) -> bool:
    hours, minutes, *rest = (int(part) for part in re.findall(r"\d{2}", text))
    return hours < 24 and minutes < 60 and (not rest or rest[0] < 60)
