"""What is said of a colour print or slide whose dyes have faded: the original's own, and no scan brings it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from takeup.streams import Finding
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

CHANNELS = ("red", "green", "blue")  # of light: the cyan, magenta and yellow dye
LEAST = "scan.faded.least_lost"


def dye_findings(seen: Seen, carrier: str, rows: Rows) -> list[Finding]:
    """``faded``, once for a scan: the picture that lost most, by what a dye lost against the one that kept most."""
    if carrier not in rows.value("scan.faded.carriers"):
        return []
    told = [
        (1 - min(fade.kept) / max(fade.kept), number, fade)
        for number, fade in enumerate(seen.fades, 1)
        if fade.kept and not fade.why
    ]
    told = [one for one in told if one[0] >= rows.value(LEAST)]
    if not told:
        return []
    lost, number, fade = max(told, key=lambda one: one[0])
    shares = {name: round(1 - kept / max(fade.kept), 3) for name, kept in zip(CHANNELS, fade.kept, strict=True)}
    worst = max(CHANNELS, key=lambda name: shares[name])
    facts = {"lost": round(lost, 3), "picture": number, "pictures": [one[1] for one in told]} | shares
    finding = Finding(
        name="faded", verdict="look", again="no", says=f"faded.{worst}", value=round(lost, 3), unit="share",
        facts=facts, rows=(LEAST,),
    )  # fmt: skip
    return [finding]
