"""Pages two in a picture, negatives, frames of a fiche, and what a reduction ratio makes of a resolution. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from takeup.measure.scan.fiche import Fiche
from takeup.measure.scan.page_light import PageLight
from takeup.measure.scan.polarity import Polarity
from takeup.measure.scan.two_pages import Spread
from takeup.streams import Finding, Measured, Original
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

PPI = "px/inch"
MICRO = "micro"


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaves:
    """What was seen of pages as pages. ``spread`` and ``fiche`` in scan pixels; ``sure``: enough letters in lines to
    believe the polarity."""

    polarity: Polarity = field(default_factory=Polarity)
    sure: bool = False
    spread: Spread | None = None
    fiche: Fiche | None = None
    light: PageLight | None = None
    looked: bool = False


def is_sure(polarity: Polarity, rows: Rows) -> bool:
    """Whether enough letters agree for it to be said which way round a page is."""
    return polarity.negative is not None and polarity.blocks >= rows.value("scan.micro.negative")


def original_ppi(seen: Seen, original: Original, rows: Rows) -> Measured:
    """The resolution on the original page of a film: the film scan's, divided by how much the page was reduced."""
    if seen.broken or not original.reduction:
        return Measured(value=None, unit=PPI, why="scan.not-whole" if seen.broken else "scan.no-reduction")
    stated = seen.image.ppi_stated
    if stated is None:
        return Measured(value=None, unit=PPI, why="scan.no-ppi")
    ppi = stated / original.reduction
    longest_in = max(seen.image.width, seen.image.height) / ppi
    if longest_in > rows.value("scan.micro.largest_in"):
        return Measured(value=None, unit=PPI, why="scan.reduction-unclear")
    extra: dict[str, Any] = {"from": "reduction", "reduction": original.reduction, "film_ppi": round(stated, 3)}
    return Measured(value=round(ppi, 3), unit=PPI, extra=extra)


def leaf_facts(seen: Seen) -> dict[str, Any]:
    """What stands beside the pictures: which way round the page is, the line between two pages, the fiche's grid."""
    leaves = seen.leaves
    if not leaves.looked:
        return {}
    told: dict[str, Any] = {"negative": leaves.polarity.negative if leaves.sure else None}
    if leaves.spread is not None:
        told["gutter"] = [[round(edge, 1) for edge in point] for point in (leaves.spread.top, leaves.spread.foot)]
    if leaves.fiche is not None and leaves.fiche.frames:
        told["grid"] = [leaves.fiche.rows, leaves.fiche.columns]
    return told


def leaf_findings(seen: Seen, family: str, original: Original, rows: Rows) -> list[Finding]:
    """``two_pages``, ``polarity``, ``split_unsure`` of a fiche, ``uneven_light`` of a film's ground."""
    leaves = seen.leaves
    findings: list[Finding] = []
    if leaves.spread is not None:
        (x0, y0), (x1, y1) = leaves.spread.top, leaves.spread.foot
        facts = {"gutter": [[round(x0, 1), round(y0, 1)], [round(x1, 1), round(y1, 1)]], "share": leaves.spread.met}
        sides = max(abs(x1 - x0), 1.0), max(abs(y1 - y0), 1.0)
        area = round(min(x0, x1), 1), round(min(y0, y1), 1), round(sides[0], 1), round(sides[1], 1)
        findings.append(
            Finding(name="two_pages", verdict="look", again="no", says=f"two_pages.{leaves.spread.by}",
                    area=area, facts=facts, rows=("scan.micro.two_pages",))
        )  # fmt: skip
    if leaves.sure and leaves.polarity.negative:
        says = "polarity.mask" if leaves.polarity.by == "mask" else "polarity" if family == MICRO else "polarity.page"
        findings.append(
            Finding(name="polarity", verdict="look", again="no" if family == MICRO else "may help", says=says,
                    value=round(100 * leaves.polarity.agree, 1), unit="%",
                    facts={"share": leaves.polarity.agree}, rows=("scan.micro.negative",))
        )  # fmt: skip
    if leaves.fiche is not None and leaves.fiche.doubtful:
        whole = (0.0, 0.0, float(seen.image.width), float(seen.image.height))
        findings.append(
            Finding(name="split_unsure", verdict="look", again="no", says="split_unsure.fiche", area=whole,
                    rows=("scan.micro.frames",))
        )  # fmt: skip
    limit = "scan.micro.uneven"
    if family == MICRO and leaves.light is not None and leaves.light.uneven > rows.value(limit):
        findings.append(
            Finding(name="uneven_light", verdict="look", again="may help", says="uneven_light.film",
                    value=round(leaves.light.uneven, 2), unit="%", facts={"share": leaves.light.uneven / 100},
                    rows=(limit,))
        )  # fmt: skip
    return findings
