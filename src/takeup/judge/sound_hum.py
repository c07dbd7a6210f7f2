"""Whose hum is it, the tape's or the station's; and what the tape's own hum says about speed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any

from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.hum import HumLine
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

MAINS_HZ = (50, 60)
HALVES = 2  # the measure counts in halves of the mains frequency
STATION, TAPE, UNKNOWN = "station", "tape", "unknown"
RECTIFIED = 4  # halves: twice the mains, what a rectifier leaves, or the mains of a tape at double speed
SECOND, THIRD = 8, 12  # multiples of the base: twice and three times the line at double speed


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """A line that is hum and no music, and where it comes from."""

    line: HumLine
    source: str  # station, tape, unknown


def sourced_hum(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> tuple[Sourced, ...]:
    """All families that are hum, loudest first."""
    if deep.hum is None:
        return ()
    limits = rows.section("sound.hum")
    return tuple(
        Sourced(line=line, source=_source(line, limits, known.mains_hz))
        for line in deep.hum.lines
        if _is_hum(line, facts, limits, known)
    )


def said_hum(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> Measured:
    """The loudest family, and the others beside it."""
    found = sourced_hum(facts, deep, rows, known)
    if not found:
        why = "sound.silent" if facts.digitally_silent else "sound.short" if deep.hum is None else "sound.no-hum"
        return Measured(value=None, unit="dBFS", why=why)
    extra: dict[str, Any] = {"hz": round(found[0].line.hz, 4), "from": found[0].source}
    if len(found) > 1:
        extra["also"] = [
            {"dbfs": round(one.line.dbfs, 3), "hz": round(one.line.hz, 4), "from": one.source} for one in found[1:]
        ]
    return Measured(value=round(found[0].line.dbfs, 3), unit="dBFS", extra=extra)


def judge_hum(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> list[Finding]:
    """Hum that can be heard: the station's is worth another try, the tape's is not."""
    limits = rows.section("sound.hum")
    programme = facts.lufs if facts.lufs is not None else limits["quiet_dbfs"]
    least = programme - limits["under_programme_db"]
    if facts.floor is not None and not facts.floor.at_most:
        least = max(least, facts.floor.dbfs - limits["under_floor_db"])
    findings: dict[str, Finding] = {}
    for one in sourced_hum(facts, deep, rows, known):
        if one.line.dbfs < least or one.source in findings:
            continue
        verdict, again = {STATION: ("redo", "helps"), TAPE: ("look", "no"), UNKNOWN: ("look", "may help")}[one.source]
        findings[one.source] = Finding(
            name="hum",
            verdict=verdict,  # type: ignore[arg-type]
            again=again,  # type: ignore[arg-type]
            says=f"hum.{one.source}",
            value=round(one.line.dbfs, 1),
            unit="dBFS",
            facts={"level": one.line.dbfs, "hz": one.line.hz, "mains": known.mains_hz},
            rows=("sound.hum.under_programme_db", "sound.hum.under_floor_db", "sound.hum.station_share"),
        )
    return list(findings.values())


def _is_hum(line: HumLine, facts: SoundFacts, limits: dict[str, Any], known: SoundKnown) -> bool:
    """Hum is there all the time, in the pauses too, and alike; a note is not."""
    if line.share < limits["least_share"] or line.uneven_db > limits["uneven_db"]:
        return False
    if line.pause_db is not None and abs(line.pause_db) > limits["pause_db"]:
        return False
    if line.step < HALVES and not _half_speed(line, limits, known):
        return False
    apart = min(abs(line.hz / (mains * line.step / HALVES) - 1) for mains in MAINS_HZ)
    several = len(line.levels_dbfs) > 1
    if apart <= limits["station_share"] and line.absent_share <= limits["absent_share"]:
        return several or line.step == HALVES or line.pause_db is not None  # where a mains line stands, nowhere away
    leader = line.leader_db is not None and line.leader_db > -limits["leader_same_db"]
    if (line.pause_db is not None or leader) and (several or line.step == HALVES):
        return True
    if line.step > HALVES and not several and apart > limits["grid_share"]:
        return False  # one line alone at twice the mains may be anything
    if not facts.has_programme:
        return True
    under = facts.lufs is not None and line.dbfs < facts.lufs - limits["drone_db"]
    whole = line.step in line.levels_dbfs and apart <= limits["far_share"]
    return under and whole and line.uneven_db <= limits["drone_uneven_db"]


def _half_speed(line: HumLine, limits: dict[str, Any], known: SoundKnown) -> bool:
    """Odd multiples of half the mains: the mains of the recording at half speed, where those are known."""
    mains = known.recorded_mains_hz
    low = [multiple for multiple in line.levels_dbfs if multiple <= RECTIFIED]
    return (
        mains is not None
        and len(low) > 1
        and any(one % HALVES for one in low)
        and abs(2 * line.hz / mains - 1) <= limits["half_share"]
    )


def _source(line: HumLine, limits: dict[str, Any], mains_hz: int) -> str:
    nominal = mains_hz * (line.step / HALVES)
    apart = abs(line.hz / nominal - 1)
    moves = max(line.spread_hz, 0.0) / line.hz
    if line.step < HALVES or apart > limits["grid_share"] or moves > limits["grid_moves_share"]:
        return TAPE
    if line.leader_db is not None:
        if line.leader_db > -limits["leader_same_db"]:
            return STATION
        if line.leader_db < -limits["leader_gone_db"]:
            return TAPE
    return STATION if apart <= limits["station_share"] else UNKNOWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """How much too fast the tape plays [%], within which limits."""

    percent: float
    low: float
    high: float


def told_speed(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> Speed | str:
    """The speed from a line that the tape brought along, or why it cannot be told."""
    found = sourced_hum(facts, deep, rows, known)
    if not found:
        return "sound.silent" if facts.digitally_silent else "sound.short" if deep.hum is None else "sound.no-line"
    told = [one for one in found if one.source != STATION]
    if not told:
        return "sound.station-line"
    told.sort(key=lambda one: one.source != TAPE)
    for one in told:
        ratio = _ratio(one.line, known, rows.section("sound.speed"))
        if ratio is not None:
            return _with_limits(ratio, one.line, facts.seconds, rows.section("sound.speed"))
    return "sound.twice-mains" if told[0].line.step == RECTIFIED else "sound.mains-unknown"


def _ratio(line: HumLine, known: SoundKnown, limits: dict[str, Any]) -> float | None:
    """Line against the mains where the tape was recorded; None where several readings are as good."""
    recorded = known.recorded_mains_hz
    if line.step == HALVES:
        options: Sequence[int] = (recorded,) if recorded else MAINS_HZ
        ratio = min((line.hz / mains for mains in options), key=lambda one: abs(one - 1))
        reach = limits["known_mains_share"] if recorded else limits["unknown_mains_share"]
        return ratio if abs(ratio - 1) <= reach else None
    if recorded is None:
        return None
    ratio = line.hz / recorded
    if abs(ratio / (line.step / HALVES) - 1) > limits["unknown_mains_share"]:
        return None
    if line.step == RECTIFIED:
        levels = line.levels_dbfs
        odd = THIRD in levels and levels[THIRD] > levels.get(SECOND, -200.0)
        return ratio if odd else None  # a rectifier's third line never tops its second; magnetic pick-up's does
    return ratio


def _with_limits(ratio: float, line: HumLine, seconds: float, limits: dict[str, Any]) -> Speed:
    """The grid's own deviation, and the error of the estimate."""
    long = seconds * line.share >= limits["long_s"]
    grid = limits["grid_long_percent"] if long else limits["grid_worst_percent"]
    percent, error = 100 * (ratio - 1), 200 * line.error_hz / line.hz
    reach = hypot(grid, error) * ratio
    return Speed(percent=percent, low=percent - reach, high=percent + reach)


def said_speed(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> Measured:
    """The speed error with its limits."""
    speed = told_speed(facts, deep, rows, known)
    if isinstance(speed, str):
        return Measured(value=None, unit="%", why=speed)
    return Measured(
        value=round(speed.percent, 4), unit="%", extra={"low": round(speed.low, 4), "high": round(speed.high, 4)}
    )


def judge_speed(facts: SoundFacts, deep: DeepFacts, rows: Rows, known: SoundKnown) -> list[Finding]:
    """A wrong speed is put right in the copy; half or double speed is a switch at the deck."""
    speed = told_speed(facts, deep, rows, known)
    limits = rows.section("sound.speed")
    if isinstance(speed, str) or abs(speed.percent) < limits["look_percent"]:
        return []
    ratio = 1 + speed.percent / 100
    switched = [name for name, wanted in (("half", 0.5), ("double", 2.0)) if abs(ratio / wanted - 1) <= limits["near"]]
    says = f"off_speed.{switched[0]}" if switched else "off_speed.fast" if speed.percent > 0 else "off_speed.slow"
    return [
        Finding(
            name="off_speed",
            verdict="redo" if switched else "look",
            again="helps" if switched else "may help",
            says=says,
            value=round(speed.percent, 2),
            unit="%",
            facts={"percent": abs(speed.percent), "low": min(abs(speed.low), abs(speed.high))}
            | {"high": max(abs(speed.low), abs(speed.high))},
            rows=("sound.speed.look_percent", "sound.speed.grid_worst_percent"),
        )
    ]
