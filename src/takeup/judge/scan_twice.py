"""Which of two scans of the same print is the better one, and what is said of them. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from takeup.streams import Finding
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanned:
    """One scan of a print: its long side [px], its sharpness [cycles/pixel] where known, names of its findings."""

    long_px: float
    sharpness: float | None
    faults: frozenset[str]


def better_of(one: Scanned, other: Scanned, rows: Rows) -> tuple[int, str]:
    """0 or 1, and by what it is better: whole, unclipped, finer, sharper; -1 and nothing where both will do.

    What is lost for good counts first: a side cut off, then tones cut off; then pixels, then sharpness.
    """
    for fault, by in (("cut_off", "whole"), ("clipped", "unclipped")):
        if (fault in one.faults) != (fault in other.faults):
            return (1 if fault in one.faults else 0), by
    share = 1 + rows.value("again.scan.better")
    if max(one.long_px, other.long_px) > share * min(one.long_px, other.long_px):
        return (0 if one.long_px > other.long_px else 1), "finer"
    if one.sharpness and other.sharpness:
        fine = one.sharpness * one.long_px, other.sharpness * other.long_px
        if max(fine) > share * min(fine):
            return (0 if fine[0] > fine[1] else 1), "sharper"
    return -1, ""


def twice_finding(pairs: Sequence[tuple[int, int]], names: tuple[str, str], better: tuple[int, str]) -> Finding:
    """The finding of two scans that share prints; ``pairs`` number the pictures of the later and the earlier from 0."""
    facts: dict[str, Any] = {"of": names[1], "pictures": [[n + 1, m + 1] for n, m in pairs], "count": len(pairs)}
    which, by = better
    if which >= 0:
        facts |= {"better": names[which], "by": by}
    return Finding(
        name="duplicate", verdict="look", again="no", says=f"duplicate.print-{by}" if by else "duplicate.print",
        value=len(pairs), unit="pictures", facts=facts, rows=("again.scan.better",),
    )  # fmt: skip
