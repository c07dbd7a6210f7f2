"""Descriptions as they are typed: their fields, and the date, which is said back in words before it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Day
from typing import Any

from takeup.web.ask import Answer, Ask, Told
from takeup.web.pages import page
from takeup.words.dates import said_of
from takeup.words.edtf import read_date
from takeup.words.typed_dates import TypedDate, read_typed

SINGLE = {"title": 300, "description": 5000, "place": 300, "creator": 300, "rights": 500, "event": 300}
SEVERAL = {"people": 2000, "keywords": 2000}
MOST_DATE = 200
AS_TEXT = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedNow:
    """What became of a typed date. Settled: ``date`` may be kept. Else somebody is to look: ``sentence`` says why."""

    settled: bool
    date: str = ""
    sentence: str = ""
    choices: tuple[tuple[str, str], ...] = ()  # (what is kept, how it is said)
    seen: str = ""  # what was typed when it was shown back
    status: int = 200


def typed_words(ask: Ask) -> dict[str, Any]:
    """The fields of a description that were filled, the date apart.

    Raises
    ------
    Refused
        When one is far longer than fits.
    """
    told: dict[str, Any] = {}
    for name, most in SINGLE.items():
        text = ask.text(name, most=most)
        if text:
            told[name] = text if name == "description" else " ".join(text.split())
    for name, most in SEVERAL.items():
        parts = [" ".join(part.split()) for part in _split(ask.text(name, most=most))]
        if parts := list(dict.fromkeys(part for part in parts if part)):
            told[name] = parts
    if ask.text("date", most=MOST_DATE):
        told["date"] = ask.text("date", most=MOST_DATE)
    return told


def _split(text: str) -> list[str]:
    for sign in ("；", "、", "\n"):
        text = text.replace(sign, ";")
    return text.split(";")


def date_of(ask: Ask) -> TypedNow:
    """The typed date, where what it means was shown and is still what is typed; else what is to be shown first."""
    typed = read_typed(ask.text("date", most=MOST_DATE), Day.today().year)
    if typed.kind == "empty":
        return TypedNow(settled=True)
    chosen, seen = ask.given.get("date_is", ""), ask.given.get("date_seen", "")
    choices = choices_of(typed, ask.lang, ask)
    if chosen and seen == typed.text and chosen in [key for key, _ in choices]:
        return TypedNow(settled=True, date=typed.text if chosen == AS_TEXT else chosen)
    if typed.kind == "read" and typed.edtf == typed.text:
        return TypedNow(settled=True, date=typed.edtf)
    sentence = {
        "read": ask.words("Is this the date you mean?"),
        "several": ask.words("This date can mean several things. Which one?"),
        "text": ask.words("Nobody here can read this as a date. It can be kept as your own words."),
    }[typed.kind]
    return TypedNow(settled=False, sentence=sentence, choices=choices, seen=typed.text, status=200)


def choices_of(typed: TypedDate, lang: str, ask: Ask) -> tuple[tuple[str, str], ...]:
    """What may be kept of a typed date, and how each is said."""
    means = [typed.edtf] if typed.edtf else list(typed.choices)
    as_text = (AS_TEXT, ask.words("Keep it as I wrote it: %(typed)s", typed=typed.text))
    return (*((one, said_of(one, lang)) for one in means), as_text)


@page("/dates", door="all")
def dates(ask: Ask) -> Answer:
    """What a typed date means, for the page's script: said back while it is typed."""
    typed = read_typed(ask.text("text", most=MOST_DATE), Day.today().year)
    choices = [{"keep": key, "said": said} for key, said in choices_of(typed, ask.lang, ask)]
    return Told(facts={"kind": typed.kind, "text": typed.text, "choices": choices})


def shown_date(text: str, lang: str) -> str:
    """A kept date in words; one that is text is given as it is."""
    return said_of(text, lang) if read_date(text) else text
