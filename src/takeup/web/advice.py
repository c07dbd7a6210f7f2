"""What anybody may read without signing in: keeping originals well, and what copyright means here."""

from __future__ import annotations

from takeup.tables.loader import load_rows
from takeup.web.ask import Answer, Ask, Shown
from takeup.web.pages import page
from takeup.words.sentences import say

DANGERS = ("nitrate", "mould", "vinegar", "do-not-open", "glass", "cold-originals")
RIGHTS = ("copyright", "copy-protection", "other-people", "minors", "private-content")


@page("/care", door="all")
def care(ask: Ask) -> Answer:
    """How each kind of original is kept well, from the same rows as the letter."""
    rows = load_rows()
    kinds: dict[tuple[str, ...], list[str]] = {}  # carriers kept alike stand together
    for carrier in rows.names("carriers"):
        if f"care.{carrier}.advice" in rows:
            kinds.setdefault(tuple(rows.value(f"care.{carrier}.advice")), []).append(carrier)
    facts = {
        "everybody": [_said(key, ask.lang) for key in rows.value("care.everybody.advice")],
        "kinds": [
            (
                [say("terms", f"carrier.{carrier}", ask.lang) for carrier in carriers],
                [_said(key, ask.lang) for key in keys],
            )
            for keys, carriers in kinds.items()
        ],
        "dangers": [say("cautions", key, ask.lang) for key in DANGERS],
        "defer": _said("defer", ask.lang),
    }
    return Shown(template="care.html", facts=facts)


@page("/copyright", door="all")
def copyright_(ask: Ask) -> Answer:
    return Shown(template="copyright.html", facts={"rights": [say("cautions", key, ask.lang) for key in RIGHTS]})


def _said(key: str, lang: str) -> str:
    return say("letter", key, lang)
