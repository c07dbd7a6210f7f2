"""What the everyday copy of a side puts right: always what the check said of its channels, more only when asked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from takeup.measure.sound.alike import Alike, begin_alike, finish_alike, step_alike
from takeup.measure.sound.hum_course import HumCourse, begin_course, finish_course, step_course
from takeup.media.probe import look_at
from takeup.media.sound_copy import Chain, Through, measure_loudness
from takeup.media.sound_mend import Mends
from takeup.plan.finishing import plan_mend, plan_mono, plan_trim
from takeup.plan.mending import Mending, plan_mending
from takeup.streams import Report
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, seconds_to

Note = tuple[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class MendedSide:
    """A side's chain before any gain, what it puts right (plain, for the answer), and what is to be said about it."""

    chain: Chain
    mended: tuple[Mapping[str, Any], ...]
    notes: tuple[Note, ...]


def mended_chain(side: Chosen, asked: tuple[str, ...], rows: Rows, ears: Ears) -> MendedSide:
    """Plan a side's copy: trimmed outside the programme, channels put right, and what was asked for mended."""
    path, report = side.stored[0], side.reports[0]
    total = report.seconds if report else None
    sound = look_at(path).sound
    channels = min(2, sound.channels) if sound else 2
    plan = plan_mending(report, asked, rows)
    chain = _plain_chain(path, report, channels, total, rows)
    chain = replace(chain, speed=plan.speed)
    course = _course(path, chain, channels, plan, seconds_to(ears, f"{side.name}: hum", total))
    late_us = plan.late_us * plan.speed if channels == 2 and chain.mend not in ("left-only", "right-only") else 0.0
    if late_us or course:
        chain = replace(chain, mends=Mends(late_us=late_us, hum=course))
    if chain.mend == "none" and channels == 2:
        alike = _alike(path, chain, report, rows, seconds_to(ears, f"{side.name}: channels", total))
        chain = replace(chain, mend=plan_mono(alike, 0.0 if late_us else _late(report), rows))
    return MendedSide(
        chain=chain, mended=tuple(_said(plan, course, late_us)), notes=tuple(_notes(side, chain, plan, course, late_us))
    )


def _plain_chain(path: Path, report: Report | None, channels: int, total: float | None, rows: Rows) -> Chain:
    limits = rows.section("formats.sound.copy")
    names = {finding.name for finding in report.findings} if report else set()
    peaks = measure_loudness(path).channels_dbtp if "channel_missing" in names else ()
    stretch = plan_trim(report, total, rows) if total else None
    return Chain(
        rate_hz=limits["rate_hz"],
        mend=plan_mend(report, channels, peaks),
        from_s=stretch[0] if stretch else None,
        to_s=stretch[1] if stretch else None,
        fades_s=(limits["fade_in_s"], limits["fade_out_s"]) if stretch else None,
        centre_hz=limits["centre_hz"] if "dc_offset" in names else 0.0,
    )


def _course(path: Path, chain: Chain, channels: int, plan: Mending, hear: Any) -> HumCourse | None:
    """How the hum goes over the copy's own time; None when none is wanted or found."""
    if plan.hum_hz is None:
        return None
    state = begin_course(chain.rate_hz, channels, plan.hum_hz / plan.speed)
    for block in Through(path, chain, hear=hear).samples():
        state = step_course(state, block)
    return finish_course(state)


def _alike(path: Path, chain: Chain, report: Report | None, rows: Rows, hear: Any) -> Alike | None:
    """Whether both channels hold one sound; looked at only where the check makes it likely."""
    measured = report.measures.get("channel_correlation") if report else None
    value = measured.value if measured else None
    if value is None or value < rows.value("formats.sound.mono.correlation"):
        return None
    state = begin_alike(chain.rate_hz)
    for block in Through(path, chain, hear=hear).samples():
        state = step_alike(state, block)
    return finish_alike(state)


def _late(report: Report | None) -> float:
    """The delay that stays in the copy; without a figure nobody knows, and the channels are not added up."""
    measured = report.measures.get("channel_delay") if report else None
    return float(measured.value) if measured and isinstance(measured.value, (int, float)) else math.inf


def _said(plan: Mending, course: HumCourse | None, late_us: float) -> list[dict[str, Any]]:
    said: list[dict[str, Any]] = []
    if late_us:
        said.append({"what": "azimuth", "late": "right" if late_us > 0 else "left", "by_us": round(abs(late_us), 3)})
    if course:
        lines = [round(number * course.hz * plan.speed, 3) for number in course.numbers]
        said.append({"what": "hum", "hz": plan.hum_hz, "lines_hz": lines, "dbfs": _dbfs(course)})
    if plan.speed != 1.0:
        said.append({"what": "speed", "slowed_by": round(plan.speed, 6)})
    return said


def _notes(side: Chosen, chain: Chain, plan: Mending, course: HumCourse | None, late_us: float) -> list[Note]:
    name = {"name": side.name}
    notes: list[Note] = [(f"finish.mended-{chain.mend}", name)] if chain.mend != "none" else []
    if late_us:
        late = {"side": "@side.right" if late_us > 0 else "@side.left", "late": abs(late_us)}
        notes.append(("finish.mended-azimuth", name | late))
    if course:
        notes.append(("finish.mended-hum", name | {"hz": plan.hum_hz, "lines": len(course.numbers)}))
    if plan.speed != 1.0 and plan.speed_between:
        low, high = plan.speed_between
        percent = {"percent": abs(100 * (plan.speed - 1)), "low": low, "high": high}
        notes.append((f"finish.mended-speed-{'fast' if plan.speed > 1 else 'slow'}", name | percent))
    left = [*plan.left]
    if plan.hum_hz is not None and course is None:
        left.append(("hum", "not-told"))
    if plan.late_us and not late_us:
        left.append(("azimuth", "not-told"))
    return [*notes, *((f"finish.left-{word}.{why}", name) for word, why in left)]


def _dbfs(course: HumCourse) -> float:
    return round(10 * math.log10(max(course.mean_square, 1e-20)), 2)
