"""Which resolution a paper of known size gives: its two sides must say the same, and only one size may fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownSize:
    """``ppi``: what the fitting sizes give; ``sizes_mm``: which ones; ``confirms``: the file says the same."""

    ppi: float
    sizes_mm: tuple[tuple[float, float], ...]
    confirms: bool


def known_size(
    sides_px: Sequence[tuple[float, float]],
    stated: float | None,
    known_mm: Sequence[tuple[float, float]],
    also_mm: Sequence[tuple[float, float]],
    usual_ppi: Sequence[float],
    *,
    near: float,
    largest_mm: tuple[float, float] | None,
) -> KnownSize | None:
    """The resolution by the sizes of all pictures together; None where no size, or more than one, fits.

    Parameters
    ----------
    sides_px : sequence of (width, height)
        Of every picture on the scan [px].
    stated : float or None
        What the file says [px/inch].
    known_mm, also_mm : sequences of (side, side)
        Sizes that tell, and sizes that only make doubt (real, yet rarely met).
    usual_ppi : sequence of float
        Resolutions that scanners are set to: without such a one no other than the stated is believed.
    near : float
        How far a side may lie from its size [share].
    largest_mm : (side, side) or None
        What fits on the glass; a size beyond it is none.
    """
    if not sides_px:
        return None
    if stated:
        fits = [_fitting(sides, stated, known_mm, near) for sides in sides_px]
        if all(fits):
            told = [(size, ppi) for size, ppi in (min(fit, key=lambda one: abs(one[1] / stated - 1)) for fit in fits)]
            return _as_told(told, confirms=True)
        if any(fits) or any(_fitting(sides, stated, also_mm, near) for sides in sides_px):
            return None
    possible = []
    for usual in usual_ppi:
        fits = [_fitting(sides, usual, known_mm, near) for sides in sides_px]
        beyond = largest_mm and any(_beyond(sides, usual, largest_mm) for sides in sides_px)
        if all(fits) and not beyond and not (stated and abs(usual / stated - 1) < 2 * near):
            possible.append([min(fit, key=lambda one: abs(one[1] / usual - 1)) for fit in fits])
    return _as_told(possible[0], confirms=False) if len(possible) == 1 else None


def _as_told(told: Sequence[tuple[tuple[float, float], float]], *, confirms: bool) -> KnownSize:
    ppi = float(np.median([ppi for _, ppi in told]))
    return KnownSize(ppi=ppi, sizes_mm=tuple(dict.fromkeys(size for size, _ in told)), confirms=confirms)


def _fitting(
    sides: tuple[float, float], ppi: float, sizes: Sequence[tuple[float, float]], near: float
) -> list[tuple[tuple[float, float], float]]:
    """Sizes that both sides of a picture fit at a resolution, with the resolution each gives exactly."""
    short, long = sorted(sides)
    found = []
    for size in sizes:
        one, other = (side / (mm / MM_PER_INCH) for side, mm in zip((short, long), sorted(size)))
        if abs(one / ppi - 1) <= near and abs(other / ppi - 1) <= near and abs(one / other - 1) <= near:
            found.append(((float(size[0]), float(size[1])), float(np.sqrt(one * other))))
    return found


def _beyond(sides: tuple[float, float], ppi: float, largest: tuple[float, float]) -> bool:
    return any(px / ppi * MM_PER_INCH > 1.02 * mm for px, mm in zip(sorted(sides), sorted(largest)))
