"""Measured values as people read them: their names, and the figures. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from takeup.streams import Measured, Report
from takeup.words.sentences import say

LEAST = 0.0005


def figures_of(report: Report, lang: str) -> list[tuple[str, str]]:
    """What was measured, as name and figure; what could not be measured is left out."""
    figures = [(name, figure(measured, lang)) for name, measured in report.measures.items() if measured.why is None]
    return [(measure_name(name, lang), text) for name, text in figures if text]


def figure(measured: Measured, lang: str = "en") -> str:
    """A measured value as text: numbers at three digits, lists as their count, groups by their names."""
    value = measured.value
    if value is None:
        return ""
    if isinstance(value, Mapping):
        text = ", ".join(f"{name} {_number(entry)}" for name, entry in value.items())
    elif isinstance(value, (list, tuple)):
        text = str(len(value))
    else:
        text = _number(value)
    return f"{text} {unit_name(measured.unit, lang)}".strip() if measured.unit != "1" else text


def unit_name(unit: str, lang: str) -> str:
    """A unit that is a word, in the reader's language; a symbol stays as it is."""
    try:
        return say("letter", f"unit.{unit}", lang)
    except KeyError:
        return unit


def measure_name(name: str, lang: str) -> str:
    return named_or_plain(f"measure.{name}", name, lang)


def named_or_plain(key: str, name: str, lang: str) -> str:
    """A name as people say it; one that nobody has worded yet keeps the contract's spelling, without its dashes."""
    try:
        return say("letter", key, lang)
    except KeyError:
        return name.replace("_", " ").replace("-", " ")


def _number(value: Any) -> str:
    """Three digits; what would want an exponent to be written is nothing that anybody hears or sees."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return str(value)
    if isinstance(value, int) or abs(value) >= 1000:
        return f"{value:,.0f}"
    return f"{value:.3g}" if abs(value) >= LEAST else "0"
