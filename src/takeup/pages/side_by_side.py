"""A picture before and after something is put right, beside each other, for a person to choose by. Pure."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from takeup.pages.capture import SANS
from takeup.pages.signs import CARD, INK, PAPER, QUIET, RULE
from takeup.pages.written import cut, text_at, wrapped
from takeup.streams import Still
from takeup.words.sentences import say

WIDTH, EDGE, GAP = 1600, 40, 40  # of the drawing, its margin, between the two [units]
TALLEST = 1100  # of a picture [units]
HEAD, LABEL, LINE = 34, 26, 20  # sizes of letters [units]
LANGS = ("en", "zh-Hans")


def side_by_side(title: str, before: Still, after: Still, notes: Sequence[tuple[str, dict]]) -> str:
    """The drawing as SVG text that stands alone.

    Parameters
    ----------
    title : str
        Which picture this is.
    before, after : Still
        Alike in size.
    notes : sequence of (key, facts)
        What is put right, and what was asked for and is not: keys of ``words/notes``.
    """
    wide = (WIDTH - 2 * EDGE - GAP) / 2
    zoom = min(wide / before.width, TALLEST / before.height)
    top = EDGE + HEAD + LABEL + 40
    foot = top + before.height * zoom
    lines = [text_at(EDGE, EDGE + HEAD * 0.8, cut(title, (WIDTH - 2 * EDGE) / HEAD), HEAD, weight="bold", family=SANS)]
    for at, (still, key) in enumerate(((before, "finish.before"), (after, "finish.after"))):
        left = EDGE + at * (wide + GAP)
        label = " / ".join(say("answers", key, lang, {}) for lang in LANGS)
        lines.append(text_at(left, top - 16, label, LABEL, family=SANS))
        place = f'x="{left:g}" y="{top:g}" width="{still.width * zoom:g}" height="{still.height * zoom:g}"'
        data = base64.b64encode(still.jpeg).decode()
        lines.append(f'<rect {place} fill="{CARD}" stroke="{RULE}"/>')
        lines.append(f'<image {place} preserveAspectRatio="none" href="data:image/jpeg;base64,{data}"/>')
    y = foot + 24.0
    for key, facts in notes:
        for lang, colour in zip(LANGS, (INK, QUIET), strict=True):
            for line in wrapped(say("notes", key, lang, facts), (WIDTH - 2 * EDGE) / LINE):
                y += LINE * 1.45
                lines.append(text_at(EDGE, y, line, LINE, colour=colour, family=SANS, lang=lang))
    height = round(y + EDGE)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}">'
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>{"".join(lines)}</svg>'
    )
