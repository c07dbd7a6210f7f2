"""Samples that the station lost: holes and repeats that no tape makes, and jumps of the station's own hum."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from takeup.judge.sound_hum import STATION, sourced_hum
from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.gaps import Gap
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, SoundStream
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    from_s: float
    to_s: float
    kind: str
    lost: int


def judge_lost(facts: SoundFacts, deep: DeepFacts, stream: SoundStream, rows: Rows, known: SoundKnown) -> list[Finding]:
    """One finding for each group of places that lie near each other. Lossy files tell nothing: coders make silence."""
    if stream.lossy or deep.gaps is None:
        return []
    limits = rows.section("sound.lost")
    rate = stream.rate_hz
    longest = limits["longest_hole_s"] * rate
    places = [_place(gap, rate) for gap in deep.gaps.places if gap.kind == "repeat"]
    holes = [gap for gap in deep.gaps.places if gap.kind == "hole" and gap.lost <= longest]
    if facts.has_hiss or not deep.gaps.long_holes:
        places += [_place(gap, rate) for gap in holes]
    steps = [at / rate for at in deep.gaps.steps]
    for one in sourced_hum(facts, deep, rows, known):
        if one.source == STATION:
            for jump in one.line.jumps:
                places += _jumped(jump.at_s, jump.ahead_s, steps, places, rate, limits["near_s"])
    return list(_findings(sorted(places, key=lambda place: place.from_s), limits["gap_s"]))


def judge_repeats(gaps: Iterable[Gap], stream: SoundStream, rows: Rows) -> list[Finding]:
    """Repeats alone, while the capture comes in: no later second undoes one. Without an end: more may follow."""
    if stream.lossy:
        return []
    places = [_place(gap, stream.rate_hz) for gap in gaps if gap.kind == "repeat"]
    return [_open(finding) for finding in _findings(places, rows.value("sound.lost.gap_s"))]


def _open(finding: Finding) -> Finding:
    return Finding(
        name=finding.name,
        verdict=finding.verdict,
        again=finding.again,
        says=finding.says,
        from_s=finding.from_s,
        unit=finding.unit,
        facts=finding.facts,
        rows=finding.rows,
    )


def _place(gap: Gap, rate_hz: int) -> _Place:
    return _Place(from_s=gap.at / rate_hz, to_s=(gap.at + gap.lost) / rate_hz, kind=gap.kind, lost=gap.lost)


def _jumped(
    at_s: float, ahead_s: float, steps: list[float], places: list[_Place], rate_hz: int, near_s: float
) -> list[_Place]:
    """A jump of the hum, at the step of the wave nearest to it; none where a hole or repeat is already told."""
    if any(place.from_s - near_s <= at_s <= place.to_s + near_s for place in places):
        return []
    near = [step for step in steps if abs(step - at_s) <= near_s]
    if near:
        at_s = min(near, key=lambda step: abs(step - at_s))
    return [_Place(from_s=at_s, to_s=at_s, kind="jump", lost=round(ahead_s * rate_hz))]


def _findings(places: list[_Place], gap_s: float) -> Iterable[Finding]:
    groups: list[list[_Place]] = []
    for place in places:
        if groups and place.kind == groups[-1][-1].kind and place.from_s - groups[-1][-1].to_s < gap_s:
            groups[-1].append(place)
        else:
            groups.append([place])
    for group in groups:
        yield Finding(
            name="lost_samples",
            verdict="redo",
            again="helps",
            says=f"lost_samples.{group[0].kind}",
            from_s=round(group[0].from_s, 3),
            to_s=round(group[-1].to_s, 3),
            value=sum(place.lost for place in group),
            unit="samples",
            facts={"places": len(group)},
            rows=("sound.lost.not_of_tape", "sound.lost.gap_s"),
        )
