"""What templates may say of figures and days: clock times, sizes, days, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, tzinfo
from typing import Any

from babel.dates import format_date

from takeup.words.units import clock, size

BABEL = {"en": "en_GB", "zh-Hans": "zh_Hans_CN"}


def of(lang: str) -> dict[str, Callable[..., Any]]:
    """The functions, by the names templates use."""
    return {
        "at_time": at_time,
        "clock": clock,
        "size": size,
        "day": lambda text: said_day(text, lang),
        "moment": moment,
    }


def at_time(minutes: int) -> str:
    """Minutes since midnight as ``14:30``."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def said_day(text: str, lang: str) -> str:
    """A day as a reader of that language writes it, with its weekday."""
    try:
        when = date.fromisoformat(text)
    except ValueError:
        return text
    pattern = "y'年'M'月'd'日' EEE" if lang == "zh-Hans" else "EEEE d MMMM y"
    return format_date(when, pattern, locale=BABEL[lang])


def moment(text: str, zone: tzinfo | None = None) -> str:
    """A moment of the tables in the lab's own time: ``2027-03-02 14:31``; in this computer's when no zone is told."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return text
    return when.replace(tzinfo=when.tzinfo or UTC).astimezone(zone).strftime("%Y-%m-%d %H:%M")
