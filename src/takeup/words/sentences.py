"""Makes sentences from keys and facts, in English and Simplified Chinese.

Each folder ``words/<table>/`` is one table of sentences, a TOML file per subject: ``[key]`` with ``en`` and ``zh``
(and, for findings, ``do.en`` and ``do.zh``).
Sentences fill ``{name}`` from facts; ``{from_s:clock}`` prints seconds as m:ss or h:mm:ss, ``{bytes:size}`` bytes in
both units, ``{x:1}`` one decimal, ``{share:percent}`` a share as per cent. A fact ``@carrier.vhs`` is a term of
``words/terms/`` and is said in the reader's language.
"""

from __future__ import annotations

import string
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from takeup.words.units import clock, size

FOLDER = Path(__file__).parent
LANGUAGES = {"en": "en", "zh-Hans": "zh"}  # as people ask for them -> as the tables spell them


@cache
def load_sentences(table: str) -> dict[str, Any]:
    """One table of sentences, all subjects of ``words/<table>/`` together, flattened to dotted keys.

    Raises
    ------
    ValueError
        If two subjects word the same key.
    """
    sentences: dict[str, Any] = {}
    for path in sorted((FOLDER / table).glob("*.toml")):
        subject = _flat(tomllib.loads(path.read_text("utf-8")))
        if twice := sentences.keys() & subject.keys():
            raise ValueError(f"{path}: already worded elsewhere: {sorted(twice)}")
        sentences |= subject
    return sentences


def say(table: str, key: str, lang: str, facts: Mapping[str, Any] | None = None, *, part: str = "") -> str:
    """The sentence ``key`` of a table in a language.

    Parameters
    ----------
    table, key : str
        the folder ``words/<table>/`` and a section in it. An unknown key ``a.b`` falls back to ``a``.
    lang : str
        ``en`` or ``zh-Hans``.
    facts : mapping
        Fill the sentence's ``{names}``.
    part : str
        A second sentence under the same key (``do``, ``try``); empty for the sentence itself.

    Raises
    ------
    KeyError
        If neither key is there: a fault of the program, caught by the house tests.
    """
    sentences = load_sentences(table)
    tail = f".{part}.{LANGUAGES[lang]}" if part else f".{LANGUAGES[lang]}"
    while key + tail not in sentences:
        key, dot, _ = key.rpartition(".")
        if not dot:
            raise KeyError(f"words/{table}/ has no {key}{tail}")
    return _Filler().vformat(
        sentences[key + tail], (), {name: _term(fact, lang) for name, fact in (facts or {}).items()}
    )


def _term(fact: Any, lang: str) -> Any:
    """``@carrier.vhs`` in a fact stands for that term in the reader's language; anything else is itself."""
    if isinstance(fact, str) and fact.startswith("@"):
        return load_sentences("terms").get(f"{fact[1:]}.{LANGUAGES[lang]}", fact)
    return fact


class _Filler(string.Formatter):
    def format_field(self, value: Any, form: str) -> str:
        if value is None:
            return "?"
        if form == "clock":
            return clock(value)
        if form == "size":
            return size(value)
        if form == "percent":
            return f"{100 * value:.3g} %"
        if form.isdigit():
            return f"{value:.{form}f}"
        if form == "" and isinstance(value, (list, tuple)):
            return ", ".join(str(part) for part in value)
        return super().format_field(value, form)


def _flat(body: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in body.items():
        key = f"{above}.{name}" if above else name
        if isinstance(value, dict):
            flat |= _flat(value, key)
        else:
            flat[key] = value
    return flat
