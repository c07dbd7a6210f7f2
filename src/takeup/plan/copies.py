"""What form the everyday copies of videos take: the tape's own lines, or so many at about such a rate. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from takeup.errors import NotPossible
from takeup.streams import Report
from takeup.tables.rows import Rows

AS_TAPED, LAB = "as-taped", "lab"
SPELLED = re.compile(r"(\d{3,4})p(\d{2})")
WHOLE, HALF = "whole", "half"  # every field is shown, or every second one


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One form of everyday copies, and what it costs for an hour of tape on the house's computer of two cores."""

    name: str
    lines: int | None  # None: the tape's own, in the tape's own pixel shape
    rate: int | None  # about so many pictures a second; None: one a field
    crf: int
    preset: str
    bytes_per_hour: float
    work_minutes_per_hour: float

    @property
    def motion(self) -> str:
        """Whether a tape's fields are all shown or every second one."""
        return WHOLE if self.rate is None or self.rate > 30 else HALF


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Luma codes of the capture, in codes of 8 bits, that become 16 and 235 in the copy."""

    low: float
    high: float


def named_profiles(rows: Rows) -> list[str]:
    """The forms whose costs were measured, in the order of the table."""
    start = "video.copies."
    return [name.removeprefix(start) for name in rows.names("formats") if name.startswith(start)]


def plan_profile(word: str, rows: Rows) -> Profile:
    """The form that a lab's setting or an option names; ``""`` is ``as-taped``.

    A form without rows of its own has the costs of the nearest one that was measured, by its pixels a second.

    Raises
    ------
    NotPossible
        ``finish.no-such-copies``.

    Examples
    --------
    >>> from takeup.tables.loader import load_rows
    >>> plan_profile("720p30", load_rows()).motion
    'half'
    """
    name = word.strip().lower() or AS_TAPED
    limits = rows.section("formats.video.copy")
    spelled = SPELLED.fullmatch(name)
    lines, rate = (int(spelled[1]), int(spelled[2])) if spelled else (None, None)
    allowed = lines is not None and limits["lines_least"] <= lines <= limits["lines_most"] and lines % 2 == 0
    if name != AS_TAPED and not (allowed and rate in limits["rates"]):
        known = ", ".join(named_profiles(rows))
        raise NotPossible(
            "finish.no-such-copies", given=word, known=known, least=limits["lines_least"], most=limits["lines_most"],
            rates=", ".join(str(one) for one in limits["rates"]),
        )  # fmt: skip
    if name in named_profiles(rows):
        return _profile(name, lines, rate, rows.section(f"formats.video.copies.{name}"))
    made = _profile(name, lines, rate, rows.section("formats.video.copies.as-taped"))
    others = [plan_profile(other, rows) for other in named_profiles(rows) if other != AS_TAPED]
    near = min(
        (other for other in others if other.motion == made.motion),
        key=lambda other: abs((other.lines or 0) - (lines or 0)),
    )
    share = ((lines or 1) / (near.lines or 1)) ** 2
    costs = {"bytes_per_hour": near.bytes_per_hour * share, "work_minutes_per_hour": near.work_minutes_per_hour * share}
    return _profile(name, lines, rate, {"crf": near.crf, "preset": near.preset} | costs)


def _profile(name: str, lines: int | None, rate: int | None, about: Mapping[str, Any]) -> Profile:
    return Profile(
        name=name, lines=lines, rate=rate, crf=about["crf"], preset=about["preset"],
        bytes_per_hour=about["bytes_per_hour"], work_minutes_per_hour=about["work_minutes_per_hour"],
    )  # fmt: skip


def profile_facts(profile: Profile) -> dict[str, Any]:
    """What the sentences about a form name: ``words/answers``, ``copies.*``."""
    return {
        "name": profile.name,
        "lines": profile.lines,
        "gb": round(profile.bytes_per_hour / 1e9, 1),
        "minutes": round(profile.work_minutes_per_hour),
    }


def profile_key(profile: Profile) -> str:
    """Which of the sentences of ``words/answers`` speaks of a form."""
    return f"copies.{AS_TAPED if profile.lines is None else profile.motion}"


def plan_every(shown_per_s: Fraction, profile: Profile) -> int:
    """Only every how manieth field (or whole picture) is shown: steps are even, so motion is.

    Examples
    --------
    Of 50 fields a second at "30" every second one is shown: 25 a second. Of 59.94, 29.97. At "60" all of either.
    """
    return 1 if profile.rate is None else max(1, round(shown_per_s / profile.rate))


def plan_copy_size(width: int, height: int, shape: Fraction, profile: Profile) -> tuple[int, int] | None:
    """Width and height in square pixels, both even; None where the tape's own lines stay.

    Examples
    --------
    720 x 576 of 12:11 is 785.5 x 576 in square pixels, so at 720 lines 981.8: 982.
    """
    if profile.lines is None:
        return None
    return max(2, 2 * round(width * shape * profile.lines / height / 2)), profile.lines


def plan_levels(report: Report | None, rows: Rows) -> Levels | None:
    """Which levels of a capture are brought to black and white in the copy; None when they are legal as they are."""
    limits = rows.section("formats.video.copy")
    found = [report.measures.get(name) if report else None for name in ("black_level", "white_level")]
    black, white = (one.value if one is not None and isinstance(one.value, (int, float)) else None for one in found)
    if black is None or white is None or white - black < limits["levels_least_span"]:
        return None
    low = float(black) if black < limits["legal_low"] else limits["black"]
    high = float(white) if white > limits["legal_high"] else limits["white"]
    return None if (low, high) == (limits["black"], limits["white"]) else Levels(low=low, high=high)
