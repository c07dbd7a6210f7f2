"""How sharp a scan is: the figure, the guideline's levels it meets, and when it is softer than it should be. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.measure.scan.natural_edges import TOOL, NaturalEdge
from takeup.measure.scan.text_edges import TextEdges
from takeup.streams import Finding, Measured, Report
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

UNIT = "cycles/pixel"
NYQUIST = 0.5
TENTH_OF_HALF = 1.8227  # of a Gaussian blur: where a tenth is left against where half is left


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """What the edges looked at gave. ``looked``: whether any was looked for (a scan of one bit has none); ``drawn``: it
    shows two even tones and their edges, as a target does."""

    edges: tuple[NaturalEdge, ...] = ()
    text: tuple[TextEdges, ...] = ()
    looked: bool = False
    drawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Across and down [cycles/pixel], None where no edge tells; ``tenth``: of the worse one; ``by``: paper, text,
    picture."""

    across: float | None
    down: float | None
    tenth: float
    most: float | None
    by: str
    edges: int

    @property
    def worse(self) -> float:
        return min(one for one in (self.across, self.down) if one is not None)


def sharpness(seen: Seen, family: str, rows: Rows) -> Measured:
    """The figure of the contract, with each direction and the levels it meets beside it."""
    if seen.broken:
        return Measured(value=None, unit=UNIT, why="scan.not-whole")
    told, why = _told(seen, family, rows)
    if told is None:
        return Measured(value=None, unit=UNIT, why=why)
    extra: dict[str, Any] = {"by": told.by, "edges": told.edges, "efficiency": round(efficiency(told.tenth), 3)}
    for name, one in (("across", told.across), ("down", told.down)):
        if one is not None:
            extra[name] = round(one, 4)
    if told.most is not None:
        extra["most"] = round(told.most, 3)
        extra["over_sharpened"] = told.most >= rows.value("scan.sharpness.most")[0]
    extra["meets"] = stars(told, family, rows)
    return Measured(value=round(told.worse, 4), unit=UNIT, extra=extra)


def efficiency(tenth: float) -> float:
    """The finest detail that keeps a tenth of its contrast, as a share of half-sampling."""
    return min(1.0, tenth / NYQUIST)


def stars(told: Told, family: str, rows: Rows) -> int:
    """How many of the guideline's levels the measured figures meet (0: none); a figure met is no level earned."""
    ends = rows.value(f"scan.sharpness.{_chapter(family)}.half")
    levels = zip(rows.value("scan.sharpness.efficiency"), ends, rows.value("scan.sharpness.most"), strict=True)
    met, share = 0, told.worse / NYQUIST
    for number, (least, (low, high), most) in enumerate(levels, start=1):
        too_much = told.most is not None and told.most > most + rows.value("scan.sharpness.most_slack")
        if efficiency(told.tenth) > least and low <= share <= high and not too_much:
            met = number
    return met


def soft_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """A scan, or one print on the glass, that is softer than the guideline's lowest level."""
    if seen.broken:
        return []
    paper = [edge for edge in seen.sharp.edges if edge.sought.kind == "paper"]
    prints = sorted({edge.sought.picture for edge in paper} - {TOOL})
    trusted = {n: _trusted([edge for edge in paper if edge.sought.picture == n], rows) for n in prints}
    told = {n: _of_edges(edges, 1.0, "paper") for n, edges in trusted.items()}
    enough = rows.value("scan.sharpness.least_edges")
    known = {n: one for n, one in told.items() if one is not None and one.edges >= enough}
    if known:
        return _soft_prints(seen, family, known, rows)
    if seen.sharp.text:
        return _soft_text(seen, family, rows)
    return []


def softer_than_before(now: Report, earlier: Sequence[Report], rows: Rows) -> Finding | None:
    """A scan that is softer than the last ones of the same kind from the same station, by more than they differ.

    Parameters
    ----------
    now : Report
    earlier : sequence of Report
        The station's own earlier scans of the same carrier, oldest first. Those of another resolution, or told by other
        edges, are left out here.
    """
    if any(finding.name == "soft" for finding in now.findings):
        return None
    mine = _comparable(now)
    if mine is None:
        return None
    last = int(rows.value("scan.sharpness.history.last"))
    values = [one[1] for one in map(_comparable, earlier) if one is not None and one[0] == mine[0]][-last:]
    if len(values) < rows.value("scan.sharpness.history.least"):
        return None
    usual = float(np.median(values))
    spread = 1.4826 * float(np.median(np.abs(np.array(values) - usual)))
    drop = rows.value("scan.sharpness.history.drop")
    if mine[1] >= usual * (1 - drop) or mine[1] >= usual - rows.value("scan.sharpness.history.spreads") * spread:
        return None
    facts = {"usual": round(usual, 3), "now": round(mine[1], 3), "share": 1 - mine[1] / usual, "scans": len(values)}
    return Finding(
        name="soft", verdict="look", again="may help", says="soft.than-before", value=round(mine[1], 4), unit=UNIT,
        facts=facts, rows=("scan.sharpness.history.drop", "scan.sharpness.history.least"),
    )  # fmt: skip


def _comparable(report: Report) -> tuple[tuple[Any, ...], float] | None:
    measured = report.measures.get("sharpness")
    if measured is None or measured.value is None:
        return None
    ppi = report.measures["ppi_stated"].value
    kind = (measured.extra.get("by"), None if ppi is None else round(ppi))
    return (kind, float(measured.value)) if kind[0] != "picture" else None


def _told(seen: Seen, family: str, rows: Rows) -> tuple[Told | None, str]:
    """The figure by the most trustworthy edges there are; else why there is none."""
    edges, quantile = seen.sharp.edges, rows.value("scan.sharpness.quantile")
    told = _of_edges(_trusted([edge for edge in edges if edge.sought.kind == "paper"], rows), quantile, "paper")
    if told is not None:
        return told, ""
    sure = [one for one in seen.sharp.text if one.sure]
    if sure:
        across, down = max(one.across for one in sure), max(one.down for one in sure)
        return Told(across=across, down=down, tenth=min(across, down) * TENTH_OF_HALF, most=None, by="text",
                    edges=len(sure)), ""  # fmt: skip
    if seen.sharp.text:
        return None, "scan.strokes-too-thin"
    drawn = [edge for edge in edges if edge.sought.kind == "picture"]
    told = _of_edges(drawn, quantile, "picture")
    if told is None:
        return None, "scan.no-edge"
    sharp = efficiency(told.tenth) > rows.value("scan.sharpness.efficiency")[0]
    least = 1 if seen.sharp.drawn else rows.value("scan.sharpness.drawn_edges")
    return (told, "") if sharp or _alike(drawn, least, rows) else (None, "scan.soft-content")


def _trusted(paper: list[NaturalEdge], rows: Rows) -> list[NaturalEdge]:
    """Of the paper's edges those that show the scanner's blur and no more: alike on both sides and all along; else the
    sharpest of them that say the same both ways, for what blurs an edge besides blurs no two sides alike."""
    known = rows.section("scan.sharpness.paper")
    sure = [edge for edge in paper if edge.lopsided <= known["lopsided"] and edge.error <= known["error"]]
    if sure:
        return sure
    ends = known["lopsided_together"], known["error_together"]
    rest = [edge for edge in paper if edge.lopsided <= ends[0] and edge.error <= ends[1]]
    for top in sorted(rest, key=lambda edge: -edge.half):
        same = [edge for edge in rest if top.half / (1 + known["apart"]) <= edge.half <= top.half]
        if len(same) >= known["together"] and len({edge.sought.rows for edge in same}) == 2:
            return same
    return []


def _alike(drawn: list[NaturalEdge], least: int, rows: Rows) -> bool:
    """Whether so many edges are equally soft that they were drawn, as on a target, and softened together."""
    for across in (False, True):
        halves = [edge.half for edge in drawn if edge.sought.rows == across]
        if len(halves) >= 2 and max(halves) > min(halves) * (1 + rows.value("scan.sharpness.alike")):
            return False
    return len(drawn) >= least


def _of_edges(edges: Iterable[NaturalEdge], quantile: float, by: str) -> Told | None:
    edges = list(edges)
    if not edges:
        return None
    halves: dict[bool, float | None] = {}
    for rows in (False, True):
        values = [edge.half for edge in edges if edge.sought.rows == rows]
        halves[rows] = float(np.quantile(values, quantile)) if values else None
    known = [one for one in halves.values() if one is not None]
    worse = halves[True] == min(known)
    those = [edge for edge in edges if edge.sought.rows == worse]
    ratio = float(np.median([(edge.tenth or NYQUIST) / edge.half for edge in those]))
    return Told(
        across=halves[False], down=halves[True], tenth=min(known) * ratio,
        most=float(np.median([edge.most for edge in edges if edge.slanted] or [1.0])), by=by, edges=len(edges),
    )  # fmt: skip


def _soft_prints(seen: Seen, family: str, known: dict[int, Told], rows: Rows) -> list[Finding]:
    """By the edges of the paper: which prints are soft, and whether all of them are."""
    assert seen.pictures is not None
    look_key = "scan.sharpness.efficiency"
    redo_key = f"scan.sharpness.{_chapter(family)}.half"
    soft = {n: one for n, one in known.items() if efficiency(one.tenth) <= rows.value(look_key)[0]}
    if not soft:
        return []
    worst = min(soft, key=lambda n: soft[n].worse)
    told = soft[worst]
    sure = told.worse / NYQUIST < rows.value(redo_key)[0][0] and told.across is not None and told.down is not None
    says = "soft" if len(soft) == len(known) else "soft.one"
    facts = {"half": round(told.worse, 3), "count": len(soft), "of": len(known), "share": efficiency(told.tenth),
             "least": rows.value(look_key)[0]}  # fmt: skip
    return [
        Finding(name="soft", verdict="redo" if sure else "look", again="helps" if sure else "may help", says=says,
                area=_area(seen.pictures.prints[worst].corners), value=round(told.worse, 4), unit=UNIT, facts=facts,
                rows=(redo_key, look_key) if sure else (look_key,))
    ]  # fmt: skip


def _soft_text(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """By the print of a page: never more than a look, for the printing itself may be soft."""
    look_key = "scan.sharpness.efficiency"
    across, down = max(one.across for one in seen.sharp.text), max(one.down for one in seen.sharp.text)
    half = min(across, down)
    if efficiency(half * TENTH_OF_HALF) > rows.value(look_key)[0]:
        return []
    at = seen.sharp.text[0].place
    facts = {"half": round(half, 3), "share": efficiency(half * TENTH_OF_HALF), "least": rows.value(look_key)[0]}
    return [
        Finding(name="soft", verdict="look", again="may help", says="soft.text", value=round(half, 4), unit=UNIT,
                area=(at.x, at.y, at.width, at.height), facts=facts, rows=(look_key,))
    ]  # fmt: skip


def _chapter(family: str) -> str:
    return "print" if family in ("print", "film") else "document"


def _area(corners: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return round(min(xs), 1), round(min(ys), 1), round(max(xs) - min(xs), 1), round(max(ys) - min(ys), 1)
