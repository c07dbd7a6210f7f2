"""Screening: each original of a box or list gets its outcome; a box remembers it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.box.folder import Box, work_in
from takeup.judge.screening import Screening, judge_original
from takeup.settings import Settings
from takeup.tables.loader import load_rows, load_sources
from takeup.tables.rows import Row
from takeup.tasks.originals import originals_of
from takeup.words.sentences import say


def screen(target: Path, settings: Settings, *, only: str = "") -> list[Screening]:
    """Screen a box (and remember the outcomes there) or an item list (nothing is written).

    Parameters
    ----------
    only : str
        One item of a box, where an original is looked at by itself; empty: all of them.
    """
    rows = load_rows()
    if not target.is_dir():
        return [judge_original(original, rows) for original in originals_of(target, settings)]
    with work_in(target, "screen", settings) as box:
        wanted = [original for original in box.originals() if only in ("", original.id)]
        screenings = [judge_original(original, rows) for original in wanted]
        for screening in screenings:
            remember(box, screening)
        return screenings


def remember(box: Box, screening: Screening) -> None:
    """Note an outcome in the box's record, once: the same outcome again changes nothing."""
    keys = [reason.key for reason in screening.reasons]
    facts = {"outcome": screening.outcome, "why": keys, "do": keys, "cautions": list(screening.cautions)}
    standing = box.record.latest("screened", screening.item)
    if not standing or standing[-1].facts != facts:
        box.record.append("screened", facts, item=screening.item)


def worded(screening: Screening, lang: str) -> dict[str, Any]:
    """One entry of ``screen --json``: the outcome with its sentences, sources and cautions."""
    reasons = screening.reasons
    return {
        "id": screening.item,
        "outcome": screening.outcome,
        "why": [say("screening", reason.key, lang, reason.facts) for reason in reasons],
        "do": list(dict.fromkeys(say("screening", reason.key, lang, reason.facts, part="do") for reason in reasons)),
        "source": "; ".join(dict.fromkeys(cited(reason.row, lang) for reason in reasons)),
        "cautions": [say("cautions", key, lang) for key in screening.cautions],
    }


def cited(row: Row, lang: str) -> str:
    """A row's source as people read it: the work, the place in it, how well it is known."""
    if row.source == "house":
        return say("answers", "screen.own-rule", lang, {"where": row.where})
    source = load_sources()[row.source]
    work = ", ".join(part for part in (source["publisher"], source["title"], source["year"]) if part)
    return f"{work} ({row.where}; {row.grade})" if row.where else f"{work} ({row.grade})"
