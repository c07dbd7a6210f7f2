"""A picture of one capture to keep or print: its label, verdict, thread or glass, and the worst places in words.

Pure: a report with its sentences in, an SVG text out that stands alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from markupsafe import escape

from takeup.pages import bed, thread
from takeup.pages.figures import figures_of
from takeup.pages.over_time import has_history, over_time, told_in_words
from takeup.pages.signs import CARD, DRESS, INK, PAPER, QUIET, RULE, shape
from takeup.pages.written import BOLD, cut, text_at, width_of, wrapped
from takeup.streams import Original, Report, Still
from takeup.words.sentences import say
from takeup.words.units import clock

WIDTH, EDGE = 1200, 48  # of the whole picture, and its margin [units]
SANS = (
    "'Noto Sans', 'Noto Sans CJK SC', 'Noto Sans SC', 'PingFang SC', 'Microsoft YaHei', 'Segoe UI', 'DejaVu Sans', "
    "sans-serif"
)
SERIF = "'Noto Serif', 'Noto Serif CJK SC', 'Noto Serif SC', 'Songti SC', Georgia, 'DejaVu Serif', serif"
GAP = 44  # between columns of figures [units]
WORST = 6  # places told in words
LINE_EM = 39.5  # width of a line of them, in their own height
SEEN = 128  # width of the small picture beside a place [units]
SOUND_BAND = 34  # height of the sound's silhouette under a strip of pictures [units]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place worth telling: its verdict, its sentence, when it is, that there are more like it."""

    verdict: str
    sentence: str
    from_s: float | None = None
    more: str = ""
    still: Still | None = None  # what is seen there


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
        drawn, high = _thread(report, lang)
    lines.append(
        f'<rect x="{EDGE}" y="{y}" width="{WIDTH - 2 * EDGE}" height="{high + 48}" fill="{CARD}" stroke="{RULE}"/>'
    )
    lines.append(f'<g transform="translate({EDGE + 24} {y + 24})">{drawn}</g>')
    y += high + 48 + 44
    told, y = _told(report, places, lang, y)
    lines += told
    desc = ""
    if has_history(report):
        drawn, y = _behind(report, lang, y)
        lines += drawn
        desc = f"<desc>{escape(told_in_words(report, lang))}</desc>"
    title = say("letter", "capture.title", lang, {"item": original.id or original.carrier})
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{y}" viewBox="0 0 {WIDTH} {y}" role="img" '
        f'lang="{lang}" font-family="{escape(SANS)}"><title>{escape(title)}</title>{desc}'
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
        text_at(EDGE + 186, y + 54 + size * 0.35, id, size, weight="bold", anchor="end"),
    ]
    heading = cut(original.label or carrier, 17)
    lines.append(text_at(x, y + 42, heading, 34, family=SERIF))
    lines.append(text_at(x, y + 80, carrier if original.label else "", 22, colour=QUIET))
    lines.append(text_at(x, y + 108, cut(file, 34), 18, colour=QUIET))
    return lines


def _verdict(report: Report, lang: str, y: int) -> list[str]:
    verdict = report.verdict
    word = {"look": "listen"} if report.medium == "sound" else {"redo": "rescan"} if report.medium == "scan" else {}
    text = say("terms", f"verdict.{word.get(verdict, verdict)}", lang)
    wide = 78 + round(width_of(text) * 26 * BOLD)
    x = WIDTH - EDGE - wide
    dress = DRESS[verdict]
    return [
        f'<rect x="{x}" y="{y}" width="{wide}" height="56" fill="{dress.tint}"/>'
        f'<rect x="{x}" y="{y}" width="7" height="56" fill="{dress.ink}"/>'
        f'<g transform="translate({x + 20} {y + 13}) scale(1.25)">{shape(verdict, ground=dress.tint)}</g>',
        text_at(x + 62, y + 37, text, 26, colour=dress.ink, weight="normal" if lang == "zh-Hans" else "bold"),
    ]


def _thread(report: Report, lang: str) -> tuple[str, int]:
    """The thread and its height; moving pictures lie along it as small pictures when there are some."""
    wide = WIDTH - 2 * EDGE - 48
    stills = report.stills if report.medium in ("video", "film") else ()
    if stills:
        stills = _spread(stills, 10)
        high = round(wide / len(stills) * stills[0].height / stills[0].width) + 30
    else:
        high = 150 if report.medium == "sound" else 60
    band = SOUND_BAND if stills and any(report.trace.level) else 0
    size = thread.Size(width=wide, height=high, band=band)
    return thread.parts([report], size=size, stills=stills, langs=(lang,)), high + band + 30


def _behind(report: Report, lang: str, y: int) -> tuple[list[str], int]:
    """What was measured, under a rule and quieter: the sound over time, on the thread's own scale, and the figures."""
    y -= 20
    drawn = over_time(report, width=WIDTH - 2 * EDGE - 48, langs=(lang,))
    lines = [
        f'<path d="M{EDGE} {y} H{WIDTH - EDGE}" stroke="{RULE}" stroke-width="0.8"/>',
        f'<g transform="translate({EDGE + 24} {y + 28})">{drawn.parts}</g>',
    ]
    y += 28 + ceil(drawn.height) + 36
    wide = (WIDTH - 2 * EDGE - 48 + GAP) / 3
    figures = figures_of(report, lang)
    for at, (name, text) in enumerate(figures):
        left, line = EDGE + 24 + wide * (at % 3), y + 28 * (at // 3)
        right = left + wide - GAP
        lines.append(text_at(left, line, name, 15, colour=QUIET) + text_at(right, line, text, 15, anchor="end"))
        lines.append(f'<path d="M{left:g} {line + 8:g} H{right:g}" stroke="{RULE}" stroke-width="0.4"/>')
    return lines, y + 28 * ceil(len(figures) / 3) + 20


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
        lines.append(text_at(EDGE, y, say("letter", "found.nothing", lang), 24))
        return lines, y + EDGE
    for place in grave[:WORST]:
        lines.append(f'<g transform="translate({EDGE} {y - 21}) scale(1.1)">{shape(place.verdict, ground=PAPER)}</g>')
        if place.from_s is not None:
            lines.append(text_at(EDGE + 44, y, clock(place.from_s), 24, weight="bold"))
        left, ends = EDGE + 140, y
        if place.still is not None:
            high = round(SEEN * place.still.height / place.still.width)
            lines.append(thread.small_picture(place.still, left, y - 24, SEEN, high))
            left, ends = left + SEEN + 20, y + high
        room = LINE_EM - (left - EDGE - 140) / 24
        for line in wrapped(place.sentence, room):
            lines.append(text_at(left, y, line, 24))
            y += 36
        if place.more:
            lines.append(text_at(left, y, place.more, 20, colour=QUIET))
            y += 36
        y = max(y, ends) + 12
    if len(grave) > WORST:
        lines.append(
            text_at(EDGE + 140, y, say("letter", "capture.more", lang, {"count": len(grave) - WORST}), 20, colour=QUIET)
        )
        y += 36
    return lines, y + EDGE - 24


def _capital(words: str) -> str:
    for article in ("an ", "a "):
        words = words.removeprefix(article)
    return words[:1].upper() + words[1:]
