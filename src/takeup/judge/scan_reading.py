"""What is said of a scan whose lettering reads only in a mirror. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from takeup.streams import Finding
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

LETTERS, OTHER = "scan.mirrored.letters", "scan.mirrored.other_share"
PALE, SHARE = "scan.show_through.letters", "scan.show_through.share"


def reading_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """``mirrored``, where enough is read in a mirror and hardly anything as the picture lies; else nothing."""
    read = seen.reading
    if read.mirrored < rows.value(LETTERS) or read.straight > rows.value(OTHER) * read.mirrored:
        return []
    facts = {"letters": read.mirrored, "words": list(read.words), "straight": read.straight}
    finding = Finding(
        name="mirrored", verdict="look", again="helps", says="mirrored.film" if family == "film" else "mirrored.page",
        value=read.mirrored, unit="letters", facts=facts, rows=(LETTERS, OTHER),
    )  # fmt: skip
    return [finding]


def ghost_findings(seen: Seen, rows: Rows) -> list[Finding]:
    """``show_through``, where pale letters of a page read in a mirror alone: they are its other side's."""
    read = seen.ghost
    if read.mirrored < rows.value(PALE) or read.straight > rows.value(OTHER) * read.mirrored:
        return []
    facts = {"letters": read.mirrored, "words": list(read.words)[:12]}
    finding = Finding(
        name="show_through", verdict="look", again="no", says="show_through.read", value=read.mirrored,
        unit="letters", facts=facts, rows=(PALE, OTHER),
    )  # fmt: skip
    return [finding]


def both_sides_finding(share: float, names: tuple[str, str], rows: Rows) -> Finding | None:
    """``show_through`` of two sides that were both scanned; None where less shows than is told."""
    if share < rows.value(SHARE):
        return None
    return Finding(
        name="show_through", verdict="look", again="no", says="show_through.sides", value=round(share, 3), unit="share",
        facts={"share": share, "of": names[1]}, rows=(SHARE,),
    )  # fmt: skip
