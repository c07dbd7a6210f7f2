"""How many pictures a film of an item list holds and at which speed they are shown. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

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
    speed = Fraction(original.speed).limit_denominator(100000) if original.speed else None
    by = "item" if speed else "gauge"
    speed = speed or Fraction(rows.value(f"times.{original.carrier}.usual_speed"))
    feet = original.feet if original.feet is not None and pictures is None else feet
    if pictures is None and feet is not None:
        pictures = round(feet * rows.value(f"times.{original.carrier}.pictures_per_foot"))
    if pictures is None and original.minutes is not None:
        pictures = round(Fraction(original.minutes) * 60 * speed)
    return None if pictures is None else Shown(pictures=pictures, speed=speed, decided_by=by)
