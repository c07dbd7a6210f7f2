"""Does each channel hold what it should: missing, the wrong way round, late?"""

from __future__ import annotations

from takeup.measure.sound.channels import Channel
from takeup.measure.sound.delay import Delay
from takeup.measure.sound.history import NOTHING_DBFS
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

SIDES = ("left", "right")


def judge_channels(facts: SoundFacts, rows: Rows) -> list[Finding]:
    """``channel_missing`` (``redo`` when even the hiss is missing) or ``channel_antiphase``."""
    if len(facts.channels) != 2 or facts.seconds < rows.value("sound.channels.shortest_s"):
        return []
    loud = max(range(2), key=lambda at: facts.channels[at].programme_dbfs)
    missing = _missing(facts.channels[1 - loud], facts.channels[loud], SIDES[1 - loud], rows)
    if missing:
        return [missing]
    low = facts.pair.low_correlation if facts.pair else None
    if low is not None and low <= rows.value("sound.channels.antiphase"):
        return [
            Finding(
                name="channel_antiphase",
                verdict="look",
                again="no",
                value=round(low, 3),
                unit="1",
                rows=("sound.channels.antiphase",),
            )
        ]
    return []


def _missing(quiet: Channel, loud: Channel, side: str, rows: Rows) -> Finding | None:
    limits = rows.section("sound.channels")
    apart = loud.programme_dbfs - quiet.programme_dbfs
    if apart < limits["nearer_db"]:
        return None
    follows = quiet.pause_dbfs is None or quiet.programme_dbfs - quiet.pause_dbfs >= limits["follows_db"]
    alone = quiet.pause_dbfs is None and quiet.steady_share >= limits["steady_share"] > loud.steady_share
    if apart < limits["apart_db"] and follows and not alone:
        return None
    wanted = limits["electric_dbfs"]
    if loud.pause_dbfs is not None and not follows:
        wanted = max(wanted, loud.pause_dbfs - limits["hiss_under_db"])
    level = quiet.pause_dbfs if quiet.pause_dbfs is not None else quiet.programme_dbfs
    hiss = level >= wanted
    return Finding(
        name="channel_missing",
        verdict="look" if hiss else "redo",
        again="no" if hiss else "helps",
        says="channel_missing.hiss" if hiss else "channel_missing.no-hiss",
        value=round(quiet.programme_dbfs, 1) if quiet.programme_dbfs > NOTHING_DBFS else None,
        unit="dBFS" if quiet.programme_dbfs > NOTHING_DBFS else None,
        facts={"side": f"@side.{side}", "apart": apart},
        rows=("sound.channels.apart_db", "sound.channels.electric_dbfs", "sound.channels.hiss_under_db"),
    )


def said_delay(facts: SoundFacts, delay: Delay | None, carrier: str, rows: Rows) -> Measured:
    """The delay, where both channels hold the same sound and all parts of the capture agree on it."""
    if len(facts.true_peak) != 2:
        why = "sound.one-channel" if len(facts.true_peak) == 1 else "sound.two-only"
        return Measured(value=None, unit="µs", why=why)
    if not _coherent(facts, delay, rows):
        silent = facts.pair is None or facts.pair.correlation is None
        return Measured(value=None, unit="µs", why="sound.dead-channel" if silent else "sound.not-coherent")
    assert delay is not None
    late = delay.microseconds
    extra = {"arc_minutes": round(late / rows.value("sound.delay.arc_minute_us"), 3)} if carrier == "cassette" else {}
    return Measured(value=round(late, 3), unit="µs", extra=extra)


def judge_delay(facts: SoundFacts, delay: Delay | None, carrier: str, rows: Rows) -> list[Finding]:
    """A tape head that leans: worth one more try with the azimuth set by staff."""
    if carrier != "cassette" or not _coherent(facts, delay, rows) or delay is None:
        return []
    late, limit = delay.microseconds, rows.value("sound.delay.look_us")
    if abs(late) < limit:
        return []
    return [
        Finding(
            name="channel_delay",
            verdict="redo",
            again="may help",
            value=round(late, 2),
            unit="µs",
            facts={"side": "@side.right" if late > 0 else "@side.left", "late": abs(late)}
            | {"minutes": abs(late) / rows.value("sound.delay.arc_minute_us")},
            rows=("sound.delay.look_us", "sound.delay.arc_minute_us", "sound.delay.coherence"),
        )
    ]


def _coherent(facts: SoundFacts, delay: Delay | None, rows: Rows) -> bool:
    pair = facts.pair
    if delay is None or pair is None or pair.low_correlation is None or pair.low_correlation < 0:
        return False
    limits = rows.section("sound.delay")
    parts = (*delay.halves_us, *delay.bands_us)
    agree = max(parts) - min(parts) <= limits["steady_us"]
    return delay.coherence >= limits["coherence"] and agree
