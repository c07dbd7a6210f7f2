"""The thread of a capture that is still coming in: what came so far, its knots, and dotted what is still to come."""

from __future__ import annotations

from collections.abc import Sequence

from takeup.pages.knots import KNOT, Knot, inside
from takeup.pages.signs import SHAPES
from takeup.pages.thread import times
from takeup.words.units import clock

WIDTH, HEIGHT, SCALE = 960, 110, 30
MIDDLE = HEIGHT / 2
LIVE_KNOT = 34.0


def live_thread(
    *,
    seconds: float,
    whole_s: float,
    knots: Sequence[tuple[str, float]],
    heights: Sequence[float | None] = (),
    step_s: float = 0.5,
) -> str:
    """The drawing, silent for screen readers: its findings stand beside it in words. Colours are the page's.

    Parameters
    ----------
    seconds : what has come so far [s].
    whole_s : how long it is expected to be [s]; a longer capture stretches the thread.
    knots : (verdict, from_s) of what was found.
    heights : how loud each column was, 0 to 1; None where nothing was told.
    step_s : seconds of a column.
    """
    whole_s = max(whole_s, seconds, 1.0)
    marks = [Knot(verdict=verdict, at=min(at / whole_s, 1.0), to=at / whole_s, from_s=at) for verdict, at in knots]
    strokes = "".join(
        f"M{(at + 0.5) * step_s / whole_s * WIDTH:.1f} {MIDDLE - height * MIDDLE:.1f}v{2 * height * MIDDLE:.1f}"
        for at, height in enumerate(heights)
        if height and at * step_s <= seconds
    )
    wide = max(1.2, step_s / whole_s * WIDTH * 0.6)
    came = seconds / whole_s * WIDTH
    line = "".join(f"M{first:.1f} {MIDDLE}H{last:.1f}" for first, last in _pieces(came, marks))
    return (
        f'<svg class="thread live" viewBox="-4 0 {WIDTH + 8} {HEIGHT + SCALE}" aria-hidden="true" focusable="false">'
        f'<path class="silhouette" stroke-width="{wide:.2f}" d="{strokes}"/>'
        f'<path class="to-come" d="M{came:.1f} {MIDDLE}H{WIDTH}"/><path class="came" d="{line}"/>'
        f"{''.join(_knot(mark) for mark in marks)}{_scale(whole_s)}</svg>"
    )


def _pieces(came: float, marks: Sequence[Knot]) -> list[tuple[float, float]]:
    """The solid line, broken at each place that asks to be done again."""
    pieces, begin = [], 0.0
    for mark in sorted(marks, key=lambda mark: mark.at):
        if mark.verdict != "redo":
            continue
        first, last = mark.at * WIDTH - LIVE_KNOT * 0.7, mark.at * WIDTH + LIVE_KNOT * 0.7
        if first > begin:
            pieces.append((begin, min(first, came)))
        begin = max(begin, last)
    if begin < came:
        pieces.append((begin, came))
    return pieces


def _knot(mark: Knot) -> str:
    x = inside(mark, WIDTH, LIVE_KNOT)
    shape = SHAPES[mark.verdict].format(ink="currentColor", ground="var(--card)")
    side = LIVE_KNOT if mark.verdict == "redo" else KNOT
    return (
        f'<g class="knot {mark.verdict}" transform="translate({x - side / 2:.1f} {MIDDLE - side / 2:.1f}) '
        f'scale({side / 24:.3f})">{shape}</g>'
    )


def _scale(whole_s: float) -> str:
    return "".join(
        f'<text x="{at / whole_s * WIDTH:.1f}" y="{HEIGHT + 22}" text-anchor="{anchor}">{clock(at)}</text>'
        for at, anchor in times(whole_s, WIDTH)
    )
