"""Says wow and flutter where a measuring tone was captured; on programme it cannot be told."""

from __future__ import annotations

from typing import Any

from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.flutter import NOMINAL_HZ
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Measured
from takeup.tables.rows import Rows


def said_flutter(facts: SoundFacts, deep: DeepFacts, rows: Rows) -> Measured:
    """The weighted two-sigma value, with the unweighted one and the tone's mean frequency beside it."""
    limits, flutter = rows.section("sound.flutter"), deep.flutter
    if flutter is None or flutter.share < limits["least_share"]:
        return Measured(value=None, unit="%", why="sound.silent" if facts.digitally_silent else "sound.no-tone")
    extra: dict[str, Any] = {"unweighted": round(flutter.unweighted_percent, 4), "hz": round(flutter.hz, 3)}
    nominal = min(NOMINAL_HZ, key=lambda hz: abs(flutter.hz / hz - 1))
    if abs(flutter.hz / nominal - 1) <= limits["told_apart_share"]:
        extra |= {"nominal_hz": nominal, "tone_speed_error": round(100 * (flutter.hz / nominal - 1), 4)}
    return Measured(value=round(flutter.weighted_percent, 4), unit="%", extra=extra)
