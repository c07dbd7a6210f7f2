"""What is said of a scan that was enlarged or packed with loss before it was stored as a master."""

from __future__ import annotations

from typing import TYPE_CHECKING

from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

PICTURES = ("print", "film")


def origin_figures(seen: Seen) -> dict[str, Measured]:
    """``upsampled`` and ``block_grid``."""
    return {"upsampled": _upsampled(seen), "block_grid": _block_grid(seen)}


def _upsampled(seen: Seen) -> Measured:
    if seen.broken:
        return Measured(value=None, unit="factor", why="scan.not-whole")
    found = seen.origin.enlarged
    if found is None or found.factor is None:
        blocks = found is not None and found.why == "blocks"
        return Measured(value=None, unit="factor", why="scan.only-blocks" if blocks else "scan.too-plain")
    extra = {"across": found.across, "down": found.down} if found.across != found.down else {}
    return Measured(value=found.factor, unit="factor", extra=extra)


def _block_grid(seen: Seen) -> Measured:
    if seen.broken:
        return Measured(value=None, unit="certainty", why="scan.not-whole")
    found = seen.origin.blocks
    if found is None:
        return Measured(value=None, unit="certainty", why="scan.too-plain")
    return Measured(value=round(found.certainty, 3), unit="certainty", extra={"phase": list(found.cropped)})


def origin_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """``upsampled`` and ``lossy_source`` (a file that says itself that it is packed with loss is told elsewhere)."""
    findings = []
    enlarged, blocks = seen.origin.enlarged, seen.origin.blocks
    least_key, sure_key = "scan.upsampled.least", "scan.lossy.certainty"
    if enlarged is not None and enlarged.factor is not None and enlarged.factor >= rows.value(least_key):
        findings.append(_enlarged(seen, enlarged.factor, family, rows))
    if blocks is not None and blocks.certainty >= rows.value(sure_key) and not seen.image.lossy:
        bad = family in PICTURES
        findings.append(
            Finding(name="lossy_source", verdict="redo" if bad else "look", again="helps" if bad else "may help",
                    says="lossy_source.hidden", value=round(blocks.certainty, 3), unit="certainty",
                    facts={"phase": list(blocks.cropped)}, rows=("scan.master.no_lossy", sure_key))
        )  # fmt: skip
    return findings


def _enlarged(seen: Seen, factor: float, family: str, rows: Rows) -> Finding:
    """``redo`` where truly less than the lab's aim was read; where enough was read, the file is only too large."""
    facts: dict[str, float] = {"factor": factor}
    aim_key, ppi = f"scan.resolution.{family}.aim", seen.image.ppi_stated
    used = ["scan.upsampled.least", "scan.upsampled.none"]
    enough = False
    if ppi is not None and aim_key in rows:
        enough = ppi / factor >= rows.value(aim_key) * (1 - rows.value("scan.resolution.slack"))
        facts |= {"ppi": round(ppi), "true": round(ppi / factor)}
        used.append(aim_key)
    return Finding(
        name="upsampled", verdict="look" if enough else "redo", again="may help" if enough else "helps",
        says="upsampled.told" if "true" in facts else "upsampled", value=factor, unit="factor", facts=facts,
        rows=tuple(used),
    )  # fmt: skip
