"""What form pages take in their PDF, whether a page is turned, which page numbers are missing. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from takeup.errors import NotPossible
from takeup.plan.arranging import Placed

COLOUR, GREY, BITONAL = "colour", "grey", "bitonal"
FORMS, WITHOUT_BLANKS, LAB = (COLOUR, GREY, BITONAL), "without-blanks", "lab"
HAN = "\u2e80"  # signs from here on stand close to each other
MOST_GAPS = 50  # more missing numbers than this are another way of numbering, not lost pages
LAST_NUMBER = re.compile(r"(\d+)\D*$")


@dataclass(frozen=True, slots=True, kw_only=True)
class PageForm:
    """``form``: colour as scanned, grey, or black and white alone; ``blanks``: whether blank pages come along."""

    form: str = COLOUR
    blanks: bool = True

    @property
    def word(self) -> str:
        """As a setting or an option spells it."""
        return self.form if self.blanks else f"{self.form},{WITHOUT_BLANKS}"


def plan_page_form(word: str) -> PageForm:
    """The form that a lab's setting or an option names; ``""`` is colour with every page.

    Raises
    ------
    NotPossible
        ``finish.no-such-pages``.

    Examples
    --------
    >>> plan_page_form("bitonal, without-blanks").word
    'bitonal,without-blanks'
    """
    parts = [part.strip().lower() for part in word.split(",") if part.strip()]
    forms = [part for part in parts if part in FORMS]
    if len(forms) > 1 or set(parts) - {*FORMS, WITHOUT_BLANKS}:
        raise NotPossible("finish.no-such-pages", given=word, known=", ".join((*FORMS, WITHOUT_BLANKS)))
    return PageForm(form=forms[0] if forms else COLOUR, blanks=WITHOUT_BLANKS not in parts)


def page_form_of(form: str, blanks: str) -> PageForm:
    """The form that two fields of a page name: one of ``FORMS``, and ``out`` where blank pages are left out.

    Raises
    ------
    NotPossible
        ``finish.no-such-pages``.

    Examples
    --------
    >>> page_form_of("grey", "out").word, page_form_of("grey", "").word
    ('grey,without-blanks', 'grey')
    """
    return plan_page_form(",".join([form, *([WITHOUT_BLANKS] if blanks == "out" else [])]))


def form_of_page(wanted: str, tone: float, most: float) -> str:
    """What one page becomes: a page with photographs or washes on it is never made black and white alone.

    Examples
    --------
    >>> form_of_page("bitonal", 0.2, 0.01), form_of_page("bitonal", 0.0, 0.01), form_of_page("colour", 0.2, 0.01)
    ('grey', 'bitonal', 'colour')
    """
    return GREY if wanted == BITONAL and tone > most else wanted


def lines_of(words: Iterable[tuple[str, int]]) -> str:
    """Words with the number of their line each, as lines of text; between Chinese signs there is no blank.

    Examples
    --------
    >>> lines_of([("Harbour,", 0), ("1974", 0), ("外", 1), ("婆", 1)])
    'Harbour, 1974\\n外婆'
    """
    lines: dict[int, str] = {}
    for text, line in words:
        before = lines.get(line, "")
        close = not before or (before[-1] >= HAN and text[:1] >= HAN)
        lines[line] = before + ("" if close else " ") + text
    return "\n".join(lines.values())


def turn_by_hand(arranged: Sequence[Placed] | None) -> int | None:
    """How a person turned a page, in quarter turns clockwise; None where nobody did."""
    standing = [one for one in arranged or () if not one.gone]
    return standing[0].turn % 4 if standing else None


def turn_by_text(sure: Mapping[int, float], least: float, ahead: float) -> int:
    """Which quarter turn makes a page upright, from how surely its words were read in each; 0 where that is not clear.

    Examples
    --------
    >>> turn_by_text({0: 31.0, 2: 92.0}, 60, 15), turn_by_text({0: 55.0, 2: 62.0}, 60, 15)
    (2, 0)
    """
    best = max(sure, key=lambda turn: sure[turn], default=0)
    clear = sure and sure[best] >= least and sure[best] - sure.get(0, 0.0) >= ahead
    return best if clear else 0


def missing_numbers(parts: Iterable[str]) -> tuple[int, ...]:
    """Page numbers that are skipped between the first and the last that names show; the two sides of a leaf are one.

    Examples
    --------
    >>> missing_numbers(["1", "2", "4", "5"]), missing_numbers(["2-front", "2-back"]), missing_numbers(["a", "b"])
    ((3,), (), ())
    """
    found = {int(match[1]) for part in parts if (match := LAST_NUMBER.search(part))}
    if len(found) < 2:
        return ()
    first = 1 if min(found) == 2 else min(found)
    lost = tuple(sorted(set(range(first, max(found) + 1)) - found))
    return lost if len(lost) <= min(MOST_GAPS, len(found)) else ()


def turns_told(turned: Mapping[int, int]) -> list[dict[str, Any]]:
    """Turned pages as a finished file's settings tell them: number from 1, degrees clockwise."""
    return [{"page": page, "degrees": 90 * turn} for page, turn in sorted(turned.items()) if turn % 4]
