"""Turns the facts about a capture of sound into the contract's figures and findings."""

from __future__ import annotations

import math

from takeup.judge.sound_bandwidth import judge_bandwidth, judge_lossy, judge_noise, said_bandwidth, said_bits
from takeup.judge.sound_born import figures_of_born, judge_born
from takeup.judge.sound_channels import judge_channels, judge_delay, said_delay
from takeup.judge.sound_clipping import judge_clipping, judge_flat_tops
from takeup.judge.sound_direction import judge_direction
from takeup.judge.sound_dropouts import judge_dropouts
from takeup.judge.sound_ending import judge_ending, judge_silence
from takeup.judge.sound_flutter import said_flutter
from takeup.judge.sound_hum import judge_hum, judge_speed, said_hum, said_speed
from takeup.judge.sound_known import SoundKnown
from takeup.judge.sound_level import judge_dc_offset, judge_level
from takeup.judge.sound_lost import judge_lost
from takeup.judge.sound_reel import judge_print_through, judge_turns, said_reel
from takeup.judge.sound_units import SOUND_UNITS
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.history import NOTHING_DBFS
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, Measured, SoundStream
from takeup.tables.rows import Rows


def judge_sound(
    facts: SoundFacts, deep: DeepFacts, stream: SoundStream, rows: Rows, known: SoundKnown
) -> tuple[dict[str, Measured], list[Finding]]:
    """Figures and findings of one capture.

    Parameters
    ----------
    facts, deep : SoundFacts, DeepFacts
        From the hops of 10 ms, and from the deeper listening.
    stream : SoundStream
        What the file says of its sound.
    rows : Rows
    known : SoundKnown
        What is known of the item and the lab.
    """
    findings: list[Finding] = []
    findings += judge_clipping(facts.clipping, facts.hop_s, stream, rows)
    findings += judge_flat_tops(deep.tops, facts.clipping, facts.hop_s, stream, rows)
    findings += judge_level(facts, stream, rows, clipped=bool(findings))
    findings += judge_dc_offset(facts, rows)
    findings += judge_channels(facts, rows)
    findings += judge_delay(facts, deep.delay, known.carrier, rows)
    findings += judge_dropouts(deep.dropouts, rows)
    findings += judge_hum(facts, deep, rows, known)
    findings += judge_speed(facts, deep, rows, known)
    findings += judge_direction(deep.direction, rows, known)
    findings += judge_lost(facts, deep, stream, rows, known)
    if not known.of_picture:
        findings += judge_lossy(deep.lossy, stream)
    findings += judge_bandwidth(deep.bandwidth, stream, rows, known)
    findings += judge_noise(facts, deep.bandwidth, rows, known)
    findings += judge_print_through(facts, deep, rows, known)
    findings += judge_turns(deep, rows, known)
    if not known.of_picture:
        findings += judge_silence(facts, rows)
        findings += judge_ending(facts, stream, rows)
    dead = any(finding.says == "channel_missing.no-hiss" for finding in findings)
    figures = measures(facts, deep, stream, known, rows, dead=dead)
    if known.born:
        figures, findings = figures_of_born(figures), judge_born(findings)
    return figures, sorted(findings, key=lambda one: (one.from_s is not None, one.from_s or 0))


def measures(
    facts: SoundFacts, deep: DeepFacts, stream: SoundStream, known: SoundKnown, rows: Rows, *, dead: bool = False
) -> dict[str, Measured]:
    """Every figure of the contract; one that cannot be told says why."""
    nothing = "sound.silent" if facts.digitally_silent else None
    figures = {
        "loudness": _loudness(facts, rows),
        "loudness_range": _range(facts, rows),
        "true_peak": _figure(_decibels(max(facts.true_peak, default=0.0)), "dBTP", "sound.silent", 3),
        "noise_floor": _floor(facts),
        "dc_offset": _figure(
            None if nothing else max(facts.dc, key=abs, default=None), SOUND_UNITS["dc_offset"], "sound.silent", 9
        ),
    }
    figures |= _of_two(facts, dead)
    figures["channel_delay"] = said_delay(facts, deep.delay, known.carrier, rows)
    figures["mains_hum"] = said_hum(facts, deep, rows, known)
    figures["speed_error"] = said_speed(facts, deep, rows, known)
    figures["wow_flutter"] = said_flutter(facts, deep, rows)
    figures["bandwidth"] = said_bandwidth(facts, deep.bandwidth)
    if not known.of_picture:
        figures["bits"] = said_bits(deep.bits, facts, stream)
    figures |= said_reel(facts, deep, rows, known)
    return figures


def _loudness(facts: SoundFacts, rows: Rows) -> Measured:
    short = facts.seconds < rows.value("sound.loudness.block_s")
    why = "sound.silent" if facts.digitally_silent else "sound.short" if short else "sound.below-gate"
    extra = {}
    if facts.momentary_lufs is not None and facts.lufs is not None:
        extra["momentary_max"] = round(facts.momentary_lufs, 3)
    if facts.short_term_lufs is not None and facts.lufs is not None:
        extra["short_term_max"] = round(facts.short_term_lufs, 3)
    return _figure(facts.lufs, "LUFS", why, 3, extra)


def _range(facts: SoundFacts, rows: Rows) -> Measured:
    shortest = rows.value("sound.loudness.range_shortest_s")
    if facts.digitally_silent:
        return Measured(value=None, unit="LU", why="sound.silent")
    if facts.seconds < shortest - 1e-6:
        facts_ = {"seconds": facts.seconds, "shortest": shortest}
        return Measured(value=None, unit="LU", why="sound.short-for-range", why_facts=facts_)
    return _figure(facts.range_lu, "LU", "sound.below-gate", 3)


def _floor(facts: SoundFacts) -> Measured:
    if facts.floor is None or facts.floor.dbfs <= NOTHING_DBFS:
        why = "sound.silent" if facts.digitally_silent or facts.floor is not None else "sound.short"
        return Measured(value=None, unit="dBFS", why=why)
    return Measured(
        value=round(facts.floor.dbfs, 3),
        unit="dBFS",
        extra={"at_most": True, "says": "at most"} if facts.floor.at_most else {"at_most": False},
    )


def _of_two(facts: SoundFacts, dead: bool) -> dict[str, Measured]:
    pair = facts.pair
    why = "sound.one-channel" if pair is None else "sound.silent" if facts.digitally_silent else "sound.dead-channel"
    if dead:
        pair = None
    return {
        "channel_balance": _figure(pair.balance_db if pair else None, "dB", why, 3),
        "channel_correlation": _figure(pair.correlation if pair else None, "1", why, 4),
    }


def _figure(value: float | None, unit: str, why: str, digits: int, extra: dict | None = None) -> Measured:
    if value is None or not math.isfinite(value):
        return Measured(value=None, unit=unit, why=why)
    return Measured(value=round(value, digits), unit=unit, extra=extra or {})


def _decibels(share: float) -> float | None:
    return 20 * math.log10(share) if share > 0 else None
