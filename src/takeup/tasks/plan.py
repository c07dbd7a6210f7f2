"""Plans a box or an item list: time, bytes, settings, visits, drive; refused originals are named, not planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from takeup.judge.screening import Screening, judge_original
from takeup.plan.copies import plan_profile
from takeup.plan.job import Job, Planned, plan_job
from takeup.plan.visits import Visit
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.decide import decisions
from takeup.tasks.originals import originals_of
from takeup.words.sentences import say
from takeup.words.units import size


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plan, and what screening says of each original (refused ones have no place in the plan)."""

    originals: tuple[Original, ...]
    job: Job
    screenings: dict[str, Screening]


def plan(target: Path, settings: Settings) -> Plan:
    """Plan a box or an item list. Writes nothing."""
    rows = load_rows()
    originals = tuple(originals_of(target, settings))
    decided = decisions(target, settings) if target.is_dir() else {}
    screenings = {original.id: _screened(judge_original(original, rows), decided) for original in originals}
    played = [one for one in originals if one.carrier != "other" and screenings[one.id].outcome != "refuse"]
    return Plan(
        originals=originals, job=plan_job(played, rows, plan_profile(settings.video_copy, rows)), screenings=screenings
    )


def _screened(screening: Screening, decided: Mapping[str, str]) -> Screening:
    """What screening says, with what staff decided upon it."""
    outcome = decided.get(screening.item)
    return replace(screening, outcome=outcome) if outcome else screening


def plan_answer(made: Plan, lang: str) -> dict[str, Any]:
    """``plan --json``."""
    planned = {one.item: one for one in made.job.items}
    items, left_out = [], []
    for original in made.originals:
        screening = made.screenings[original.id]
        if original.id in planned:
            items.append(_item(planned[original.id], screening, lang))
            continue
        why = say("screening", screening.reasons[0].key, lang, screening.reasons[0].facts)
        items.append(_left_out(original, screening, why))
        left_out.append({"id": original.id, "outcome": screening.outcome, "why": why})
    drive = made.job.drive
    facts = {
        "bytes": drive.bytes,
        "largest": drive.largest_bytes,
        "bring": drive.bring_bytes and size(drive.bring_bytes),
    }
    why = say("answers", drive.why, lang, facts)
    bring = "drive.bring" if drive.bring_bytes else "drive.several"
    return {
        "items": items,
        "visits": [_visit(visit) for visit in made.job.visits],
        "drive": {
            "bytes": drive.bytes,
            "copies_only_bytes": drive.copies_only_bytes,
            "filesystem": drive.filesystem,
            "why": f"{say('answers', bring, lang, facts)} {why}",
            "bring_bytes": drive.bring_bytes,
            "copies_only_bring_bytes": drive.copies_only_bring_bytes,
        },
        "left_out": left_out,
    }


def _item(one: Planned, screening: Screening, lang: str) -> dict[str, Any]:
    notes = [say("answers", f"plan.assumed.{column}", lang, {"value": value}) for column, value in one.assumed.items()]
    if one.parts > 1:
        notes.append(say("answers", "plan.parts", lang, {"parts": one.parts}))
    if screening.outcome in ("prepare", "ask"):
        notes.append(say("answers", f"plan.first.{screening.outcome}", lang))
    return {
        "id": one.item,
        "station": one.station,
        "minutes_likely": one.minutes_likely,
        "minutes_safe": one.minutes_safe,
        "master_bytes": one.room.master_bytes,
        "copy_bytes": one.room.copy_bytes,
        "settings": dict(one.settings),
        "outcome": screening.outcome,
        "assumed": dict(one.assumed),
        "notes": notes,
    }


def _left_out(original: Original, screening: Screening, why: str) -> dict[str, Any]:
    nothing = {"minutes_likely": 0.0, "minutes_safe": 0.0, "master_bytes": 0, "copy_bytes": 0, "settings": {}}
    about = {"id": original.id, "station": load_rows().value(f"carriers.{original.carrier}.station") or None}
    return about | nothing | {"outcome": screening.outcome, "assumed": {}, "notes": [why]}


def _visit(visit: Visit) -> dict[str, Any]:
    parts = {one.item: f"{one.part}/{one.parts}" for one in visit.stretches if one.parts > 1}
    answer = {"station": visit.station, "minutes": visit.minutes, "items": [one.item for one in visit.stretches]}
    return answer | ({"parts": parts} if parts else {})
