"""Head switching: how many of a field's last lines are bent or torn, where the player changes from head to head.

Each of a field's last lines begins either where the lines above the zone begin or elsewhere. A dark line does not show
where it begins, a noisy one shows it badly; so each line's place is judged over all pictures looked at, both fields
together. A bend at the top of the picture (skew) is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

EDGE_PX = 64  # where the left edge of the picture may lie
LOOK_LINES = 24  # of a field, from the bottom
BODY_LINES = 60  # above those: where the picture begins
STEEP_PX = 4  # so soon a line that shows its beginning has doubled what tells it from blanking
ABOVE_LINES = 4
LEAST_BODY = 12  # lines of the body that must show where the picture begins
BLANK_PX = 6  # of blanking are looked at for noise; fewer where the picture begins sooner: 4.5 of 720 for 525 lines
SETTLED = 1  # straight lines between bent ones
LEAST = 0.25  # of the looks at a line must have shown its edge


@dataclass(frozen=True, slots=True)
class Looks:
    """State: for each of the last lines of a field, from the bottom, how often it was bent and how often straight."""

    bent: np.ndarray
    straight: np.ndarray
    fields: int = 0


def begin() -> Looks:
    return Looks(np.zeros(LOOK_LINES, int), np.zeros(LOOK_LINES, int))


def step(state: Looks, luma: np.ndarray, bits: int, *, bent_px: float, least_step: float) -> Looks:
    """Look at one picture's two fields.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    bent_px : float
        A line is bent when it begins this far from where those above begin [px].
    least_step : float
        The picture must rise this far over its blanking to have an edge at all [8-bit codes].
    """
    unit = 2.0 ** (bits - 8)
    bent, straight, number = state.bent.copy(), state.straight.copy(), state.fields
    for parity in (0, 1):
        lines = luma[parity::2, :EDGE_PX][-LOOK_LINES - BODY_LINES :].astype(np.float32) / unit
        if len(lines) < 2 * LOOK_LINES:
            continue
        begins = _begins(lines, least_step)
        body, last = begins[:-LOOK_LINES], begins[-LOOK_LINES:][::-1]
        known = np.isfinite(body)
        if known.sum() < LEAST_BODY:
            continue
        low, middle, high = np.percentile(body[known], [20, 50, 80])
        if middle < 1.5 or high - low > 2 * bent_px:
            continue
        far = np.abs(last - middle) > bent_px + (high - low) / 2
        bent += far & np.isfinite(last)
        straight += ~far & np.isfinite(last)
        number += 1
    return Looks(bent, straight, number)


def finish(state: Looks) -> int | None:
    """Lines of one field, counted from the bottom; None where the left edge does not show."""
    looks = state.bent + state.straight
    shown = looks >= max(1, LEAST * state.fields)
    if not state.fields or shown.mean() < 0.5:
        return None
    bent = shown & (state.bent > 0.5 * looks)
    number = 0
    for place in np.flatnonzero(bent).tolist():  # from the bottom up; the zone's last lines may have settled again
        if shown[number:place].sum() > SETTLED:
            break
        number = place + 1
    above = slice(number, number + ABOVE_LINES)  # that the zone ends must show
    ends = shown[above].sum() >= ABOVE_LINES - 1 and not bent[above].any()
    return number if number < LOOK_LINES - ABOVE_LINES and ends else None


def _begins(lines: np.ndarray, least_step: float) -> np.ndarray:
    """Where each line leaves its blanking, to a part of a pixel; not a number where it does not show."""
    soft = cv2.blur(lines, (3, 1))
    over = soft - float(np.median(soft[:, :3]))
    rough = 1.4826 * float(np.median(np.abs(over[:, :3])))
    least = max(least_step / 2, 3 * rough)
    rises = over > least
    first = rises.argmax(axis=1)
    before = np.maximum(first - 1, 0)
    row = np.arange(len(lines))
    step = over[row, first] - over[row, before]
    part = np.where(first > 0, (least - over[row, before]) / np.maximum(step, 1e-3), 0)
    soon = over[row, np.minimum(first + STEEP_PX, over.shape[1] - 1)]
    shows = rises.any(axis=1)
    blank = int(np.clip(np.median(first[shows]) - 1, 1, BLANK_PX)) if shows.any() else BLANK_PX
    torn = np.abs(over[:, :blank]).max(axis=1) >= 2 * least  # noise or picture where blanking should be
    # a dark line leaves its blanking slowly: nobody can say where
    shows &= (soon >= 2 * least) | torn
    return np.where(torn, -float(EDGE_PX), np.where(shows, before + np.clip(part, 0, 1), np.nan))
