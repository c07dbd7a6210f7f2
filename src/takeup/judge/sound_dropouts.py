"""Dropouts: a few are the tape's; many in a minute, or much of a channel, mean that the head wants cleaning."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from takeup.judge.sound_channels import SIDES
from takeup.measure.sound.dropouts import Dropout
from takeup.streams import Finding
from takeup.tables.rows import Rows


def judge_dropouts(found: Sequence[Dropout], rows: Rows) -> list[Finding]:
    """One finding for each dropout, in their order.

    Each is judged by itself and the minute before it, never by what comes later: what was told while the capture came
    in stays true.
    """
    limits = rows.section("sound.dropouts")
    told = []
    oldest = 0
    for at, one in enumerate(found):
        while found[oldest].to_s <= one.from_s - limits["lately_s"]:
            oldest += 1
        lately = [
            other
            for other in found[oldest : at + 1]
            if other.to_s > one.to_s - limits["lately_s"] and _shared(other.channel, one.channel)
        ]
        lost_s = sum(other.to_s - other.from_s for other in lately)
        many = len(lately) >= limits["many"] or lost_s >= limits["lost_s"]
        kind = "many" if many else "one"
        facts: dict[str, Any] = {"channel": one.channel, "depth": one.depth_db, "ms": 1000 * (one.to_s - one.from_s)}
        facts |= {"certainty": round(one.certainty, 3), "count": len(lately)}
        if one.channel is not None:
            kind, facts = f"{kind}-side", facts | {"side": f"@side.{SIDES[one.channel]}"}
        told.append(
            Finding(
                name="dropout",
                verdict="redo" if many else "look",
                again="may help",
                says=f"dropout.{kind}",
                from_s=round(one.from_s, 4),
                to_s=round(one.to_s, 4),
                value=round(one.depth_db, 2),
                unit="dB",
                facts=facts,
                rows=("sound.dropouts.lately_s", "sound.dropouts.many", "sound.dropouts.lost_s"),
            )
        )
    return told


def _shared(one: int | None, other: int | None) -> bool:
    """Whether two dropouts struck a channel together."""
    return one is None or other is None or one == other
