"""A picture of one capture to keep or print: its label, verdict, thread or glass, and the worst places in words.

Pure: a report with its sentences in, an SVG text out that stands alone.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import escape

from takeup.pages import bed, thread
from takeup.pages.signs import CARD, DRESS, INK, PAPER, QUIET, RULE, shape
from takeup.streams import Original, Report, Still
from takeup.words.sentences import say
from takeup.words.units import clock

WIDTH, EDGE = 1200, 48  # of the whole picture, and its margin [units]
SANS = "'Noto Sans', 'Noto Sans CJK SC', 'PingFang SC', 'Microsoft YaHei', 'Segoe UI', 'DejaVu Sans', sans-serif"
SERIF = "'Noto Serif', 'Noto Serif CJK SC', 'Songti SC', Georgia, 'DejaVu Serif', serif"
WORST = 6  # places told in words
LINE_EM = 39.5  # width of a line of them, in their own height
LATIN_EM = 0.52  # width of a Latin letter, on the whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place worth telling: its verdict, its sentence, when it is (or None)."""

    verdict: str
    sentence: str
    from_s: float | None = None


def capture_picture(
    report: Report,
    original: Original,
    places: Sequence[Place],
    lang: str,
    *,
    file: str = "",
    glass: tuple[float, float] | None = None,
) -> str:
    """The whole picture as SVG text.

    Parameters
    ----------
    places : sequence of Place
        What was noticed, in words, the gravest first.
    file : str
        The capture's name, told under the label.
    glass : (width, height) or None
        Size of a scan [px]; guessed from what lies on it when not known.
    """
    y = EDGE
    lines = _label(original, file, lang, y) + _verdict(report, lang, y)
    y += 150
    if report.medium == "scan":
        drawn, high = _glass(report, glass)
    else:
        drawn, high = _thread(report)
    lines.append(
        f'<rect x="{EDGE}" y="{y}" width="{WIDTH - 2 * EDGE}" height="{high + 48}" fill="{CARD}" stroke="{RULE}"/>'
    )
    lines.append(f'<g transform="translate({EDGE + 24} {y + 24})">{drawn}</g>')
    y += high + 48 + 44
    told, y = _told(report, places, lang, y)
    lines += told
    title = say("letter", "capture.title", lang, {"item": original.id or original.carrier})
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{y}" viewBox="0 0 {WIDTH} {y}" role="img" '
        f'lang="{lang}" font-family="{escape(SANS)}"><title>{escape(title)}</title>'
        f'<rect width="{WIDTH}" height="{y}" fill="{PAPER}"/>{"".join(lines)}</svg>\n'
    )


def _label(original: Original, file: str, lang: str, y: int) -> list[str]:
    """The luggage label with the id, and beside it what the original is."""
    id = original.id or "·"
    size = 46 if len(id) <= 4 else 26 if len(id) <= 10 else 13
    carrier = _capital(say("terms", f"carrier.{original.carrier}", lang))
    x = EDGE + 230
    outline = f"M{EDGE + 22} {y} H{EDGE + 200} V{y + 108} H{EDGE} V{y + 22} Z"
    lines = [
        f'<path d="{outline}" fill="{CARD}" stroke="{INK}" stroke-width="1.6"/>',
        f'<circle cx="{EDGE + 26}" cy="{y + 54}" r="9" fill="{PAPER}" stroke="{INK}" stroke-width="2"/>',
        f'<path d="M0 {y + 54} H{EDGE + 26}" stroke="{INK}" stroke-width="2.4"/>',
        _text(EDGE + 186, y + 54 + size * 0.35, id, size, weight="bold", anchor="end"),
    ]
    heading = cut(original.label or carrier, 17)
    lines.append(_text(x, y + 42, heading, 34, family=SERIF))
    lines.append(_text(x, y + 80, carrier if original.label else "", 22, colour=QUIET))
    lines.append(_text(x, y + 108, cut(file, 34), 18, colour=QUIET))
    return lines


def _verdict(report: Report, lang: str, y: int) -> list[str]:
    verdict = report.verdict
    word = {"look": "listen"} if report.medium == "sound" else {"redo": "rescan"} if report.medium == "scan" else {}
    text = say("terms", f"verdict.{word.get(verdict, verdict)}", lang)
    wide = 78 + round(width_of(text) * 26)
    x = WIDTH - EDGE - wide
    dress = DRESS[verdict]
    return [
        f'<rect x="{x}" y="{y}" width="{wide}" height="56" fill="{dress.tint}"/>'
        f'<rect x="{x}" y="{y}" width="7" height="56" fill="{dress.ink}"/>'
        f'<g transform="translate({x + 20} {y + 13}) scale(1.25)">{shape(verdict, ground=dress.tint)}</g>',
        _text(x + 62, y + 37, text, 26, colour=dress.ink, weight="normal" if lang == "zh-Hans" else "bold"),
    ]


def _thread(report: Report) -> tuple[str, int]:
    """The thread and its height; moving pictures lie along it as small pictures when there are some."""
    wide = WIDTH - 2 * EDGE - 48
    stills = report.stills if report.medium in ("video", "film") else ()
    if stills:
        stills = _spread(stills, 10)
        high = round(wide / len(stills) * stills[0].height / stills[0].width) + 40
    else:
        high = 150 if report.medium == "sound" else 60
    size = thread.Size(width=wide, height=high)
    return thread.parts([report], size=size, stills=stills), high + 30


def _spread(stills: Sequence[Still], count: int) -> tuple[Still, ...]:
    """At most ``count`` of some pictures, evenly over the time."""
    ordered = sorted(stills, key=lambda still: still.at_s)
    if len(ordered) <= count:
        return tuple(ordered)
    return tuple(ordered[round(at * (len(ordered) - 1) / (count - 1))] for at in range(count))


def _glass(report: Report, glass: tuple[float, float] | None) -> tuple[str, int]:
    """The glass, never taller than wide: a tall one is made narrower."""
    glass = glass or bed.extent_of(report)
    wide = WIDTH - 2 * EDGE - 48
    width = min(wide, round(wide * glass[0] / glass[1]))
    still = report.stills[0] if report.stills else None
    drawn = bed.parts(report, glass=glass, still=still, width=width)
    return f'<g transform="translate({(wide - width) // 2} 0)">{drawn}</g>', round(width * glass[1] / glass[0])


def _told(report: Report, places: Sequence[Place], lang: str, y: int) -> tuple[list[str], int]:
    """The worst places in words, and where the picture ends."""
    grave = [place for place in places if place.verdict != "good"]
    lines = []
    if not grave:
        lines.append(_text(EDGE, y, say("letter", "found.nothing", lang), 24))
        return lines, y + EDGE
    for place in grave[:WORST]:
        lines.append(f'<g transform="translate({EDGE} {y - 21}) scale(1.1)">{shape(place.verdict, ground=PAPER)}</g>')
        if place.from_s is not None:
            lines.append(_text(EDGE + 44, y, clock(place.from_s), 24, weight="bold"))
        for line in wrapped(place.sentence, LINE_EM):
            lines.append(_text(EDGE + 140, y, line, 24))
            y += 36
        y += 12
    if len(grave) > WORST:
        lines.append(
            _text(EDGE + 140, y, say("letter", "capture.more", lang, {"count": len(grave) - WORST}), 20, colour=QUIET)
        )
        y += 36
    return lines, y + EDGE - 24


def _text(
    x: float, y: float, text: str, size: int, *, colour: str = INK, weight: str = "normal", anchor: str = "start",
    family: str = "",
) -> str:  # fmt: skip
    if not text:
        return ""
    face = f' font-family="{escape(family)}"' if family else ""
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


def _capital(words: str) -> str:
    for article in ("an ", "a "):
        words = words.removeprefix(article)
    return words[:1].upper() + words[1:]
