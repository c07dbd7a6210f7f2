"""What the pages of booking say: stations, lengths, times, and why a visit cannot be, in the reader's language."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from typing import Any

from takeup.plan.opening import WhyNot
from takeup.web.ask import Ask
from takeup.web.shapes import at_time, said_day
from takeup.words.sentences import load_sentences, say


def station_name(station: Mapping[str, Any], lang: str) -> str:
    """A station's own name; its kind's when the lab gave none in that language."""
    name = station["name_zh"] if lang == "zh-Hans" else station["name_en"]
    return str(name or station["name_en"] or station.get("id", ""))


def kind_name(kind: str, lang: str) -> str:
    """What a kind of station plays, as people call it."""
    known = any(key.startswith(f"station.{kind}.") or key == f"station.{kind}" for key in load_sentences("terms"))
    return say("terms", f"station.{kind}", lang) if known else kind


def said_time(minutes: int, lang: str) -> str:
    """``14:30``; in English also as many people there say it: ``14:30 (2:30 pm)``.

    Examples
    --------
    >>> said_time(870, "en"), said_time(720, "en"), said_time(870, "zh-Hans")
    ('14:30 (2:30 pm)', '12:00 (12 noon)', '14:30')
    """
    if lang != "en" or minutes >= 1440:
        return at_time(minutes)
    if minutes == 720:
        return "12:00 (12 noon)"
    half = "am" if minutes < 720 else "pm"
    hour, rest = (minutes // 60 - 1) % 12 + 1, minutes % 60
    return f"{at_time(minutes)} ({hour}{f':{rest:02d}' if rest else ''} {half})"


def length_namer(ask: Ask) -> Callable[[int], str]:
    """Says a length: ``2 h``, ``1 h 30 min``."""

    def said(minutes: int) -> str:
        hours, rest = divmod(minutes, 60)
        if not hours:
            return ask.words("%(min)d min", min=rest)
        return ask.words("%(h)d h", h=hours) if not rest else ask.words("%(h)d h %(min)d min", h=hours, min=rest)

    return said


def why_said(ask: Ask, why: WhyNot, stations: Iterable[Mapping[str, Any]]) -> str:
    """Why a visit cannot be: one sentence, its minutes as times of day, its stations by name."""
    names = {one["id"]: station_name(one, ask.lang) for one in stations}
    facts: dict[str, Any] = {}
    for name, value in why.facts.items():
        if name.endswith("_at") and isinstance(value, int):
            facts[name] = at_time(value)
        elif isinstance(value, dt.date):
            facts[name] = said_day(value.isoformat(), ask.lang)
        elif name == "station":
            facts[name] = names.get(value, value)
        elif name == "kind":
            facts[name] = kind_name(str(value), ask.lang)
        else:
            facts[name] = value
    return say("whys", why.key, ask.lang, facts)


def page_words(ask: Ask) -> dict[str, Any]:
    """What every page of booking says things with."""
    return {
        "named": lambda station: station_name(station, ask.lang),
        "kind_named": lambda kind: kind_name(kind, ask.lang),
        "length": length_namer(ask),
        "said_day": lambda day: said_day(day if isinstance(day, str) else day.isoformat(), ask.lang),
        "said_time": lambda minutes: said_time(minutes, ask.lang),
    }
