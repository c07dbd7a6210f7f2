"""Words inside a drawing: placed, cut and broken to a width. A drawing cannot measure its letters: it guesses."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import escape

from takeup.pages.signs import CARD, INK
from takeup.words.sentences import say

LATIN_EM = 0.52  # width of a Latin letter, on the whole
BOLD = 1.22  # how much wider bold letters run


def text_at(
    x: float, y: float, text: str, size: float, *, colour: str = INK, weight: str = "normal", anchor: str = "start",
    family: str = "", lang: str = "", halo: bool = False,
) -> str:  # fmt: skip
    """One line of text as SVG. ``halo`` keeps it readable over what is drawn behind it."""
    if not text:
        return ""
    face = f' font-family="{escape(family)}"' if family else ""
    face += f' lang="{lang}"' if lang else ""
    face += f' stroke="{CARD}" stroke-width="4" stroke-linejoin="round" paint-order="stroke"' if halo else ""
    dress = f'font-size="{size}" font-weight="{weight}" text-anchor="{anchor}" fill="{colour}"{face}'
    return f'<text x="{x:g}" y="{y:g}" {dress}>{escape(printable(text))}</text>'


def printable(text: str) -> str:
    """A text without what XML cannot hold and nobody can see: control signs, half surrogates."""
    return "".join(sign if unicodedata.category(sign) not in ("Cc", "Cs", "Cn") else " " for sign in text)


def width_of(text: str) -> float:
    """How wide a text runs, in its own height: Han and other wide signs 1, Latin a little over a half."""
    return sum(1.0 if unicodedata.east_asian_width(sign) in "WF" else LATIN_EM for sign in text)


def cut(text: str, wide_em: float) -> str:
    """A text cut to a width [its own height], with an ellipsis where something went."""
    if width_of(text) <= wide_em:
        return text
    while text and width_of(text) > wide_em - 1:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, wide_em: float) -> list[str]:
    """A sentence in lines of a width [its own height]; Han may break anywhere but before a stop."""
    lines, line = [], ""
    for word in _words(text):
        if line and width_of((line + word).rstrip()) > wide_em and word.strip() not in "。，；：、）？":
            lines.append(line.rstrip())
            line = word.lstrip()
        else:
            line += word
    return [*lines, line.rstrip()] if line.strip() else lines


def _words(text: str) -> list[str]:
    """Pieces between which a line may break: Latin words with the space after them, Han signs one by one."""
    words, word = [], ""
    for sign in text:
        if unicodedata.east_asian_width(sign) in "WF":
            words += [word, sign] if word else [sign]
            word = ""
        else:
            word += sign
            if sign == " ":
                words.append(word)
                word = ""
    return [*words, word] if word else words


def said_at(
    x: float, y: float, key: str, langs: Sequence[str], facts: Mapping[str, Any], size: float, **dress: Any
) -> str:
    """A sentence of ``words/letter`` in each of some languages at one place; a page of both shows one of them."""
    return "".join(text_at(x, y, say("letter", key, lang, facts), size, lang=lang, **dress) for lang in langs)
