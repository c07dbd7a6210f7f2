"""Cut tops are the station's: again at a lower level. A lossy copy shows nothing that a second try could mend."""

from __future__ import annotations

import math
from collections.abc import Iterable

from takeup.measure.sound.clipping import CutTops
from takeup.measure.sound.tops import FlatTops
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


def judge_flat_tops(
    flat: FlatTops | None, stuck: Iterable[CutTops], hop_s: float, stream: SoundStream, rows: Rows
) -> list[Finding]:
    """Tops that were cut, and the file changed later; not where stuck samples (``stuck``) tell of most of them."""
    if flat is None or stream.lossy or not _cut(flat, rows):
        return []
    gap = rows.value("sound.clipping.gap_s") / hop_s
    told = [one for one in stuck if judge_stretch(one, hop_s, stream, rows, over=True) is not None]
    rest = [
        one
        for one in flat.stretches
        if not any(one.first <= other.end + gap and one.end >= other.first - gap for other in told)
    ]
    if 2 * sum(one.runs for one in rest) < flat.tops:
        return []
    names = ["fewest_tops", "of_flat", "of_height", "spread", "spread_by_slope", "ripple_least"]
    names += ["ripple_units", "corner", "ear_low", "ear_high"]
    names += ["steady_tops", "steady_of_flat", "steady_noise", "ripple_by_slope"] if flat.steady else []
    return [
        Finding(
            name="clipping",
            verdict="redo",
            again="helps",
            says="clipping.changed-later",
            from_s=round(one.first * hop_s, 3),
            to_s=round(one.end * hop_s, 3),
            value=one.samples,
            unit="samples",
            facts={"level_db": 20 * math.log10(flat.level)},
            rows=tuple(f"sound.flat_tops.{name}" for name in names),
        )
        for one in rest
    ]


def _cut(flat: FlatTops, rows: Rows) -> bool:
    """Whether these tops were cut for certain: many, at one height, with corners, and hardly a round one there."""
    limits = rows.section("sound.flat_tops")
    cut = (
        flat.tops >= limits["fewest_tops"]
        and flat.of_flat >= limits["of_flat"]
        and flat.of_height >= limits["of_height"]
        and flat.spread <= limits["spread"] + limits["spread_by_slope"] * flat.slope
        and (flat.spread >= limits["ripple_least"] * flat.slope or flat.length >= limits["ripple_units"])
        and flat.corner is not None
        and flat.corner >= limits["corner"]
        and limits["ear_low"] <= flat.ear <= limits["ear_high"]
    )
    if not cut or not flat.steady:
        return cut
    quiet = flat.noise is None or flat.noise <= limits["steady_noise"]
    return (
        flat.tops >= limits["steady_tops"]
        and flat.of_flat >= limits["steady_of_flat"]
        and (quiet or flat.spread <= limits["ripple_by_slope"] * flat.slope)
    )
