"""What a scan shows against its station's earlier ones: its focus, the white of its lid. Pure.

A station's history holds what the comparison needs and nothing else: no name, no picture, no box.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from takeup.judge.scan_sharpness import softer_than_before
from takeup.streams import Finding, Measured, Report
from takeup.tables.rows import Rows

UNIT = "CIELAB"
OF_STATION = ("lid", "target")  # whites that stay the same from scan to scan; papers do not


def kept_of(report: Report, carrier: str) -> dict[str, Any]:
    """What is kept of one scan, as plain numbers; nothing where neither focus nor white was told."""
    kept: dict[str, Any] = {}
    sharp, cast, ppi = (report.measures.get(name) for name in ("sharpness", "cast", "ppi_stated"))
    if sharp is not None and sharp.value is not None:
        kept |= {"sharpness": float(sharp.value), "by": sharp.extra.get("by", "")}
    if cast is not None and cast.value is not None and cast.extra.get("from") in OF_STATION:
        kept |= {"a": float(cast.value["a"]), "b": float(cast.value["b"]), "from": cast.extra["from"]}
    if not kept:
        return {}
    return kept | {"carrier": carrier, "ppi": None if ppi is None or ppi.value is None else float(ppi.value)}


def beside_history(report: Report, carrier: str, earlier: Sequence[Mapping[str, Any]], rows: Rows) -> Report:
    """A scan's report with what differs from the station's earlier scans of the same carrier.

    Parameters
    ----------
    earlier : sequence of mappings
        As ``kept_of`` makes them, the oldest first.
    """
    alike = [one for one in earlier if one["carrier"] == carrier]
    soft = softer_than_before(report, [_as_report(one) for one in alike if "sharpness" in one], rows)
    cast = cast_unlike_before(report, alike, rows)
    found = tuple(one for one in (soft, cast) if one is not None)
    return replace(report, findings=(*report.findings, *found)) if found else report


def cast_unlike_before(report: Report, earlier: Sequence[Mapping[str, Any]], rows: Rows) -> Finding | None:
    """The lid's white, further from that of the station's last scans than they differ among themselves."""
    cast = report.measures.get("cast")
    if cast is None or cast.value is None or any(finding.name == "cast" for finding in report.findings):
        return None
    source = cast.extra.get("from")
    known = rows.section("scan.cast.history")
    past = np.array([(one["a"], one["b"]) for one in earlier if one.get("from") == source][-known["last"] :])
    if source not in OF_STATION or len(past) < known["least"]:
        return None
    usual = np.median(past, axis=0)
    away = float(np.hypot(*(np.array([cast.value["a"], cast.value["b"]]) - usual)))
    spread = 1.4826 * float(np.median(np.hypot(*(past - usual).T)))
    if away <= known["step"] or away <= known["spreads"] * spread:
        return None
    facts = {
        "away": round(away, 2), "a": round(cast.value["a"], 2), "b": round(cast.value["b"], 2),
        "usual_a": round(float(usual[0]), 2), "usual_b": round(float(usual[1]), 2), "scans": len(past),
    }  # fmt: skip
    return Finding(
        name="cast", verdict="look", again="may help", says="cast.than-before", value=round(away, 3), unit=UNIT,
        facts=facts, rows=("scan.cast.history.step", "scan.cast.history.least"),
    )  # fmt: skip


def _as_report(kept: Mapping[str, Any]) -> Report:
    measures = {
        "sharpness": Measured(value=kept["sharpness"], unit="cycles/pixel", extra={"by": kept["by"]}),
        "ppi_stated": Measured(value=kept["ppi"], unit="px/inch"),
    }
    return Report(medium="scan", seconds=None, measures=measures, findings=())
