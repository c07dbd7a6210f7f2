"""What a capture tells of the reels: print-through, faults that return with a turn, where on the tape a time lies."""

from __future__ import annotations

from math import isfinite
from typing import Any

from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.print_through import PrintThrough
from takeup.measure.sound.reel import SPEED_MM_S, ReelLaw, place_by_law
from takeup.measure.sound.turns import Turns
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

CASSETTE = "cassette"
UNIT = "s"


def judge_print_through(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> list[Finding]:
    """``print_through``, where the moving echo of a reel stands far above all that chance and music give."""
    found = deep.print_through
    if known.of_picture or found is None or not _is_told(found, facts, rows):
        return []
    limits = rows.section("sound.print_through")
    levels = {"before": found.before_db, "after": found.after_db}
    loudest = max((level for level in levels.values() if level is not None), default=None)
    if loudest is None or loudest < limits["quietest_db"]:
        return []
    heard = [name for name, level in levels.items() if level is not None and level > loudest - limits["beside_db"]]
    low, high = sorted(float(one) for one in found.law.period([found.from_s, found.to_s]))
    return [
        Finding(
            name="print_through",
            verdict="look",
            again="no",
            says="print_through.both" if len(heard) == 2 else f"print_through.{heard[0]}",
            value=round(loudest, 1),
            unit="dB",
            facts={"level": loudest, "low": low, "high": high, "certainty": certainty_of(found, rows)}
            | {"sure": "@sure.firm" if found.score >= limits["firm_score"] else "@sure.likely"},
            rows=("sound.print_through.least_score", "sound.print_through.times_chance"),
        )
    ]


def judge_turns(deep: DeepFacts, rows: Rows, known: SoundKnown) -> list[Finding]:
    """``crease``: dropouts that return once per turn of one reel."""
    return [
        Finding(
            name="crease",
            verdict="look",
            again="no",
            says=f"crease.{turns.law.reel}",
            from_s=round(turns.from_s, 2),
            to_s=round(turns.to_s, 2),
            value=float(turns.heard),
            unit="times",
            facts={"heard": turns.heard, "turns": turns.turns, "period": turns.law.period_s},
            rows=("sound.turns.least_score", "sound.turns.apart"),
        )
        for turns in deep.turns
        if not known.of_picture and _follows(turns, rows)
    ]


def said_reel(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> dict[str, Measured]:
    """``reel``: how long a turn plays at the start, of which reel, how thick the tape is, and where on it this lies.

    For cassettes only. Without a law it says why, and gives the place by time and nominal speed.
    """
    if known.carrier != CASSETTE or known.of_picture:
        return {}
    law, source, sure = _law(facts, deep, rows)
    if law is None:
        shortest = rows.value("sound.print_through.shortest_s")
        short = facts.seconds < shortest
        return {
            "reel": Measured(
                value=None,
                unit=UNIT,
                why="sound.short-for-turns" if short else "sound.no-turns",
                why_facts={"seconds": facts.seconds, "shortest": shortest},
                extra=_place_by_time(facts, rows, known),
            )
        }
    ends = [float(law.period(at_s)) for at_s in (0.0, facts.seconds)]
    extra = {
        "end_s": round(ends[1], 4) if isfinite(ends[1]) else None,
        "reel": law.reel,
        "thickness_um": round(law.thickness_um, 2),
        "from": source,
        "certainty": sure,
    }
    value = round(ends[0], 4) if isfinite(ends[0]) else round(law.period_s, 4)
    return {"reel": Measured(value=value, unit=UNIT, extra=extra | _place_by_law(law, facts, rows, known))}


def certainty_of(found: PrintThrough, rows: Rows) -> float:
    """99 % at the limit, and ten times less room for doubt with each step above it."""
    limits = rows.section("sound.print_through")
    return round(1 - 0.01 * 10 ** -min(2.0, (found.score - limits["least_score"]) / limits["tenfold_score"]), 4)


def _is_told(found: PrintThrough, facts: SoundFacts, rows: Rows) -> bool:
    limits = rows.section("sound.print_through")
    by_chance = max(found.chance, found.level, found.rival)
    speaking = sum(score >= limits["part_score"] for score in found.parts)
    return (
        facts.seconds >= limits["shortest_s"]
        and found.score >= limits["least_score"]
        and found.score >= limits["times_chance"] * by_chance
        and len(found.parts) >= limits["fewest_parts"]
        and speaking >= limits["parts_share"] * len(found.parts)
    )


def _follows(turns: Turns, rows: Rows) -> bool:
    limits = rows.section("sound.turns")
    return (
        turns.score >= limits["least_score"]
        and turns.score >= max(turns.level, turns.other) + limits["apart"]
        and turns.share >= limits["share"]
    )


def _law(facts: SoundFacts, deep: DeepFacts, rows: Rows) -> tuple[ReelLaw | None, str, float | None]:
    """The reel's law, by what it was found, and how sure."""
    if deep.print_through is not None and _is_told(deep.print_through, facts, rows):
        return deep.print_through.law, "print-through", certainty_of(deep.print_through, rows)
    for turns in deep.turns:
        if _follows(turns, rows) and turns.to_s - turns.from_s >= rows.value("sound.turns.law_share") * facts.seconds:
            return turns.law, "faults", None
    return None, "", None


def _place_by_law(law: ReelLaw, facts: SoundFacts, rows: Rows, known: SoundKnown) -> dict[str, Any]:
    """Metres of the side that have gone by at both ends of the capture, and their share of the side."""
    limits = rows.section("sound.reel")
    kinds = list(zip(limits["thicknesses_um"], limits["sides_minutes"]))
    nominal, minutes = min(kinds, key=lambda kind: abs(kind[0] - law.thickness_um))
    if abs(nominal - law.thickness_um) > limits["thickness_share"] * nominal:
        minutes = None
    minutes = minutes or known.side_minutes
    if minutes is None:
        return {}
    side_m = minutes * 60 * SPEED_MM_S / 1000
    ends = [float(place_by_law(law, at_s, limits["hub_mm"], side_m)) for at_s in (0.0, facts.seconds)]
    if not all(isfinite(end) for end in ends):
        return {}
    return {
        "metres": [round(end, 2) for end in ends],
        "share": [round(end / side_m, 4) for end in ends],
        "within_share": limits["within_share"],
    }


def _place_by_time(facts: SoundFacts, rows: Rows, known: SoundKnown) -> dict[str, Any]:
    """The same by time alone, as if the capture began at the start of the side."""
    limits = rows.section("sound.reel")
    metres = facts.seconds * SPEED_MM_S / 1000
    place: dict[str, Any] = {"from": "time", "metres": [0.0, round(metres, 2)]}
    if known.side_minutes:
        share = facts.seconds / (known.side_minutes * 60)
        place |= {"share": [0.0, round(share, 4)], "within_share": limits["within_share_by_time"]}
    return place
