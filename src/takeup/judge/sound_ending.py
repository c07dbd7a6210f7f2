"""Is the side whole? A tape that runs out is; one that stops in the middle of sound is not."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from takeup.measure.sound.ending import Ending
from takeup.measure.sound.history import runs_of
from takeup.measure.sound.states import ELECTRONICS, PROGRAMME, ZERO
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Again, Finding, SoundStream, Verdict
from takeup.tables.rows import Rows


def judge_silence(facts: SoundFacts, rows: Rows) -> list[Finding]:
    """A whole capture without sound: no signal at all (``redo``) or a blank tape (``look``); long holes inside."""
    limits = rows.section("sound.silence")
    if facts.seconds < limits["shortest_s"]:
        return []
    if not facts.has_programme or facts.loudest_dbfs < limits["nothing_dbfs"]:
        return [_whole_silence(facts, limits["nothing_dbfs"])]
    found = []
    programme = facts.states.state == PROGRAMME
    inside = runs_of(programme)
    first, last = int(inside[0, 0]), int(inside[-1, 1])
    kinds = [ZERO] + ([ELECTRONICS] if facts.states.hiss_dbfs is not None else [])
    for kind in kinds:
        for start, end in runs_of(facts.states.state == kind):
            if start > first and end < last and (end - start) * facts.hop_s >= limits["gap_s"]:
                found.append(_hole(start * facts.hop_s, end * facts.hop_s))
    return found


def _whole_silence(facts: SoundFacts, nothing_dbfs: float) -> Finding:
    blank = facts.has_hiss and facts.loudest_dbfs >= nothing_dbfs
    says = "silence.blank-tape" if blank else "silence.digital" if facts.digitally_silent else "silence.no-hiss"
    return Finding(
        name="silence",
        verdict="look" if blank else "redo",
        again="may help" if blank else "helps",
        says=says,
        from_s=0.0,
        to_s=round(facts.seconds, 3),
        value=round(facts.seconds, 3),
        unit="s",
        rows=("sound.silence.nothing_dbfs", "sound.states.hiss_lowest_dbfs"),
    )


def _hole(from_s: float, to_s: float) -> Finding:
    return Finding(
        name="silence",
        verdict="look",
        again="may help",
        says="silence.hole",
        from_s=round(from_s, 3),
        to_s=round(to_s, 3),
        value=round(to_s - from_s, 3),
        unit="s",
        rows=("sound.silence.gap_s",),
    )


def judge_ending(facts: SoundFacts, stream: SoundStream, rows: Rows) -> list[Finding]:
    """``redo`` for a file shorter than it says and for sound up to the last moment; ``look`` for a stop in a pause."""
    limits = rows.section("sound.ending")
    stated, end = stream.seconds_stated, facts.ending
    whole = end is not None and _is_whole(end, limits)
    shorter = "shorter_s" if stream.lossy else "shorter_lossless_s"
    if stated is not None and facts.seconds < stated - limits[shorter]:
        rows_: tuple[str, ...] = (f"sound.ending.{shorter}",)
        if whole:  # what is missing was blank tape
            return [_early("ends_early.cut-after", "look", "may help", facts, rows_, stated)]
        return [_early("ends_early.cut-file", "redo", "helps", facts, rows_, stated)]
    if end is None or whole or facts.loudest_dbfs < rows.value("sound.silence.nothing_dbfs"):
        return []
    if facts.seconds - end.to_s < limits["cut_s"]:
        return [_early("ends_early.in-sound", "redo", "helps", facts, ("sound.ending.cut_s", "sound.ending.hiss_s"))]
    rows_ = ("sound.ending.hiss_s", "sound.ending.pause_times")
    return [_early("ends_early.in-pause", "look", "may help", facts, rows_)]


def _is_whole(end: Ending, limits: Mapping[str, Any]) -> bool:
    """Stopped, faded out, or a silence clearly longer than the recording's own pauses."""
    pause = max(limits["least_hiss_s"], limits["pause_times"] * end.longest_pause_s)
    return end.stopped_s >= limits["stopped_s"] or end.faded or end.hiss_s >= min(limits["hiss_s"], pause)


def _early(
    says: str, verdict: Verdict, again: Again, facts: SoundFacts, rows: tuple[str, ...], stated: float | None = None
) -> Finding:
    return Finding(
        name="ends_early",
        verdict=verdict,
        again=again,
        says=says,
        value=round(facts.seconds, 3),
        unit="s",
        facts={"at": facts.seconds, "stated": stated, "hiss": facts.ending.hiss_s if facts.ending else 0.0},
        rows=rows,
    )
