"""What lies behind a sound's thread, for who asks: its levels over its noise, and its tones, on one scale of time.

One drawing, not a stack: the level stands on the noise as on ground, the tones lie beneath like layers of it, and the
thread's knots reach down through both. Pure: a report in, SVG out.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from takeup.pages.history import History, history, tones
from takeup.pages.knots import GRAVE, Knot, draw_knot, each, inside, readable, stretches
from takeup.pages.signs import CARD, DRESS, GROUND, INK, QUIET, RAMP, RULE, SILHOUETTE
from takeup.pages.thread import scale
from takeup.pages.written import said_at, text_at
from takeup.streams import Report
from takeup.words.sentences import LANGUAGES, say

GUTTER = 64  # room that the labels of both axes need on the left [units of the drawing]
COLUMN = 2  # width of one column of the level's history [units]
LEVEL_HIGH, BAND_HIGH, SIGN, SEAM = 136, 4, 18, 10  # heights: level, one band of tones, a knot's sign, between both
LETTERS, SMALL = 16, 14  # sizes of headings, and of labels [units]
TONES_HZ = (100, 1000, 10000)
STEP_DB = 20  # of the level's axis
SPAN_DB = (40, 70)  # what the ramp may reach over, least and most
STACKED = 600  # a drawing narrower than this tells its keys one under the other [units]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """SVG parts and how far they reach down [units]; labels stand to the left of 0."""

    parts: str
    height: float


def has_history(report: Report) -> bool:
    """Whether there is anything to draw: a sound with levels in its trace."""
    return report.medium == "sound" and bool(report.trace.level) and (report.seconds or 0) > 0


def over_time(report: Report, *, width: int, langs: Sequence[str]) -> Drawn:
    """The drawing's parts, without a frame.

    Parameters
    ----------
    width : int
        As wide as the thread it stands under [units], so that both tell the same time at the same place.
    langs : sequence of str
        The languages of its words; a page of both shows one.
    """
    seconds = report.seconds or 0.0
    levels = history(report.trace, seconds, width // COLUMN)
    marks, single = readable([report], width), each([report])
    y = _height_of_keys(width)
    lines = [_keys(width, langs, with_floor=bool(np.isfinite(levels.floor).any()))]
    y += SIGN + 6 if marks else 0
    top = y
    lines.append(_levels(levels, y, width))
    y += LEVEL_HIGH
    fabric = tones(report.trace, seconds, width)
    if fabric.size:
        y += SEAM
        lines.append(_tones(fabric, report.trace.strip_hz, y, width))
        y += BAND_HIGH * len(fabric)
    lines.append(_marks(marks, single, (top, y), width))
    lines.append(scale(seconds, width, y + 22))
    y += 34
    if fabric.size:
        lines.append(_ramp_key(fabric, y + 12, width, langs))
        y += 30 if width >= STACKED else 54
    return Drawn(parts="".join(lines), height=y)


def over_time_picture(report: Report, *, width: int, name: str) -> Markup:
    """The drawing in a frame of its own, in both languages, silent for screen readers: its table stands beside it."""
    if not has_history(report):
        return Markup("")
    drawn = over_time(report, width=width - GUTTER, langs=tuple(LANGUAGES))
    frame = f'class="thread {name}" viewBox="{-GUTTER} 0 {width} {drawn.height:g}" aria-hidden="true" focusable="false"'
    return Markup(f"<svg {frame}>{drawn.parts}</svg>")


def stretches_told(report: Report, most: int = 12) -> list[tuple[float, tuple[float | None, ...]]]:
    """The same in figures: beginning of each stretch [s]; its quietest, mean, loudest level and its noise [dBFS]."""
    seconds = report.seconds or 0.0
    even = next((step for step in (10, 30, 60, 120, 300, 600, 900, 1800) if seconds / step <= most), 3600)
    count = max(1, math.ceil(seconds / even))
    levels = history(report.trace, count * even, count)
    noise = history(report.trace, count * even, count * 60).floor.reshape(count, 60)
    rows = []
    for at in range(count):
        floors = noise[at][np.isfinite(noise[at])]
        figures = (levels.quiet[at], levels.mean[at], levels.loud[at], np.median(floors) if len(floors) else np.nan)
        rows.append((float(at * even), tuple(round(float(one)) if np.isfinite(one) else None for one in figures)))
    return rows


def told_in_words(report: Report, lang: str) -> str:
    """The figures of :func:`stretches_told` as sentences, for a picture that stands alone."""
    untold = say("letter", "over-time.untold", lang)
    sentences = []
    for at, figures in stretches_told(report):
        facts = {name: untold if one is None else _minus(one) for name, one in zip(FIGURES, figures)}
        sentences.append(say("letter", "over-time.row", lang, {"at": at} | facts))
    return ("" if lang == "zh-Hans" else " ").join(sentences)


FIGURES = ("quiet", "mean", "loud", "floor")


def _levels(levels: History, top: float, width: int) -> str:
    """The level between its quietest and loudest, its mean as a line, on the ground of the noise."""
    bottom_db = _bottom(levels)

    def y_of(level: float) -> float:
        return top + LEVEL_HIGH * min(max(level / bottom_db, 0.0), 1.0)

    lines = []
    for first, last in _runs(np.isfinite(levels.floor)):
        edge = _steps([(at * COLUMN, y_of(levels.floor[at])) for at in range(first, last)], last * COLUMN)
        under = top + LEVEL_HIGH
        lines.append(f'<path d="{edge}V{under:g}H{first * COLUMN}Z" fill="{GROUND}"/>')
    for first, last in _runs(np.isfinite(levels.mean)):
        xs = [(at + 0.5) * COLUMN for at in range(first, last)]
        above = "L".join(f"{x:g} {y_of(one):.1f}" for x, one in zip(xs, levels.loud[first:last]))
        below = "L".join(f"{x:g} {y_of(one):.1f}" for x, one in zip(xs[::-1], levels.quiet[first:last][::-1]))
        lines.append(f'<path d="M{above}L{below}Z" fill="{SILHOUETTE}" stroke="{SILHOUETTE}" stroke-width="1"/>')
        mean = "L".join(f"{x:g} {y_of(one):.1f}" for x, one in zip(xs, levels.mean[first:last]))
        lines.append(f'<path d="M{mean}" fill="none" stroke="{RAMP[14]}" stroke-width="1.5" stroke-linejoin="round"/>')
    for first, last in _runs(np.isfinite(levels.floor)):
        edge = _steps([(at * COLUMN, y_of(levels.floor[at])) for at in range(first, last)], last * COLUMN)
        lines.append(f'<path d="{edge}" fill="none" stroke="{DRESS["look"].ink}" {FLOOR_DRESS}/>')
    return _grid(bottom_db, y_of, width) + "".join(lines)


FLOOR_DRESS = 'stroke-width="1.8" stroke-dasharray="5 2.5"'


def _bottom(levels: History) -> int:
    """The lowest level that the axis shows: a step under nearly all that there is, -100 at the most."""
    there = np.concatenate([levels.quiet[np.isfinite(levels.quiet)], levels.floor[np.isfinite(levels.floor)]])
    least = float(np.percentile(there, 2)) if len(there) else -60.0
    return int(min(max(math.floor(least / STEP_DB) * STEP_DB, -100), -60))


def _grid(bottom_db: int, y_of: object, width: int) -> str:
    lines = []
    for level in range(0, bottom_db - 1, -STEP_DB):
        y = y_of(level)  # type: ignore[operator]
        lines.append(f'<path d="M0 {y:g}H{width}" stroke="{RULE}" stroke-width="0.6" stroke-opacity="0.55"/>')
        label = f"{_minus(level)} dBFS" if level == 0 else _minus(level)
        lines.append(text_at(-8, y + 5, label, SMALL, colour=QUIET, anchor="end"))
    return "".join(lines)


def _tones(fabric: np.ndarray, hz: Sequence[float], top: float, width: int) -> str:
    """Each third of an octave as one strand, low ones at the bottom; the darker, the more of it there is."""
    high = BAND_HIGH * len(fabric)
    low_db, high_db = reach_of(fabric)
    steps = np.clip((np.flipud(fabric) - low_db) / (high_db - low_db) * len(RAMP), 0, len(RAMP) - 1)
    lines = [
        f'<image x="0" y="{top:g}" width="{width}" height="{high}" preserveAspectRatio="none" '
        f'style="image-rendering:pixelated" href="data:image/png;base64,{_png(steps.astype(np.uint8))}"/>'
    ]
    strands = "".join(f"M0 {top + BAND_HIGH * at:g}h{width}" for at in range(1, len(fabric)))
    lines.append(f'<path d="{strands}" stroke="{CARD}" stroke-width="0.5" stroke-opacity="0.6"/>')
    lines.append(f'<path d="M0 {top + high:g}H{width}" stroke="{RULE}" stroke-width="0.8"/>')
    for one in TONES_HZ:
        share = (math.log10(one / hz[0]) * 10 + 0.5) / len(hz)
        if 0 < share < 1:
            y = top + high * (1 - share)
            label = f"{one} Hz" if one < 1000 else f"{one // 1000} kHz"
            lines.append(f'<path d="M-5 {y:.1f}H0" stroke="{RULE}" stroke-width="1"/>')
            lines.append(text_at(-8, y + 5, label, SMALL, colour=QUIET, anchor="end"))
    return "".join(lines)


def reach_of(fabric: np.ndarray) -> tuple[int, int]:
    """What the ramp goes from and to [dBFS], in tens: nearly all that there is, neither too flat nor too steep."""
    there = fabric[np.isfinite(fabric)]
    if not len(there):
        return -100, -40
    high = math.ceil(float(np.percentile(there, 99.5)) / 10) * 10
    low = math.floor(float(np.percentile(there, 5)) / 10) * 10
    return min(max(low, high - SPAN_DB[1]), high - SPAN_DB[0]), high


def _png(codes: np.ndarray) -> str:
    """Steps of the ramp as a small picture of so many colours."""
    from PIL import Image

    image = Image.fromarray(np.ascontiguousarray(codes), mode="P")
    image.putpalette([int(colour[at : at + 2], 16) for colour in RAMP for at in (1, 3, 5)])
    held = io.BytesIO()
    image.save(held, "PNG", bits=4, optimize=True)
    return (
        base64.b64encode(held.getvalue()).decode().replace("//", "/%2F")
    )  # no page of ours holds a "//": it asks nobody


def _marks(marks: Sequence[Knot], single: Sequence[Knot], reach: tuple[float, float], width: int) -> str:
    """The thread's knots again, small, each with a line down through the drawing: broken for look, whole for redo."""
    top, bottom = reach
    lines = []
    for verdict in reversed(GRAVE):
        for first, last in stretches(single, verdict, SIGN / width):
            lines.append(
                f'<path d="M{first * width:.1f} {top - 3:g}H{last * width:.1f}" '
                f'stroke="{DRESS[verdict].ink}" stroke-width="4"/>'
            )
    for knot in marks:
        x, dashes = inside(knot, width, 3), ' stroke-dasharray="3 4"' if knot.verdict == "look" else ""
        down = f'd="M{x:.1f} {top:g}V{bottom:g}"'
        lines.append(f'<path {down} stroke="{CARD}" stroke-width="3.4" stroke-opacity="0.8"/>')
        lines.append(f'<path {down} stroke="{DRESS[knot.verdict].ink}" stroke-width="1.6"{dashes}/>')
        lines.append(draw_knot(knot, width, top - SIGN / 2 - 4, SIGN))
    return "".join(lines)


def _height_of_keys(width: int) -> float:
    return 34 if width >= STACKED else 34 + 22 * 3


def _keys(width: int, langs: Sequence[str], *, with_floor: bool) -> str:
    """The heading, and what each line means. Places are fixed: a drawing cannot measure its words."""
    lines = [said_at(0, 17, "over-time.level", langs, {}, LETTERS, colour=INK)]
    keys = [name for name in ("range", "mean", "floor") if name != "floor" or with_floor]
    slots = {"range": width - 560, "mean": width - 335, "floor": width - 225}
    for at, name in enumerate(keys):
        x, y = (slots[name], 17.0) if width >= STACKED else (0, 40.0 + 22 * at)
        lines.append(_swatch(name, x, y - 5) + said_at(x + 30, y, f"over-time.{name}", langs, {}, SMALL, colour=QUIET))
    return "".join(lines)


def _swatch(name: str, x: float, y: float) -> str:
    if name == "range":
        return f'<rect x="{x:g}" y="{y - 6:g}" width="22" height="12" fill="{SILHOUETTE}"/>'
    if name == "mean":
        return f'<path d="M{x:g} {y:g}h22" stroke="{RAMP[14]}" stroke-width="1.8"/>'
    return (
        f'<rect x="{x:g}" y="{y - 3:g}" width="22" height="9" fill="{GROUND}"/>'
        f'<path d="M{x:g} {y - 3:g}h22" stroke="{DRESS["look"].ink}" {FLOOR_DRESS}/>'
    )


def _ramp_key(fabric: np.ndarray, y: float, width: int, langs: Sequence[str]) -> str:
    """The heading of the tones, and the ramp with what it goes from and to."""
    low, high = reach_of(fabric)
    each_wide = 7
    wide = each_wide * len(RAMP)
    x = width - wide
    colours = "".join(
        f'<rect x="{x + at * each_wide}" y="{y - 11:g}" width="{each_wide}" height="12" fill="{colour}"/>'
        for at, colour in enumerate(RAMP)
    )
    frame = f'<rect x="{x}" y="{y - 11:g}" width="{wide}" height="12" fill="none" stroke="{RULE}" stroke-width="0.8"/>'
    facts = {"low": _minus(low), "high": _minus(high)}
    at = (x - 10, y, "end") if width >= STACKED else (-GUTTER, y + 24, "start")
    return (
        said_at(0, y, "over-time.tones", langs, {}, LETTERS, colour=INK)
        + colours
        + frame
        + said_at(at[0], at[1], "over-time.ramp", langs, facts, SMALL, colour=QUIET, anchor=at[2])
    )


def _runs(there: np.ndarray) -> list[tuple[int, int]]:
    """Where columns follow each other without a gap: first and one past the last."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist()))


def _steps(places: list[tuple[float, float]], end: float) -> str:
    """A line of steps through places, each held until the next that differs."""
    path = f"M{places[0][0]:g} {places[0][1]:.1f}"
    for (_, before), (x, y) in zip(places, places[1:]):
        if abs(y - before) >= 0.05:
            path += f"H{x:g}V{y:.1f}"
    return path + f"H{end:g}"


def _minus(level: float) -> str:
    """A level with a true minus sign."""
    return escape(f"{level:.0f}".replace("-", "\u2212"))
