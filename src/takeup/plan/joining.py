"""Which scans may be two passes over one original that is larger than the glass. Pure."""

from __future__ import annotations

from takeup.streams import Original, Report, StillImage

CARRIERS = ("print", "document", "newspaper")
MOST_SCANS = 8  # an item of more scans is many pages or prints, not one large one
SAME_PPI = 0.005  # of each other: passes of one sitting have one setting, rounded at most


def may_be_passes(original: Original, scans: int) -> bool:
    """Whether an item of so many scans may be one large original."""
    return original.carrier in CARRIERS and 2 <= scans <= MOST_SCANS


def fills_glass(report: Report | None) -> bool:
    """Whether what was scanned reaches the limit of the glass: a smaller original needs no second pass."""
    if report is None:
        return False
    ground = report.measures["pictures"].extra.get("ground") if "pictures" in report.measures else ""
    return ground == "whole" or any(finding.name == "cut_off" for finding in report.findings)


def lie_alike(one: StillImage, other: StillImage) -> bool:
    """Whether two scans lie as they were read, at one resolution as far as they say theirs."""
    if one.orientation != 1 or other.orientation != 1:
        return False
    if not one.ppi_stated or not other.ppi_stated:
        return True
    return abs(one.ppi_stated / other.ppi_stated - 1) <= SAME_PPI
