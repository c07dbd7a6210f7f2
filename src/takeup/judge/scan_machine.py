"""The machine's own faults: streaks, bands, repeated and lost lines, rings, dust. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from takeup.measure.scan.rings import Rings
from takeup.measure.scan.scan_lines import ScanLines
from takeup.measure.scan.specks import Specks, Spot
from takeup.measure.scan.streaks import Streaks
from takeup.streams import Finding, Measured, Verdict
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

MOST_TOLD = 8  # streaks that are told one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """What one scan showed of its machine. ``lid``: whether lid was seen at all; ``spots``: for its whole session."""

    lid: bool = False
    streaks: Streaks | None = None
    lines: ScanLines | None = None
    dust: tuple[Specks, ...] = ()
    rings: tuple[Rings, ...] = ()
    spots: tuple[Spot, ...] = ()


def streaks_figure(seen: Seen) -> Measured:
    """How many streaks the lid shows, with each one's place and strength, and the weakest that would be told."""
    if seen.broken:
        return Measured(value=None, unit="count", why="scan.not-whole")
    if not seen.machine.lid:
        return Measured(value=None, unit="count", why="scan.no-lid")
    found = seen.machine.streaks
    if found is None:
        return Measured(value=None, unit="count", why="scan.little-lid")
    extra: dict[str, Any] = {"least_levels": round(found.least, 2), "columns_seen": round(found.seen, 3)}
    if found.found:
        extra["at"] = [[one.x, one.width, round(one.levels, 2)] for one in found.found]
    return Measured(value=len(found.found), unit="count", extra=extra)


def machine_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """What the machine did to the scan."""
    return _streaks(seen, rows) + _lines(seen, rows) + _rings(seen, rows) + _dust(seen, family, rows)


def _streaks(seen: Seen, rows: Rows) -> list[Finding]:
    found = seen.machine.streaks
    if found is None:
        return []
    findings = []
    for one in sorted(found.found, key=lambda one: -abs(one.levels))[:MOST_TOLD]:
        strong = abs(one.levels) >= rows.value("scan.streaks.redo")
        says = f"streak.{'whole' if one.whole else 'part'}{'' if one.levels > 0 else '.dark'}"
        findings.append(
            Finding(name="streak", verdict="redo" if strong else "look", again="helps", says=says,
                    area=(one.x, one.y, one.width, one.height), value=round(one.levels, 2), unit="levels",
                    facts={"levels": abs(one.levels), "count": len(found.found), "column": one.x},
                    rows=("scan.streaks.redo",) if strong else ("scan.streaks.certain", "scan.streaks.least"))
        )  # fmt: skip
    return findings


def _lines(seen: Seen, rows: Rows) -> list[Finding]:
    lines, width = seen.machine.lines, seen.image.width
    if lines is None:
        return []
    findings = []
    kinds: tuple[tuple[str, tuple[tuple[int, int], ...], Verdict], ...] = (
        ("banding.lost", lines.lost, "redo"),
        ("banding.repeated", lines.repeated, "look"),
    )
    for says, runs, verdict in kinds:
        for top, count in runs:
            findings.append(
                Finding(name="banding", verdict=verdict, again="helps", says=says, area=(0, top, width, count),
                        value=count, unit="rows", facts={"row": top, "count": count}, rows=("scan.lines.most",))
            )  # fmt: skip
    least, clear = rows.value("scan.banding.least"), rows.value("scan.banding.clear")
    if lines.levels is not None and lines.period_rows and lines.clear >= clear and lines.levels >= least:
        ppi = seen.image.ppi_stated
        facts: dict[str, Any] = {"rows": lines.period_rows, "levels": lines.levels}
        says = "banding"
        if ppi:
            facts["mm"], says = lines.period_rows / ppi * 25.4, "banding.mm"
        findings.append(
            Finding(name="banding", verdict="look", again="may help", says=says, value=round(lines.levels, 3),
                    unit="levels", facts=facts, rows=("scan.banding.least", "scan.banding.clear"))
        )  # fmt: skip
    return findings


def _rings(seen: Seen, rows: Rows) -> list[Finding]:
    findings = []
    for one in seen.machine.rings:
        told = (one.coloured, "scan.rings.coloured") if one.coloured is not None else (one.clear, "scan.rings.grey")
        if told[0] >= rows.value(told[1]) and not any(_fills(tool, one.area) for tool in seen.tools):
            findings.append(
                Finding(name="rings", verdict="look", again="helps", area=one.area, value=round(one.first_px, 1),
                        unit="px", facts={"x": one.x, "y": one.y}, rows=(told[1],))
            )  # fmt: skip
    return findings


def _fills(tool: tuple[float, float, float, float], area: tuple[float, float, float, float]) -> bool:
    """Whether what was looked at is a chart or a ruler: even patches and ticks are waves, too."""
    wide = min(tool[0] + tool[2], area[0] + area[2]) - max(tool[0], area[0])
    high = min(tool[1] + tool[3], area[1] + area[3]) - max(tool[1], area[1])
    return wide > 0 and high > 0 and wide * high > 0.5 * area[2] * area[3]


def _dust(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    least, density = rows.value("scan.dust.least"), rows.value("scan.dust.density")
    dusty = [
        one for one in seen.machine.dust
        if one.count >= least and one.count / max(one.smooth * one.looked / 1e6, 1e-6) >= density
    ]  # fmt: skip
    if not dusty:
        return []
    worst = max(dusty, key=lambda one: one.count)
    return [
        Finding(name="dust", verdict="look", again="helps", says="dust.film" if family == "film" else "dust.print",
                area=worst.area, value=worst.count, unit="specks", facts={"count": worst.count, "pictures": len(dusty)},
                rows=("scan.dust.least", "scan.dust.density"))
    ]  # fmt: skip
