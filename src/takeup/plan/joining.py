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
    """Whether what was scanned may reach the limit of the glass: a smaller original needs no second pass.

    It may, too, where no print's outline was sure of all that the check saw: paper as bright as the lid has none there.
    """
    if report is None:
        return False
    pictures, names = report.measures.get("pictures"), {finding.name for finding in report.findings}
    whole = pictures is not None and pictures.extra.get("ground") == "whole"
    return whole or "cut_off" in names or ("split_unsure" in names and not (pictures and pictures.value))


def lie_alike(one: StillImage, other: StillImage) -> bool:
    """Whether two scans lie as they were read, one picture in each, at one resolution as far as they say theirs."""
    if one.orientation != 1 or other.orientation != 1 or one.pages > 1 or other.pages > 1:
        return False
    if not one.ppi_stated or not other.ppi_stated:
        return True
    return abs(one.ppi_stated / other.ppi_stated - 1) <= SAME_PPI
