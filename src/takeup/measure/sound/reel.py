"""The law of a reel: how long one turn of tape takes to play while the reel fills or empties.

Wound tape fills its area: r^2 = r_hub^2 + wound length * thickness / pi. At an even speed v the turn that lies at the
reel's edge plays for T = 2 pi r / v, so the square of T grows (take-up reel) or shrinks (supply reel) evenly, each
second by 4 pi thickness / v. Two figures tell all: the period at one moment, and that amount.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

SPEED_MM_S = 47.625  # 1 7/8 inches a second: check values, part 3


@dataclass(frozen=True, slots=True, kw_only=True)
class ReelLaw:
    """``slope_s``: what the square of the period gains each second [s^2 / s]; negative on the supply reel."""

    at_s: float
    period_s: float  # of one turn, at that moment
    slope_s: float

    @property
    def reel(self) -> Literal["take-up", "supply"]:
        return "take-up" if self.slope_s > 0 else "supply"

    @property
    def thickness_um(self) -> float:
        return abs(self.slope_s) * SPEED_MM_S / (4 * np.pi) * 1000

    def period(self, at_s: Any) -> Any:
        """How long the turn at some moments plays [s]; not a number where the reel would be empty."""
        square = self.period_s**2 + self.slope_s * (np.asarray(at_s, float) - self.at_s)
        return np.sqrt(np.where(square > 0, square, np.nan))

    def radius_mm(self, at_s: Any) -> Any:
        """Of the wound tape at some moments."""
        return self.period(at_s) * SPEED_MM_S / (2 * np.pi)

    def turns(self, at_s: Any) -> Any:
        """Turns since ``self.at_s``: the integral of 1 / T is 2 (T - T0) / slope."""
        return 2 * (self.period(at_s) - self.period_s) / self.slope_s


def slope_of(thickness_um: float) -> float:
    """What the square of the period gains each second on the take-up reel [s^2 / s]."""
    return 4 * np.pi * thickness_um / 1000 / SPEED_MM_S


def place_by_law(law: ReelLaw, at_s: Any, hub_mm: float, side_m: float) -> Any:
    """Metres of tape from the start of the side that have gone by.

    Parameters
    ----------
    law : ReelLaw
    at_s : moments of the capture
    hub_mm : radius of the empty hub
    side_m : tape on one side; only a law of the supply reel needs it
    """
    wound_m = np.pi * (law.radius_mm(at_s) ** 2 - hub_mm**2) / law.thickness_um
    return wound_m if law.slope_s > 0 else side_m - wound_m
