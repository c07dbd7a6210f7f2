"""A capture as one horizontal thread: what was recorded as a quiet silhouette, unrecorded dotted, findings as knots.

Pure: reports in, SVG out. Several captures of one original (parts of a reel) follow each other on one thread.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from markupsafe import Markup, escape

from takeup.pages.signs import CARD, DRESS, INK, QUIET, SILHOUETTE, shape
from takeup.streams import Finding, Report, Still
from takeup.words.units import clock

STEPS_S = (5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200)  # what a scale may count in [s]
TICK_ROOM = 115  # least distance of two times on the scale [units of the drawing]
COLUMN = 4  # width of one column of the silhouette [units of the drawing]
KNOT = 26  # side of a knot [units]
LOUD_FROM, LOUD_SPAN = 40, 56  # level codes (dBFS + 100) drawn from nothing to full height


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a thread is drawn [units of the drawing]."""

    width: int = 960
    height: int = 92  # of the band above the scale
    scale: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Knot:
    """Where a finding sits on the thread: centre and reach as shares of its length, 0 to 1."""

    verdict: str
    at: float
    to: float
    from_s: float | None


def seconds_of(reports: Sequence[Report]) -> float:
    """Length of the whole thread [s]."""
    return sum(report.seconds or 0.0 for report in reports)


def knots(reports: Sequence[Report], *, apart: float) -> list[Knot]:
    """The knots of a thread, worst first where two would touch (nearer than ``apart``, a share of the length)."""
    total, before, found = seconds_of(reports), 0.0, []
    for report in reports:
        for finding in report.findings:
            if finding.verdict != "good":
                found.append(_knot(finding, before, total))
        before += report.seconds or 0.0
    found.sort(key=lambda knot: (knot.verdict != "redo", knot.at))
    kept: list[Knot] = []
    for knot in found:
        if all(abs(knot.at - other.at) >= apart for other in kept):
            kept.append(knot)
    return sorted(kept, key=lambda knot: knot.at)


def thread(
    reports: Sequence[Report], *, size: Size = Size(), stills: Sequence[Still] = (), name: str = "alone"
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
    """
    whole = size.height + (30 if size.scale else 0)
    inside = parts(reports, size=size, stills=stills)
    frame = f'class="thread {name}" viewBox="0 0 {size.width} {whole}" aria-hidden="true" focusable="false"'
    return Markup(f"<svg {frame}>{inside}</svg>")


def parts(reports: Sequence[Report], *, size: Size, stills: Sequence[Still] = ()) -> str:
    """The thread without its frame, to be laid into a larger drawing."""
    total = seconds_of(reports)
    middle = size.height / 2
    marks = knots(reports, apart=KNOT / size.width) if total > 0 else []
    columns = _columns(reports, size.width // COLUMN, total)
    lines = [_pictures(stills, size, total) if stills else _silhouette(columns, size)]
    y = size.height - KNOT / 2 if stills else middle
    lines.append(_line(columns, marks, size.width, y))
    lines += [_reach(knot, size.width, y) + _draw(knot, size.width, y) for knot in marks]
    if size.scale and total > 0:
        lines.append(_scale(total, size))
    return "".join(lines)


def _knot(finding: Finding, before: float, total: float) -> Knot:
    """A finding without a time belongs to the whole capture and sits at its beginning."""
    first = finding.from_s or 0.0
    last = finding.to_s if finding.to_s is not None else first
    return Knot(
        verdict=finding.verdict,
        at=min(max((before + first) / total, 0.0), 1.0),
        to=min(max((before + last) / total, 0.0), 1.0),
        from_s=None if finding.from_s is None else before + finding.from_s,
    )


def _columns(reports: Sequence[Report], count: int, total: float) -> list[tuple[float, bool]]:
    """The thread in ``count`` columns: height 0 to 1 and whether something was recorded there."""
    columns: list[tuple[float, bool]] = []
    if total <= 0:
        return [(0.0, True)] * count
    ends = [0.0]
    for report in reports:
        ends.append(ends[-1] + (report.seconds or 0.0))
    at = 0
    for column in range(count):
        first, last = total * column / count, total * (column + 1) / count
        while at + 1 < len(reports) and first >= ends[at + 1]:
            at += 1
        columns.append(_column(reports[at], first - ends[at], last - ends[at]))
    return columns


def _column(report: Report, first_s: float, last_s: float) -> tuple[float, bool]:
    trace = report.trace
    begin = int(first_s / trace.step_s)
    end = max(begin + 1, int(last_s / trace.step_s))
    levels, flags = trace.level[begin:end], trace.recorded[begin:end]
    recorded = sum(flags) * 2 >= len(flags) if flags else not trace.recorded
    if not levels or report.medium != "sound":  # a picture's level is its brightness, and no silhouette
        return 0.0, recorded
    loud = sum(sorted(levels)[-max(1, len(levels) // 3) :]) / max(1, len(levels) // 3)
    return min(max((loud - LOUD_FROM) / LOUD_SPAN, 0.0), 1.0) ** 1.4, recorded


def _silhouette(columns: list[tuple[float, bool]], size: Size) -> str:
    """One smooth closed shape, the same above and below the thread; nothing where nothing was recorded."""
    middle, reach = size.height / 2, size.height / 2 - 2
    heights = [height * reach if recorded else 0.0 for height, recorded in columns]
    if not any(heights):
        return ""
    smooth = [
        sum(heights[max(0, at - 1) : at + 2]) / len(heights[max(0, at - 1) : at + 2]) for at in range(len(heights))
    ]
    xs = [(at + 0.5) * COLUMN for at in range(len(smooth))]
    above = " ".join(f"{x:.0f},{middle - height:.1f}" for x, height in zip(xs, smooth))
    below = " ".join(f"{x:.0f},{middle + height:.1f}" for x, height in zip(reversed(xs), reversed(smooth)))
    return (
        f'<path class="silhouette" fill="{SILHOUETTE}" d="M0,{middle} L{above} L{xs[-1] + 2:.0f},{middle} L{below} Z"/>'
    )


def _pictures(stills: Sequence[Still], size: Size, total: float) -> str:
    """Small pictures side by side in the order of time, each cut to its share of the width."""
    height = size.height - KNOT
    each = size.width / len(stills)
    return "".join(
        f'<svg x="{at * each + 1:.1f}" y="0" width="{each - 2:.1f}" height="{height}" viewBox="0 0 {still.width} '
        f'{still.height}" preserveAspectRatio="xMidYMid slice"><image width="{still.width}" height="{still.height}" '
        f'href="data:image/jpeg;base64,{base64.b64encode(still.jpeg).decode()}"/></svg>'
        for at, still in enumerate(sorted(stills, key=lambda still: still.at_s))
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


def _reach(knot: Knot, width: int, y: float) -> str:
    """A finding that lasts is a thicker stretch of the thread, from its knot on."""
    first, last = knot.at * width, knot.to * width
    if last - first < KNOT / 2:
        return ""
    return (
        f'<path d="M{first:.1f} {y:g} H{last:.1f}" stroke="{DRESS[knot.verdict].ink}" stroke-width="6"'
        ' stroke-linecap="round" fill="none"/>'
    )


def _draw(knot: Knot, width: int, y: float) -> str:
    x = min(max(knot.at * width, KNOT / 2), width - KNOT / 2)
    return (
        f'<g transform="translate({x - KNOT / 2:.1f} {y - KNOT / 2:.1f}) scale({KNOT / 24:.3f})">'
        f"{shape(knot.verdict, ground=CARD)}</g>"
    )


def _scale(total: float, size: Size) -> str:
    """Times under the thread, the end always among them."""
    most = size.width / TICK_ROOM
    step = next((step for step in STEPS_S if total / step <= most), ceil(total / most / 3600) * 3600)
    y = size.height + 22
    room = 84 / size.width * total
    texts = [(0.0, "start")] + [(float(at), "middle") for at in range(step, int(total) + 1, step) if total - at > room]
    texts.append((total, "end"))
    return "".join(
        f'<text class="tick" x="{at / total * size.width:.1f}" y="{y}" text-anchor="{anchor}" font-size="15" '
        f'fill="{QUIET}">{escape(clock(at))}</text>'
        for at, anchor in texts
    )
