"""Reads a request file: a JSON document in, lab, period, promised visits and requests out. Pure.

Every problem is one sentence that names the place in the document; nothing is guessed at.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

from takeup.errors import NotPossible
from takeup.plan.opening import DAY_MINUTES, Booking, BookingRules, Lab, Span, Station, Week
from takeup.plan.schedule_places import Request, Window

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DATE = re.compile(r"^\d{4}-\d{2}-\d{2}$")
TIME = re.compile(r"^([01]\d|2[0-4]):([0-5]\d)$")
WHOLE = {  # rule -> smallest and largest that makes sense, and whether it may be left open (null: no limit)
    "step_minutes": (1, DAY_MINUTES, False),
    "shortest_minutes": (1, DAY_MINUTES, False),
    "longest_minutes": (1, DAY_MINUTES, False),
    "per_visitor_per_day": (1, 1000, True),
    "turn_round_minutes": (0, DAY_MINUTES, False),
    "starts_per_step": (1, 1000, True),
}
MOST_MINUTES = 100_000  # of one request: above this it is a slip of the pen
MOST_TEXT = 200  # characters of a name


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A request file, read."""

    lab: Lab
    first: dt.date
    last: dt.date
    promised: tuple[Booking, ...]
    requests: tuple[Request, ...]


def read_requests(document: Any, house: Mapping[str, Any], days_most: int) -> Asked:
    """All that a request file says.

    Parameters
    ----------
    document : Any
        The JSON document as loaded.
    house : mapping
        Values of the rows ``booking.rules``, for the rules that the file leaves out.
    days_most : int
        The longest period.

    Raises
    ------
    NotPossible
        ``schedule.*``: what is wrong, and where in the document.
    """
    if not isinstance(document, dict):
        _wrong("schedule.not-an-object", "")
    for name in ("from", "to", "opening", "stations", "requests"):
        if name not in document:
            raise NotPossible("schedule.part-missing", name=name)
    first, last = _day(document["from"], "from"), _day(document["to"], "to")
    if first > last:
        raise NotPossible("schedule.period-backwards", first=first, last=last)
    if (last - first).days >= days_most:
        raise NotPossible("schedule.period-long", first=first, last=last, most=days_most)
    rules = _object(document.get("rules"), "rules")
    lab = Lab(
        week=Week(hours=_hours(document["opening"]), closed=_days(document.get("closed"), "closed")),
        stations=tuple(_stations(document["stations"])),
        rules=_rules(rules, house),
    )
    promised = tuple(_promised(rules.get("promised"), lab))
    _no_two_at_once(promised)
    requests = tuple(_requests(document["requests"]))
    return Asked(lab=lab, first=first, last=last, promised=promised, requests=requests)


def _wrong(key: str, where: str, found: Any = None, **facts: Any) -> NoReturn:
    raise NotPossible(key, where=where, found=str(found)[:MOST_TEXT], **facts)


def _list(found: Any, where: str) -> list[Any]:
    if found is None:
        return []
    if not isinstance(found, list):
        _wrong("schedule.not-a-list", where, found)
    return found


def _object(found: Any, where: str) -> dict[str, Any]:
    if found is None:
        return {}
    if not isinstance(found, dict):
        _wrong("schedule.not-an-object", where, found)
    return found


def _text(found: Any, where: str) -> str:
    if not isinstance(found, str) or not found.strip() or len(found) > MOST_TEXT:
        _wrong("schedule.not-a-name", where, found, most=MOST_TEXT)
    return found


def _whole(found: Any, where: str, least: int, most: int) -> int:
    odd = isinstance(found, bool) or not isinstance(found, int | float)
    if odd or not least <= found <= most or found != int(found):
        _wrong("schedule.not-a-number", where, found, least=least, most=most)
    return int(found)


def _day(found: Any, where: str) -> dt.date:
    if isinstance(found, str) and DATE.match(found):
        try:
            return dt.date.fromisoformat(found)
        except ValueError:
            pass
    _wrong("schedule.not-a-day", where, found)


def _days(found: Any, where: str) -> frozenset[dt.date]:
    return frozenset(_day(one, f"{where}[{at}]") for at, one in enumerate(_list(found, where)))


def _time(found: Any, where: str) -> int:
    matched = TIME.match(found) if isinstance(found, str) else None
    minutes = int(matched[1]) * 60 + int(matched[2]) if matched else DAY_MINUTES + 1
    if minutes > DAY_MINUTES:
        _wrong("schedule.not-a-time", where, found)
    return minutes


def _span(found: Sequence[Any], where: str) -> Span:
    start, end = _time(found[0], where), _time(found[1], where)
    if start >= end:
        _wrong("schedule.span-backwards", where, f"{found[0]}-{found[1]}")
    return start, end


def _hours(found: Any) -> dict[int, tuple[Span, ...]]:
    hours = {}
    if not isinstance(found, dict):
        _wrong("schedule.not-an-object", "opening", found)
    for name, spans in found.items():
        if name not in WEEKDAYS:
            _wrong("schedule.not-a-weekday", "opening", name, known=", ".join(WEEKDAYS))
        where = f"opening.{name}"
        for at, span in enumerate(_list(spans, where)):
            if not isinstance(span, list) or len(span) != 2:
                _wrong("schedule.not-a-span", f"{where}[{at}]", span)
        hours[WEEKDAYS.index(name)] = tuple(
            _span(span, f"{where}[{at}]") for at, span in enumerate(_list(spans, where))
        )
    return hours


def _stations(found: Any) -> Iterator[Station]:
    seen: set[str] = set()
    for at, one in enumerate(_list(found, "stations")):
        where = f"stations[{at}]"
        station = _object(one, where)
        name = _text(station.get("id"), f"{where}.id")
        if name in seen:
            _wrong("schedule.station-twice", where, name)
        seen.add(name)
        down = _days(station.get("down"), f"{where}.down")
        yield Station(id=name, kind=_text(station.get("station"), f"{where}.station"), down=down)


def _rules(found: Mapping[str, Any], house: Mapping[str, Any]) -> BookingRules:
    values: dict[str, Any] = dict(house)
    for name, value in found.items():
        if name == "promised":
            continue
        if name not in WHOLE:
            _wrong("schedule.rule-unknown", "rules", name, known=", ".join([*WHOLE, "promised"]))
        least, most, may_be_open = WHOLE[name]
        if value is None:
            if may_be_open:
                values[name] = None
            continue  # a null where a number is needed leaves the house's rule
        values[name] = _whole(value, f"rules.{name}", least, most)
    if values["shortest_minutes"] > values["longest_minutes"]:
        shortest, longest = values["shortest_minutes"], values["longest_minutes"]
        raise NotPossible("schedule.shortest-longest", shortest=shortest, longest=longest)
    return BookingRules(
        step=values["step_minutes"],
        shortest=values["shortest_minutes"],
        longest=values["longest_minutes"],
        per_visitor_per_day=values["per_visitor_per_day"],
        turn_round=values["turn_round_minutes"],
        starts_per_step=values["starts_per_step"] or None,
    )


def _promised(found: Any, lab: Lab) -> Iterator[Booking]:
    for at, one in enumerate(_list(found, "rules.promised")):
        where = f"rules.promised[{at}]"
        visit = _object(one, where)
        station = _text(visit.get("station"), f"{where}.station")
        if lab.kind_of(station) is None:
            _wrong("schedule.station-unknown", where, station)
        start, end = _span((visit.get("from"), visit.get("to")), where)
        minutes = visit.get("minutes")
        if minutes is not None and _whole(minutes, f"{where}.minutes", 1, DAY_MINUTES) != end - start:
            _wrong("schedule.minutes-differ", where, minutes, wanted=end - start)
        visitor = _text(visit.get("visitor"), f"{where}.visitor")
        yield Booking(visitor=visitor, station=station, day=_day(visit.get("date"), where), start=start, end=end)


def _no_two_at_once(promised: Sequence[Booking]) -> None:
    ordered = sorted(promised, key=lambda one: (one.station, one.day, one.start))
    for one, other in zip(ordered, ordered[1:]):
        if one.station == other.station and one.day == other.day and other.start < one.end:
            facts = {"station": one.station, "day": one.day, "one": one.visitor, "other": other.visitor}
            raise NotPossible("schedule.promised-twice", **facts)


def _requests(found: Any) -> Iterator[Request]:
    for at, one in enumerate(_list(found, "requests")):
        where = f"requests[{at}]"
        request = _object(one, where)
        if "can" not in request:
            _wrong("schedule.can-missing", where)
        yield Request(
            visitor=_text(request.get("visitor"), f"{where}.visitor"),
            kind=_text(request.get("station"), f"{where}.station"),
            minutes=_whole(request.get("minutes"), f"{where}.minutes", 1, MOST_MINUTES),
            can=tuple(_windows(request["can"], f"{where}.can")),
            asked=_moment(request.get("asked"), f"{where}.asked"),
        )


def _windows(found: Any, where: str) -> Iterator[Window]:
    for at, one in enumerate(_list(found, where)):
        there = f"{where}[{at}]"
        if not isinstance(one, list) or len(one) != 3:
            _wrong("schedule.not-a-window", there, one)
        start, end = _span(one[1:], there)
        yield Window(day=_day(one[0], there), start=start, end=end)


def _moment(found: Any, where: str) -> dt.datetime | None:
    """A moment of asking; one with a zone is counted in UTC, one without is taken as it stands."""
    if found is None:
        return None
    if isinstance(found, str):
        try:
            moment = dt.datetime.fromisoformat(found)
            return moment.astimezone(dt.UTC).replace(tzinfo=None) if moment.tzinfo else moment
        except (ValueError, OverflowError):
            pass
    _wrong("schedule.not-a-moment", where, found)
