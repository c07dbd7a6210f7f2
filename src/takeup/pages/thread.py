"""A capture as one horizontal thread: what was recorded as a quiet silhouette, unrecorded dotted, findings as knots.

Pure: reports in, SVG out. Several captures of one original (parts of a reel) follow each other on one thread.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from markupsafe import Markup, escape

from takeup.pages.knots import KNOT, Knot, count_of, draw_knot, draw_stretches, each, readable, seconds_of, stitches
from takeup.pages.signs import INK, QUIET, SILHOUETTE
from takeup.pages.written import said_at
from takeup.streams import Report, Still
from takeup.words.sentences import LANGUAGES
from takeup.words.units import clock

STEPS_S = (5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)  # what a scale may count in [s]
TICK_ROOM = 115  # least distance of two times on the scale [units of the drawing]
COLUMN, BAR = 4, 2.4  # width of one column of the silhouette, and of the stroke in it [units of the drawing]
NOTHING_ROOM = 130  # least length of a dotted stretch that is told in words [units]
LOUD_FROM, LOUD_SPAN = 40, 56  # level codes (dBFS + 100) drawn from nothing to full height


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a thread is drawn [units of the drawing]."""

    width: int = 960
    height: int = 92  # of the band above the scale
    scale: bool = True
    band: int = 0  # height of a sound's silhouette between a strip of pictures and the scale


def thread(
    reports: Sequence[Report],
    *,
    size: Size = Size(),
    stills: Sequence[Still] = (),
    name: str = "alone",
    langs: Sequence[str] = tuple(LANGUAGES),
) -> Markup:
    """The thread as an SVG picture, silent for screen readers: its findings stand beside it in words.

    Parameters
    ----------
    reports : sequence of Report
        The captures it was made from, in the order in which they play.
    size : Size
        Width and height; with or without the scale in minutes.
    stills : sequence of Still
        Small pictures to lay along the thread instead of a silhouette.
    name : str
        A further class of the picture, for the page that holds it.
    langs : sequence of str
        The languages of the few words in it; a page of both shows one.
    """
    whole = size.height + size.band + (30 if size.scale else 0)
    inside = parts(reports, size=size, stills=stills, langs=langs)
    frame = f'class="thread {name}" viewBox="0 0 {size.width} {whole}" aria-hidden="true" focusable="false"'
    return Markup(f"<svg {frame}>{inside}</svg>")


def parts(reports: Sequence[Report], *, size: Size, stills: Sequence[Still] = (), langs: Sequence[str]) -> str:
    """The thread without its frame, to be laid into a larger drawing."""
    total = seconds_of(reports)
    marks, single = readable(reports, size.width), each(reports)
    columns = _columns(reports, size.width // COLUMN, total)
    y = size.height - KNOT / 2 if stills else size.height / 2
    lines = [_pictures(stills, size, total) if stills else _silhouette(columns, size)]
    if size.band:
        heard = [(_loud(report, first, last), True) for report, first, last in _shares(reports, len(columns), total)]
        lines.append(f'<g transform="translate(0 {size.height})">{_silhouette(heard, Size(height=size.band))}</g>')
    lines.append(_line(columns, marks, size.width, y))
    if not stills:
        lines.append(_nothing(columns, size, y, langs))
    lines += [stitches(single, size.width, y), draw_stretches(single, size.width, y)]
    lines += [draw_knot(knot, size.width, y) for knot in marks]
    below = y - KNOT / 2 - 6 if stills else y + KNOT / 2 + 13
    lines += [count_of(knot, size.width, below, langs) for knot in marks]
    lines.append(_begun(reports, total, size.width, y))
    if size.scale and total > 0:
        lines.append(scale(total, size.width, size.height + size.band + 22))
    return "".join(lines)


def _begun(reports: Sequence[Report], total: float, width: int, y: float) -> str:
    """Where another recording begins on the same tape: a stroke across the thread with its number, from 2 on."""
    lines, before, number = [], 0.0, 1
    for report in reports:
        measured = report.measures.get("recordings")
        for at_s in measured.extra.get("from_s", [])[1:] if measured is not None and total > 0 else ():
            number += 1
            x = min((before + at_s) / total, 1.0) * width
            lines.append(f'<path class="begins" d="M{x:.1f} {y - 17:g}v34" stroke="{INK}" stroke-width="2"/>')
            lines.append(
                f'<text x="{x + 5:.1f}" y="{y - 8:g}" font-size="14" fill="{INK}" stroke="#fff" stroke-width="3" '
                f'paint-order="stroke">{number}</text>'
            )
        before += report.seconds or 0.0
    return "".join(lines)


def _columns(reports: Sequence[Report], count: int, total: float) -> list[tuple[float, bool]]:
    """The thread in ``count`` columns: height 0 to 1 and whether something was recorded there."""
    if total <= 0:
        return [(0.0, True)] * count
    return [_column(report, first, last) for report, first, last in _shares(reports, count, total)]


def _shares(reports: Sequence[Report], count: int, total: float) -> Iterator[tuple[Report, float, float]]:
    """Each column's capture, and the column's begin and end on that capture's own clock [s]."""
    ends = [0.0]
    for report in reports:
        ends.append(ends[-1] + (report.seconds or 0.0))
    at = 0
    for column in range(count):
        first, last = total * column / count, total * (column + 1) / count
        while at + 1 < len(reports) and first >= ends[at + 1]:
            at += 1
        yield reports[at], first - ends[at], last - ends[at]


def _column(report: Report, first_s: float, last_s: float) -> tuple[float, bool]:
    trace = report.trace
    begin = int(first_s / trace.step_s)
    end = max(begin + 1, int(last_s / trace.step_s))
    levels, flags = trace.level[begin:end], trace.recorded[begin:end]
    recorded = sum(flags) * 2 >= len(flags) if flags else not trace.recorded
    if not levels or report.medium != "sound":  # moving pictures show themselves; their sound has its own band
        return 0.0, recorded
    return _loud(report, first_s, last_s), recorded


def _loud(report: Report, first_s: float, last_s: float) -> float:
    """Height of a column of the silhouette, 0 to 1: its louder third."""
    trace = report.trace
    begin = int(first_s / trace.step_s)
    levels = trace.level[begin : max(begin + 1, int(last_s / trace.step_s))]
    if not levels:
        return 0.0
    loud = sum(sorted(levels)[-max(1, len(levels) // 3) :]) / max(1, len(levels) // 3)
    return min(max((loud - LOUD_FROM) / LOUD_SPAN, 0.0), 1.0) ** 1.4


def _silhouette(columns: list[tuple[float, bool]], size: Size) -> str:
    """Fine upright strokes, as long above the thread as below; nothing where nothing was recorded."""
    middle, reach = size.height / 2, size.height / 2 - 2
    strokes = [
        f"M{(at + 0.5) * COLUMN:g},{middle - height * reach:.1f}V{middle + height * reach:.1f}"
        for at, (height, recorded) in enumerate(columns)
        if recorded and height * reach >= 0.5
    ]
    if not strokes:
        return ""
    return f'<path class="silhouette" stroke="{SILHOUETTE}" stroke-width="{BAR}" d="{"".join(strokes)}"/>'


def _nothing(columns: list[tuple[float, bool]], size: Size, y: float, langs: Sequence[str]) -> str:
    """Said over a dotted stretch that is long enough for it: nothing was recorded there."""
    if size.height < 60:
        return ""
    lines, start = [], 0
    for at in range(1, len(columns) + 1):
        if at == len(columns) or columns[at][1] != columns[start][1]:
            if not columns[start][1] and (at - start) * COLUMN >= NOTHING_ROOM:
                middle = (start + at) / 2 * COLUMN
                lines.append(said_at(middle, y - 18, "over-time.nothing", langs, {}, 14, colour=QUIET, anchor="middle"))
            start = at
    return "".join(lines)


def _pictures(stills: Sequence[Still], size: Size, total: float) -> str:
    """Small pictures side by side in the order of time, each cut to its share of the width."""
    height = size.height - KNOT
    each = size.width / len(stills)
    ordered = sorted(stills, key=lambda still: still.at_s)
    return "".join(small_picture(still, at * each + 1, 0, each - 2, height) for at, still in enumerate(ordered))


def small_picture(still: Still, x: float, y: float, width: float, height: float) -> str:
    """A still in the drawing itself, filling its frame."""
    return (
        f'<svg x="{x:.1f}" y="{y:g}" width="{width:.1f}" height="{height:g}" viewBox="0 0 {still.width} '
        f'{still.height}" preserveAspectRatio="xMidYMid slice"><image width="{still.width}" height="{still.height}" '
        f'href="data:image/jpeg;base64,{base64.b64encode(still.jpeg).decode()}"/></svg>'
    )


def _line(columns: list[tuple[float, bool]], marks: list[Knot], width: int, y: float) -> str:
    """The thread itself: solid where recorded, dotted where not, broken at a knot that asks to be done again."""
    step = width / len(columns)
    cuts = [(knot.at * width - KNOT * 0.75, knot.at * width + KNOT * 0.75) for knot in marks if knot.verdict == "redo"]
    drawn, start = [], 0
    for at in range(1, len(columns) + 1):
        if at == len(columns) or columns[at][1] != columns[start][1]:
            drawn += _pieces(start * step, at * step, columns[start][1], cuts, y)
            start = at
    return "".join(drawn)


def _pieces(begin: float, end: float, recorded: bool, cuts: list[tuple[float, float]], y: float) -> list[str]:
    dress = 'stroke-width="2.4"' if recorded else 'stroke-width="3.2" stroke-linecap="round" stroke-dasharray="0.1 8"'
    colour = INK if recorded else QUIET
    pieces = []
    for first, last in cuts:
        if first < end and last > begin:
            if first > begin:
                pieces.append((begin, first))
            begin = last
    if begin < end:
        pieces.append((begin, end))
    return [f'<path d="M{a:.1f} {y:g} H{b:.1f}" fill="none" stroke="{colour}" {dress}/>' for a, b in pieces]


def scale(total: float, width: float, y: float) -> str:
    """Times under a drawing, the end always among them."""
    return "".join(
        f'<text class="tick" x="{at / total * width:.1f}" y="{y:g}" text-anchor="{anchor}" font-size="15" '
        f'fill="{QUIET}">{escape(clock(at))}</text>'
        for at, anchor in times(total, width)
    )


def times(total: float, width: float) -> list[tuple[float, str]]:
    """The times that a scale tells [s], each with the side on which its text hangs."""
    most = width / TICK_ROOM
    step = next((step for step in STEPS_S if total / step <= most), ceil(total / most / 3600) * 3600)
    room = 84 / width * total
    between = [(float(at), "middle") for at in range(step, int(total) + 1, step) if total - at > room]
    return [(0.0, "start"), *between, (total, "end")]
