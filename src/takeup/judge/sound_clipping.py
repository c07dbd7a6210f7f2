"""Cut tops are the station's: again at a lower level. A lossy copy shows nothing that a second try could mend."""

from __future__ import annotations

import math
from collections.abc import Iterable

from takeup.measure.sound.clipping import CutTops
from takeup.streams import Finding, SoundStream
from takeup.tables.rows import Rows


def judge_clipping(stretches: Iterable[CutTops], hop_s: float, stream: SoundStream, rows: Rows) -> list[Finding]:
    """One finding for each stretch of cut tops."""
    return [
        finding
        for stretch in stretches
        if (finding := judge_stretch(stretch, hop_s, stream, rows, over=True)) is not None
    ]


def judge_stretch(stretch: CutTops, hop_s: float, stream: SoundStream, rows: Rows, *, over: bool) -> Finding | None:
    """The finding of one stretch; while it lasts (not ``over``) without its end and its count."""
    limits = rows.section("sound.clipping")
    at_rail = stretch.level >= limits["rail"]
    if not at_rail and stretch.runs < limits["least_runs_below"]:
        return None
    says = "clipping.lossy" if stream.lossy else "clipping.at-input" if at_rail else "clipping.lowered"
    return Finding(
        name="clipping",
        verdict="look" if stream.lossy else "redo",
        again="no" if stream.lossy else "helps",
        says=says,
        from_s=round(stretch.first * hop_s, 3),
        to_s=round(stretch.end * hop_s, 3) if over else None,
        value=stretch.samples if over else None,
        unit="samples",
        facts={"level_db": 20 * math.log10(stretch.level)},
        rows=("sound.clipping.rail", "sound.clipping.flat_tops_are_ours")
        + (() if at_rail else ("sound.clipping.least_runs_below",)),
    )
