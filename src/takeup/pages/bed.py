"""A scan as a miniature of the glass: each picture's outline with its label, findings as knots. Pure."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from markupsafe import Markup, escape

from takeup.pages.signs import CARD, FOCUS, INK, PAPER, RULE, shape
from takeup.streams import Report, Still

KNOT = 34  # side of a knot [units of the drawing]
DISC = 26  # radius of the card that a knot lies on, so that it shows on any picture
SAME = 0.02  # an area that leaves a picture's own box by less than this share of it is that picture


def bed(
    report: Report, *, glass: tuple[float, float], still: Still | None, labels: Sequence[str] = (), width: int = 960
) -> Markup:
    """The glass as an SVG picture, silent for screen readers.

    Parameters
    ----------
    glass : (width, height)
        The whole scan [px], in which corners and areas are told.
    still : Still or None
        A small picture of the whole scan; an empty glass is drawn without one.
    labels : sequence of str
        One for each picture in reading order; their numbers when empty.
    """
    height = round(width * glass[1] / glass[0])
    inside = parts(report, glass=glass, still=still, labels=labels, width=width)
    return Markup(
        f'<svg class="bed" viewBox="0 0 {width} {height}" aria-hidden="true" focusable="false">{inside}</svg>'
    )


def parts(
    report: Report, *, glass: tuple[float, float], still: Still | None, labels: Sequence[str] = (), width: int = 960
) -> str:
    """The glass without its frame, to be laid into a larger drawing."""
    zoom = width / glass[0]
    height = round(glass[1] * zoom)
    lines = [f'<rect width="{width}" height="{height}" fill="{PAPER}" stroke="{RULE}"/>']
    if still is not None:
        data = base64.b64encode(still.jpeg).decode()
        place = f'width="{width}" height="{height}" preserveAspectRatio="none"'
        lines.append(f'<image {place} href="data:image/jpeg;base64,{data}"/>')
    told = [f for f in report.findings if f.verdict != "good" and f.area is not None]
    doubtful = [f for f in told if f.name == "split_unsure"]
    lines += [_veil([edge * zoom for edge in f.area or ()]) for f in doubtful]
    boxes = []
    for at, picture in enumerate(pictures_of(report)):
        label = labels[at] if at < len(labels) else str(at + 1)
        lines.append(_outline([(x * zoom, y * zoom) for x, y in picture], label))
        boxes.append(_box(picture))
    hung: dict[int, int] = {}  # signs at a picture's own corner
    for finding in told:
        assert finding.area is not None
        own = next((n for n, box in enumerate(boxes) if _is_same(box, finding.area)), None)
        if own is None:
            lines.append(_mark([edge * zoom for edge in finding.area], finding.verdict))
            continue
        x, y, wide, _ = (edge * zoom for edge in boxes[own])
        hung[own] = hung.get(own, 0) + 1
        lines.append(_sign(x + wide - DISC * (2.2 * hung[own] - 1.1), y + DISC * 1.1, finding.verdict))
    return "".join(lines)


def pictures_of(report: Report) -> list[list[tuple[float, float]]]:
    """The corners of every picture that the check found on the glass [px]; empty when it looked for none."""
    measured = report.measures.get("pictures")
    if measured is None or not isinstance(measured.value, (list, tuple)):
        return []
    return [[(float(x), float(y)) for x, y in picture["corners"]] for picture in measured.value]


def extent_of(report: Report) -> tuple[float, float]:
    """The least glass that holds every picture and finding, for a caller who does not know its size [px]."""
    xs = [x for picture in pictures_of(report) for x, _ in picture]
    ys = [y for picture in pictures_of(report) for _, y in picture]
    for finding in report.findings:
        if finding.area is not None:
            xs.append(finding.area[0] + finding.area[2])
            ys.append(finding.area[1] + finding.area[3])
    return max(xs, default=1.0) * 1.02, max(ys, default=1.4) * 1.02


def _outline(corners: list[tuple[float, float]], label: str) -> str:
    """The outline in two strokes, dark in light, so that it shows on any picture; its name on a small luggage label."""
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
    x, y = min(corners, key=lambda corner: corner[0] + corner[1])
    wide = 26 + 14 * max(1, len(label))
    tag = f"M{x + 20:.1f},{y + 8:.1f} h{wide - 12} v32 h-{wide} v-20 Z"
    return (
        f'<polygon points="{points}" fill="none" stroke="{CARD}" stroke-width="6" stroke-linejoin="round"/>'
        f'<polygon points="{points}" fill="none" stroke="{FOCUS}" stroke-width="3" stroke-linejoin="round"/>'
        f'<path d="{tag}" fill="{CARD}" stroke="{INK}" stroke-width="1.6"/>'
        f'<circle cx="{x + 20:.1f}" cy="{y + 19:.1f}" r="3.4" fill="{PAPER}" stroke="{INK}" stroke-width="1.4"/>'
        f'<text x="{x + 30:.1f}" y="{y + 32:.1f}" font-size="22" font-weight="bold" fill="{INK}">{escape(label)}</text>'
    )


def _box(picture: list[tuple[float, float]]) -> tuple[float, float, float, float]:
    xs, ys = [x for x, _ in picture], [y for _, y in picture]
    return min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)


def _is_same(box: tuple[float, float, float, float], area: Sequence[float]) -> bool:
    """Whether a finding speaks of a whole picture: its outline is drawn already."""
    slack = SAME * max(box[2], box[3])
    return all(abs(one - other) <= slack for one, other in zip(box, area, strict=True))


def _veil(area: list[float]) -> str:
    """What a person must cut lies under a veil, so that it is seen before all else to be no picture of its own."""
    x, y, wide, high = area
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="{CARD}" fill-opacity="0.4"'
        f' stroke="{CARD}" stroke-width="7"/>'
    )


def _mark(area: list[float], verdict: str) -> str:
    x, y, wide, high = area
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(wide, 4):.1f}" height="{max(high, 4):.1f}" fill="none"'
        f' stroke="{INK}" stroke-width="3" stroke-dasharray="11 7"/>' + _sign(x + wide / 2, y + high / 2, verdict)
    )


def _sign(x: float, y: float, verdict: str) -> str:
    """A verdict's sign on a round card about a point."""
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{DISC}" fill="{CARD}" stroke="{INK}" stroke-width="1.6"/>'
        f'<g transform="translate({x - KNOT / 2:.1f} {y - KNOT / 2:.1f}) scale({KNOT / 24:.3f})">'
        f"{shape(verdict, ground=CARD)}</g>"
    )
