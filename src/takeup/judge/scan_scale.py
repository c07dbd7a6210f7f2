"""The true resolution of a scan, and whether the file says another one. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from takeup.measure.scan.scale import MM_PER_INCH, Sizes
from takeup.streams import Finding, Measured
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

PAIR = list[list[float]]


def sizes_for(family: str, rows: Rows) -> Sizes:
    """What is known of the sizes that originals of a family have."""
    known = rows.section(f"scan.sizes.{family}") if f"scan.sizes.{family}.known_mm" in rows else {}
    return Sizes(
        known_mm=_pairs(known.get("known_mm", [])),
        also_mm=_pairs(known.get("also_mm", [])),
        usual_ppi=tuple(rows.value("scan.scale.usual_ppi")),
        near=rows.value("scan.scale.size_share"),
        glass_mm=_pairs([rows.value("scan.scale.glass_mm")])[0],
        pitch_mm=rows.value("scan.scale.perforation_mm") if family == "film" else None,
    )


def _pairs(values: PAIR) -> tuple[tuple[float, float], ...]:
    return tuple((float(one), float(other)) for one, other in values)


def true_ppi(seen: Seen) -> Measured:
    """The figure ``ppi``: across where that is known, else down; null where nothing of known size is in view."""
    found = seen.scale
    if seen.broken or found is None:
        return Measured(value=None, unit="px/inch", why="scan.not-whole" if seen.broken else "scan.no-known-size")
    if found.ppi is None:
        return Measured(
            value=None, unit="px/inch", why="scan.rulers-contradict" if found.unclear else "scan.no-known-size"
        )
    extra: dict[str, Any] = {"from": found.source, "error_percent": round(100 * found.error, 4)}
    if found.source == "size" and found.size is not None:
        extra["sizes_mm"] = [list(size) for size in found.size.sizes_mm]
    else:
        extra["axis"] = "both" if found.across and found.down else "across" if found.across else "down"
    if found.across and found.down and found.source == "ruler":
        extra["down"] = round(found.down, 3)
    return Measured(value=round(found.ppi, 3), unit="px/inch", extra=extra)


def judged_ppi(seen: Seen, family: str, rows: Rows) -> float | None:
    """The resolution that levels are held against: the true one, else the stated; None where the stated cannot be."""
    found = seen.scale
    if found is not None and found.ppi is not None:
        return min(ppi for ppi in (found.across, found.down) if ppi is not None)
    stated = seen.image.ppi_stated
    if stated is None or too_large(seen, family, rows) is not None:
        return None
    return min(stated, seen.image.ppi_y_stated or stated)


def too_large(seen: Seen, family: str, rows: Rows) -> tuple[float, float] | None:
    """The size the file claims [mm], where the glass is smaller; None where it may be."""
    image = seen.image
    if not image.ppi_stated or family not in ("print", "document", "film"):
        return None
    sides = image.width / image.ppi_stated, image.height / (image.ppi_y_stated or image.ppi_stated)
    claimed = sides[0] * MM_PER_INCH, sides[1] * MM_PER_INCH
    glass = sorted(rows.value("scan.scale.glass_mm"))
    slack = 1 + rows.value("scan.scale.glass_slack")
    beyond = any(one > most * slack for one, most in zip(sorted(claimed), glass))
    return claimed if beyond else None


def scale_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """A stated resolution that is not the true one; a claimed size beyond the glass; two axes that differ."""
    stated, found = seen.image.ppi_stated, seen.scale
    findings: list[Finding] = []
    facts: dict[str, Any]
    if found is not None and found.ppi is not None and stated is not None:
        for true, told in ((found.across, stated), (found.down, seen.image.ppi_y_stated or stated)):
            limit_key = f"scan.scale.wrong_{found.source}"
            besides = rows.value("scan.scale.errors") * _sure(found.source, found.error)
            if true is not None and abs(true / told - 1) > rows.value(limit_key) + besides:
                findings.append(_wrong(true, told, found.source, limit_key))
                break
    elif stated is not None and (claimed := too_large(seen, family, rows)) is not None:
        facts = {"ppi": round(stated), "width": round(claimed[0]), "height": round(claimed[1])}
        findings.append(
            Finding(name="resolution", verdict="look", again="no", says="resolution.beyond-glass",
                    value=round(stated, 2), unit="px/inch", facts=facts, rows=("scan.scale.glass_mm",))
        )  # fmt: skip
    if found is not None and found.source == "ruler" and found.across and found.down:
        apart = found.down / found.across - 1
        if abs(apart) > rows.value("scan.scale.axes"):
            facts = {"across": round(found.across, 2), "down": round(found.down, 2), "share": abs(apart)}
            findings.append(
                Finding(name="resolution", verdict="look", again="may help", says="resolution.axes",
                        value=round(100 * apart, 3), unit="%", facts=facts, rows=("scan.scale.axes",))
            )  # fmt: skip
    return findings


def _sure(source: str, error: float) -> float:
    return 0.0 if source == "size" else error


def _wrong(true: float, told: float, source: str, row: str) -> Finding:
    facts = {"true": round(true, 1), "ppi": round(told, 1), "by": f"@scale.{source}", "times": told / true}
    return Finding(
        name="resolution", verdict="look", again="no", says="resolution.wrong-tag", value=round(true, 2),
        unit="px/inch", facts=facts, rows=(row,),
    )  # fmt: skip
