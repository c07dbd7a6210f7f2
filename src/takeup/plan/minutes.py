"""How long a station is busy with one original: what is expected, and what nine in ten stay under. Pure.

Every activity has a mean and a standard deviation [minutes]; means add, and variances of activities that go their own
ways add (docs/decisions/0046). The nine-in-ten figure is mean + 1.2816 deviations, the 90 % point of the normal curve.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from takeup.plan.film_extent import plan_film
from takeup.streams import Original
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True)
class Spread:
    """A duration as mean and standard deviation [minutes]."""

    likely: float = 0.0
    deviation: float = 0.0

    def __add__(self, other: Spread) -> Spread:
        """The sum of two durations that do not depend on each other."""
        return Spread(self.likely + other.likely, math.hypot(self.deviation, other.deviation))

    def share(self, parts: int) -> Spread:
        """One of so many equal parts of it; a slow item is slow in all its parts."""
        return Spread(self.likely / parts, self.deviation / parts)

    def safe(self, nine_in_ten: float) -> float:
        """What nine in ten stay under [minutes]."""
        return self.likely + nine_in_ten * self.deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """How much there is of an original. ``likely`` of ``safe`` differ only where the list does not say.

    Tapes: minutes of recording. Film: pictures. Scans: pieces.
    """

    likely: float
    safe: float
    assumed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Busy:
    """What an original asks of its station: ``setup`` is paid once per visit, ``run`` may be divided over visits."""

    extent: Extent
    setup: Spread
    run: Spread

    @property
    def whole(self) -> Spread:
        return self.setup + self.run


def plan_minutes(original: Original, rows: Rows) -> Busy:
    """The station's time for one original, from the rows ``times.<carrier>``.

    Raises
    ------
    KeyError
        For a carrier without rows (``other``): the caller leaves those out.
    """
    times = rows.section(f"times.{original.carrier}")
    point = float(rows.value("times.visit.nine_in_ten"))
    extent = plan_extent(original, rows)
    setup = _spread(times["setup_likely"], times["setup_safe"], point)
    unknown = extent.safe - extent.likely
    pieces = 1 if "piece_likely" in times else (original.count or 1)  # a line may stand for several tapes or reels
    if "play_likely" in times:
        turns = pieces * ((original.sides or int(rows.value(f"carriers.{original.carrier}.sides"))) - 1)
        turn = _spread(times["side_likely"], times["side_safe"], point)
        pace = times["play_likely"] + times["wind_share"]
        play = Spread(
            extent.likely * pace,
            math.hypot(extent.likely * (times["play_safe"] - times["play_likely"]), unknown * pace) / point,
        )
        run = play + Spread(turns * turn.likely, math.sqrt(turns) * turn.deviation)
    elif "pictures_per_second" in times:
        pace = (1 + times["wind_share"]) / times["pictures_per_second"] / 60
        late = extent.likely * pace * (times["run_safe"] - 1)
        run = Spread(extent.likely * pace, math.hypot(late, unknown * pace) / point)
    else:
        pace = times["piece_likely"]
        late = extent.likely * (times["piece_safe"] - pace)
        run = Spread(extent.likely * pace, math.hypot(late, unknown * pace) / point)
    further = Spread((pieces - 1) * setup.likely, math.sqrt(pieces - 1) * setup.deviation)
    return Busy(extent=extent, setup=setup, run=run + further)


def plan_extent(original: Original, rows: Rows) -> Extent:
    """How much there is of an original: as its list says, else the usual of its carrier (and said so)."""
    times = rows.section(f"times.{original.carrier}")
    if "play_likely" in times:
        if original.minutes is not None:
            return Extent(likely=original.minutes, safe=original.minutes, assumed=False)
        part = (original.sides or 0) / int(rows.value(f"carriers.{original.carrier}.sides")) or 1.0
        slower = rows.section("times.slower").get(original.speed or "sp", 1.0) * part * (original.count or 1)
        return Extent(likely=times["usual_likely"] * slower, safe=times["usual_safe"] * slower, assumed=True)
    if "pictures_per_second" in times:
        known = plan_film(original, rows)
        if known is not None:
            return Extent(likely=known.pictures, safe=known.pictures, assumed=False)
        likely = plan_film(original, rows, feet=times["usual_feet_likely"] * (original.count or 1))
        safe = plan_film(original, rows, feet=times["usual_feet_safe"] * (original.count or 1))
        assert likely is not None and safe is not None
        return Extent(likely=likely.pictures, safe=safe.pictures, assumed=True)
    if original.count is not None:
        return Extent(likely=original.count, safe=original.count, assumed=False)
    return Extent(likely=times["usual_likely"], safe=times["usual_safe"], assumed=True)


def _spread(likely: float, safe: float, point: float) -> Spread:
    return Spread(likely, (safe - likely) / point)


def assumed_facts(original: Original, extent: Extent, rows: Rows) -> Mapping[str, Any]:
    """What was assumed for want of knowing, by the item list's own column name; empty when nothing was."""
    if not extent.assumed:
        return {}
    times = rows.section(f"times.{original.carrier}")
    if "play_likely" in times:
        return {"minutes": extent.likely}
    if "pictures_per_second" in times:
        return {"feet": times["usual_feet_likely"] * (original.count or 1)}
    return {"count": extent.likely}
