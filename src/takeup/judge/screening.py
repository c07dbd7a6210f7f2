"""What is done with an original before any capture: accepted, prepared first, asked about, refused. Pure.

Every condition word of the item list is answered by a row of ``tables/screening.toml``; a word that no row knows, or
that is unusual for the carrier, is asked about and never ignored. The most severe outcome wins; all reasons stand.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Literal

from takeup.streams import NO_FACTS, Original
from takeup.tables.rows import Row, Rows

Outcome = Literal["accept", "prepare", "ask", "refuse"]
SEVERITY: tuple[Outcome, ...] = ("accept", "prepare", "ask", "refuse")
FIGURES = ("shrunk", "acid")  # condition words that carry a number
NUMBER = r"\d+(?:[.,]\d+)?"
FIGURE = re.compile(rf"^({NUMBER})(?:(?:\.\.|-|–)({NUMBER})|(?:\+-|±)({NUMBER}))?%?$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason of an outcome: a key of ``words/screening/``, the facts that fill it, the row it rests on."""

    key: str
    outcome: Outcome
    row: Row
    facts: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Screening:
    """The outcome for one original: its reasons (the most severe first) and the cautions to hand over with it."""

    item: str
    outcome: Outcome
    reasons: tuple[Reason, ...]
    cautions: tuple[str, ...] = ()  # keys of words/cautions/


def read_figure(text: str) -> tuple[float, float]:
    """The lower and upper end of a figure as people write it: ``1.2``, ``0.7-0.9``, ``0.7..0.9``, ``0.8±0.1``.

    Raises
    ------
    ValueError
        If it is none of these.
    """
    found = FIGURE.match(text.strip().replace(" ", ""))
    if not found:
        raise ValueError(text)
    low, high, spread = (float(part.replace(",", ".")) if part else None for part in found.groups())
    assert low is not None
    if spread is not None:
        return max(0.0, low - spread), low + spread
    if high is not None and high < low:
        raise ValueError(text)
    return low, low if high is None else high


def judge_original(original: Original, rows: Rows) -> Screening:
    """Screen one original by its carrier, its condition words and what is known of it.

    Parameters
    ----------
    original : Original
        Condition words as ``box.items`` leaves them: lower case, figures as ``shrunk=1.2``.
    rows : Rows
        With the table ``screening``.
    """
    kind = str(rows.value(f"screening.kinds.{original.carrier}"))
    reasons = [*_of_carrier(original, rows)]
    for word in original.condition:
        reasons += _of_condition(word, kind, original.carrier, rows)
    if kind == "film" and original.sound in ("stripe", "optical"):
        reasons.append(_reason(f"film-sound.{original.sound}", rows["screening.film-sound.film"]))
    elif kind == "film" and original.sound is None:
        reasons.append(_reason("film-sound.look", rows["screening.carrier.nothing-noted"]))
    if all(reason.key == "film-sound.look" for reason in reasons):
        reasons.insert(0, _reason("nothing-noted", rows["screening.carrier.nothing-noted"]))
    reasons.sort(key=lambda reason: -SEVERITY.index(reason.outcome))
    return Screening(
        item=original.id,
        outcome=reasons[0].outcome,
        reasons=tuple(reasons),
        cautions=_cautions(original, rows),
    )


def _of_carrier(original: Original, rows: Rows) -> list[Reason]:
    if original.carrier != "other":
        return []
    if not original.carrier_word:
        return [_reason("carrier.other", rows["screening.carrier.other"])]
    carriers = [name for name in rows.section("screening.kinds") if name != "other"]
    near = get_close_matches(original.carrier_word, carriers, n=1, cutoff=rows.value("screening.nearly.likeness"))
    facts = {"word": original.carrier_word, "nearest": near[0] if near else ""}
    called = "nearly" if near else "unlisted"
    return [_reason(f"carrier.{called}", rows[f"screening.carrier.{called}"], facts)]


def _of_condition(word: str, kind: str, carrier: str, rows: Rows) -> list[Reason]:
    name, equals, figure = word.partition("=")
    facts = {"word": word, "carrier": carrier}
    if word.endswith(("?", "？")) and len(word) > 1:
        return [_reason("not-sure", rows["screening.carrier.not-sure"], {"word": word[:-1], "carrier": carrier})]
    row = None if name in NOT_CONDITIONS else rows.get(f"screening.{name}.{kind}")
    if name in FIGURES and equals:
        if row is not None:
            return [_of_figure(name, figure, row)]
    elif row is not None and name not in FIGURES:
        return [_reason(f"{name}.{kind}", row, facts)]
    known = name not in NOT_CONDITIONS and any(key.startswith(f"screening.{name}.") for key in rows)
    key = "condition-unusual" if known and bool(equals) == (name in FIGURES) else "condition-unknown"
    return [_reason(key, rows[f"screening.carrier.{key}"], facts)]


NOT_CONDITIONS = (
    "kinds",
    "carrier",
    "nearly",
    "spelled",
    "cautions",
    "film-sound",
)  # sections of the table that no condition word names


def _of_figure(name: str, figure: str, row: Row) -> Reason:
    low, high = read_figure(figure)
    outcome, step = "accept", ""
    for limit, at, called in row.value:
        if high >= limit:
            outcome, step = at, called
    facts = {"value": high, "low": low, "measured": figure}
    return Reason(key=f"{name}.{step}", outcome=_outcome(outcome), row=row, facts=facts)


def _cautions(original: Original, rows: Rows) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for word in original.condition:
        row = rows.get(f"screening.cautions.{word.partition('=')[0]}")
        starting = word.partition("=")[2]
        if row is not None and not (starting and read_figure(starting)[1] == 0):
            found |= dict.fromkeys(row.value)
    return tuple(found)


def _reason(key: str, row: Row, facts: Mapping[str, Any] = NO_FACTS) -> Reason:
    return Reason(key=key, outcome=_outcome(row.value), row=row, facts=facts)


def _outcome(word: Any) -> Outcome:
    if word not in SEVERITY:
        raise ValueError(f"screening outcome {word!r}")
    return word
