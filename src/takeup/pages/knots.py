"""Findings as knots on a capture's thread: where they are, which fall together, how they are drawn. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from takeup.pages.signs import CARD, DRESS, INK, shape
from takeup.pages.written import said_at
from takeup.streams import Report

KNOT = 26  # side of a knot [units of the drawing]
COUNT_ROOM = 92  # least distance of two knots that tell a count beside them [units]
STITCH = 7  # half the height of the mark that every single finding leaves on the thread [units]
GRAVE = ("redo", "look")


@dataclass(frozen=True, slots=True, kw_only=True)
class Knot:
    """Where findings sit on the thread: middle and reach as shares of its length, 0 to 1.

    A knot that stands for several takes the place and the verdict of the gravest of them; ``count`` tells how many.
    """

    verdict: str
    at: float
    to: float
    from_s: float | None
    count: int = 1


def seconds_of(reports: Sequence[Report]) -> float:
    """Length of the whole thread [s]."""
    return sum(report.seconds or 0.0 for report in reports)


def each(reports: Sequence[Report]) -> list[Knot]:
    """One knot for every finding that is not good, in the order of time."""
    total, before, found = seconds_of(reports), 0.0, []
    if total <= 0:
        return []
    for report in reports:
        for finding in report.findings:
            if finding.verdict == "good":
                continue
            first = finding.from_s or 0.0  # without a time it belongs to the whole capture and sits at its beginning
            last = finding.to_s if finding.to_s is not None else first
            found.append(
                Knot(
                    verdict=finding.verdict,
                    at=min(max((before + first) / total, 0.0), 1.0),
                    to=min(max((before + last) / total, 0.0), 1.0),
                    from_s=None if finding.from_s is None else before + finding.from_s,
                )
            )
        before += report.seconds or 0.0
    return sorted(found, key=lambda knot: knot.at)


def knots(reports: Sequence[Report], *, apart: float) -> list[Knot]:
    """The knots of a thread: those nearer than ``apart`` (a share of the length) are one, the nearest joined first."""
    marks = each(reports)
    fine = apart / 8  # hundreds at one place: joined first by their places, or every pair would be looked at
    marks = _close(marks, fine) if len(marks) > 60 else marks
    while len(marks) > 1:
        gap, at = min((later.at - earlier.at, at) for at, (earlier, later) in enumerate(zip(marks, marks[1:])))
        if gap >= apart:
            break
        marks[at : at + 2] = [_one(marks[at], marks[at + 1])]
    return marks


def readable(reports: Sequence[Report], width: float) -> list[Knot]:
    """The knots of a thread of this width: further apart where a count has to stand beside them."""
    single = knots(reports, apart=KNOT * 1.15 / width)
    return knots(reports, apart=COUNT_ROOM / width) if any(knot.count > 1 for knot in single) else single


def _close(marks: list[Knot], fine: float) -> list[Knot]:
    joined: list[Knot] = []
    for knot in marks:
        if joined and int(joined[-1].at / fine) == int(knot.at / fine):
            joined[-1] = _one(joined[-1], knot)
        else:
            joined.append(knot)
    return joined


def _one(earlier: Knot, later: Knot) -> Knot:
    """Two knots as one: at the graver's place, or between them by their weights."""
    count, to = earlier.count + later.count, max(earlier.to, later.to)
    if earlier.verdict != later.verdict:
        return replace(earlier if earlier.verdict == "redo" else later, to=to, count=count)
    middle = (earlier.at * earlier.count + later.at * later.count) / count
    return replace(earlier, at=middle, to=to, count=count)


def draw_knot(knot: Knot, width: float, y: float, side: float = KNOT) -> str:
    """A knot's shape on the thread, wholly inside its width."""
    x = inside(knot, width, side)
    return (
        f'<g transform="translate({x - side / 2:.1f} {y - side / 2:.1f}) scale({side / 24:.3f})">'
        f"{shape(knot.verdict, ground=CARD)}</g>"
    )


def inside(knot: Knot, width: float, side: float = KNOT) -> float:
    """Where the middle of a knot is drawn [units]."""
    return min(max(knot.at * width, side / 2), width - side / 2)


def count_of(knot: Knot, width: float, y: float, langs: Sequence[str]) -> str:
    """How many findings a knot stands for, in words; nothing for one."""
    if knot.count == 1:
        return ""
    x = inside(knot, width)
    anchor = "start" if x < COUNT_ROOM / 2 else "end" if x > width - COUNT_ROOM / 2 else "middle"
    x += {"start": -KNOT / 2, "middle": 0.0, "end": KNOT / 2}[anchor]
    return said_at(
        x, y, "over-time.places", langs, {"count": knot.count}, 14, colour=INK, anchor=anchor, halo=True
    )  # fmt: skip


def stitches(marks: Iterable[Knot], width: float, y: float) -> str:
    """A short upright mark for every finding where it is, so that many show how they are spread."""
    lines = []
    for verdict in reversed(GRAVE):
        places = sorted({round(knot.at * width * 2) / 2 for knot in marks if knot.verdict == verdict})
        if places:
            ups = "".join(f"M{x:g} {y - STITCH:g}v{2 * STITCH}" for x in places)
            lines.append(f'<path class="stitch" d="{ups}" stroke="{DRESS[verdict].ink}" stroke-width="1.4"/>')
    return "".join(lines)


def stretches(marks: Iterable[Knot], verdict: str, least: float) -> list[tuple[float, float]]:
    """Where findings of a verdict last at least ``least``, overlapping ones joined: shares of the length."""
    spans: list[tuple[float, float]] = []
    for first, last in sorted((knot.at, knot.to) for knot in marks if knot.verdict == verdict):
        if last - first < least:
            continue
        if spans and first <= spans[-1][1]:
            spans[-1] = spans[-1][0], max(spans[-1][1], last)
        else:
            spans.append((first, last))
    return spans


def draw_stretches(marks: Sequence[Knot], width: float, y: float) -> str:
    """A finding that lasts is a thicker stretch of the thread."""
    return "".join(
        f'<path d="M{first * width:.1f} {y:g} H{last * width:.1f}" stroke="{DRESS[verdict].ink}" stroke-width="6"'
        ' stroke-linecap="round" fill="none"/>'
        for verdict in reversed(GRAVE)
        for first, last in stretches(marks, verdict, KNOT / 2 / width)
    )
