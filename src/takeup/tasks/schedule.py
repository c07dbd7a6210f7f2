"""Books many visitors onto stations from a request file. Writes nothing."""

from __future__ import annotations

import datetime as dt
import json
import time
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible
from takeup.plan.opening import Booking, WhyNot
from takeup.plan.schedule import Schedule, plan_schedule
from takeup.plan.schedule_reading import Asked, read_requests
from takeup.tables.loader import load_rows
from takeup.words.sentences import load_sentences, say

LARGEST_REQUESTS_BYTES = 50_000_000  # far above any lab's year; a capture named by mistake is not read into memory


def schedule(path: Path) -> tuple[Asked, Schedule]:
    """Read a request file and book it.

    Raises
    ------
    NotPossible
        ``schedule.*``: not there, no JSON, or what is wrong where in it.
    """
    rows = load_rows()
    asked = read_requests(read_json(path), rows.section("booking.rules"), rows.value("booking.search.days_most"))
    end = time.monotonic() + rows.value("booking.search.seconds")
    made = plan_schedule(
        asked.requests, asked.lab, asked.first, asked.last,
        promised=asked.promised, seconds_left=lambda: end - time.monotonic(),
        order_seconds=rows.value("booking.search.order_seconds"),
    )  # fmt: skip
    return asked, made


def read_json(path: Path) -> Any:
    """The document in a request file."""
    if not path.is_file():
        raise NotPossible("schedule.not-there", path=str(path))
    try:
        if path.stat().st_size > LARGEST_REQUESTS_BYTES:
            raise NotPossible("schedule.not-json", path=str(path), line=1)
        return json.loads(path.read_bytes().decode("utf-8-sig"))
    except OSError as error:
        raise NotPossible("schedule.cannot-open", path=str(path), error=error.strerror or str(error)) from error
    except json.JSONDecodeError as error:
        raise NotPossible("schedule.not-json", path=str(path), line=error.lineno) from None
    except (ValueError, RecursionError):  # not UTF-8, a number without end, brackets without end
        raise NotPossible("schedule.not-json", path=str(path), line=1) from None


def schedule_answer(asked: Asked, made: Schedule, lang: str) -> dict[str, Any]:
    """``schedule --json``."""
    return {
        "visits": [visit_facts(booking) for booking in made.bookings],
        "unplaced": [
            {
                "visitor": one.request.visitor,
                "station": one.request.kind,
                "minutes": one.request.minutes,
                "why": why_said(one.why, lang),
            }
            for one in made.unplaced
        ],
        "minutes_placed": made.minutes_placed,
        "best_possible": made.best_possible,
        "order_proven": made.order_proven,
        "promised": [visit_facts(booking) for booking in asked.promised],
    }


def visit_facts(booking: Booking) -> dict[str, Any]:
    """A visit as the contract writes it."""
    return {
        "visitor": booking.visitor,
        "station": booking.station,
        "date": booking.day.isoformat(),
        "from": time_of_day(booking.start),
        "to": time_of_day(booking.end),
        "minutes": booking.minutes,
    }


def time_of_day(minutes: int) -> str:
    """Minutes since midnight as ``HH:MM``; the day's end is 24:00.

    Examples
    --------
    >>> time_of_day(605), time_of_day(1440)
    ('10:05', '24:00')
    """
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def why_said(why: WhyNot, lang: str) -> str:
    """Why a visit cannot be, in the reader's language; a fact ``..._at`` is a time of day."""
    return say("whys", why.key, lang, {name: _said(name, fact, lang) for name, fact in why.facts.items()})


def _said(name: str, fact: Any, lang: str) -> Any:
    if name.endswith("_at"):
        return time_of_day(fact)
    if isinstance(fact, dt.date):
        return fact.isoformat()
    if name == "kind" and f"station.{fact}.en" in load_sentences("answers"):
        return say("answers", f"station.{fact}", lang)
    return fact
