"""Head switching: how many of a field's last lines are bent or torn, where the player changes from head to head."""

from __future__ import annotations

import numpy as np

EDGE_PX = 64  # where the left edge of the picture may lie
LOOK_LINES = 24  # of a field, from the bottom


def head_switch_lines(luma: np.ndarray, bits: int, *, bent_px: float, least_step: float) -> int | None:
    """Lines of one field, counted from the bottom, whose left edge lies away from that of the others.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    bent_px : float
        A line is bent when its edge is this far from the field's median [px].
    least_step : float
        The picture must rise this far over its blanking to have an edge at all [8-bit codes].

    Returns
    -------
    int or None
        None where the left edge does not show.
    """
    unit = 2.0 ** (bits - 8)
    found = [_field(luma[parity::2, :EDGE_PX].astype(np.float32) / unit, bent_px, least_step) for parity in (0, 1)]
    known = [number for number in found if number is not None]
    return max(known) if known else None


def _field(lines: np.ndarray, bent_px: float, least_step: float) -> int | None:
    soft = (lines[:, :-2] + lines[:, 1:-1] + lines[:, 2:]) / 3
    base = float(np.median(soft[:, :3]))
    over = soft > base + least_step / 2
    clear = soft.max(axis=1) > base + least_step
    first = np.where(over.any(axis=1), over.argmax(axis=1), EDGE_PX).astype(float)
    body = first[:-LOOK_LINES][clear[:-LOOK_LINES]]
    if len(body) < len(lines) // 3 or base > 48:
        return None
    middle = float(np.median(body))
    spread = float(np.median(np.abs(body - middle)))
    if middle < 1 or spread > bent_px or clear[-LOOK_LINES:].mean() < 0.7:
        return None
    bent = np.abs(first[-LOOK_LINES:] - middle) > bent_px + 2 * spread
    at = np.flatnonzero(bent[::-1])
    number = 0
    for place in at.tolist():  # from the bottom up; one straight line between bent ones is still the zone
        if place - number > 1:
            break
        number = place + 1
    return number if number < LOOK_LINES else None
