"""Is the capture too quiet for its bits, was no room left above it, is it off centre?"""

from __future__ import annotations

import math

from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, SoundStream
from takeup.tables.rows import Rows


def judge_level(facts: SoundFacts, stream: SoundStream, rows: Rows, *, clipped: bool) -> list[Finding]:
    """``too_quiet`` only where the tape's own noise drowns in the converter's or 16 bits are too few.

    ``too_loud`` where full scale is touched again and again, but never long enough to be sure of ``clipping``.
    """
    if not facts.has_programme or not facts.peak or stream.lossy:
        return []
    limits = rows.section("sound.level")
    if facts.seconds < limits["shortest_s"]:
        return []
    if facts.rail_places >= limits["loud_peaks"] and not clipped:
        return [_loud(facts)]
    peak = 20 * math.log10(max(facts.true_peak))
    coarse = stream.bits is not None and stream.bits <= 16
    if coarse and peak < limits["quiet_16_dbtp"]:
        return [_quiet("too_quiet.sixteen-bits", peak, facts, ("sound.level.quiet_16_dbtp",))]
    floor = facts.floor
    converter = facts.states.electronics_dbfs
    if converter is None or converter > limits["converter_dbfs"]:
        converter = limits["converter_dbfs"]
    drowned = floor is not None and not floor.at_most and floor.dbfs < converter + limits["above_converter_db"]
    if not coarse and peak < limits["quiet_dbtp"] and drowned:
        rows_ = ("sound.level.quiet_dbtp", "sound.level.converter_dbfs", "sound.level.above_converter_db")
        return [_quiet("too_quiet.drowned", peak, facts, rows_)]
    return []


def _loud(facts: SoundFacts) -> Finding:
    return Finding(
        name="too_loud",
        verdict="look",
        again="may help",
        value=facts.rail_places,
        unit="places",
        facts={"places": facts.rail_places},
        rows=("sound.level.loud_peaks",),
    )


def _quiet(says: str, peak: float, facts: SoundFacts, rows: tuple[str, ...]) -> Finding:
    return Finding(
        name="too_quiet",
        verdict="redo",
        again="helps",
        says=says,
        value=round(peak, 1),
        unit="dBTP",
        facts={"peak": peak, "floor": facts.floor.dbfs if facts.floor else None},
        rows=rows,
    )


def judge_dc_offset(facts: SoundFacts, rows: Rows) -> list[Finding]:
    """A centre line beside zero: told, mended in the copy, never a reason to play a tape again."""
    if facts.digitally_silent or not facts.dc or facts.seconds < rows.value("sound.dc_offset.shortest_s"):
        return []
    worst = max(facts.dc, key=abs)
    if abs(worst) < rows.value("sound.dc_offset.look_share"):
        return []
    return [
        Finding(
            name="dc_offset",
            verdict="look",
            again="may help",
            value=round(worst, 6),
            unit="share of full scale",
            facts={"share": abs(worst)},
            rows=("sound.dc_offset.look_share",),
        )
    ]
