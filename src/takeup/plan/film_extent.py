"""How many pictures a film of an item list holds and at which speed they are shown. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from takeup.plan.film_time import decide_rate, pictures_in
from takeup.streams import Original
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A film's pictures and their true speed [pictures per second], with what decided the speed."""

    pictures: int
    speed: Fraction
    decided_by: str


def plan_film(
    original: Original, rows: Rows, *, feet: float | None = None, pictures: int | None = None
) -> Shown | None:
    """From what is known of a reel: pictures, else feet, else its screening minutes; None when the list says nothing.

    Parameters
    ----------
    feet, pictures : float, int
        Stand in for what the list does not say.
    """
    decided = decide_rate(original, rows)
    if pictures is None and original.feet is not None:
        feet = original.feet
    if pictures is None and feet is not None:
        pictures = pictures_in(feet, original.carrier, rows)
    if pictures is None and original.minutes is not None:
        pictures = round(Fraction(original.minutes) * 60 * decided.rate)
    return None if pictures is None else Shown(pictures=pictures, speed=decided.rate, decided_by=decided.by)
