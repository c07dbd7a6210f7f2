"""What to say at the machine while a capture comes in. Never a finding: it holds for now and may vanish."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from takeup.measure.sound.meter import MeterState
from takeup.streams import NO_FACTS
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One thing to say now. ``says`` is a key of ``words/notices/``; facts fill it."""

    says: str
    facts: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)


def judge_notice(meter: MeterState, rows: Rows) -> Notice | None:
    """The most urgent of: nothing comes in, nothing on one channel, too hot, too quiet; None when all is well."""
    limits = rows.section("sound.notice")
    still_s = [moments * meter.moment_s for moments in meter.still]
    dead = [at for at, seconds in enumerate(still_s) if seconds >= limits["nothing_s"]]
    if len(dead) == len(still_s):
        return Notice(says="nothing-heard", facts={"seconds": min(still_s)})
    if dead:
        names = ("nothing-left", "nothing-right") if len(still_s) == 2 else ()
        says = names[dead[0]] if names else "nothing-channel"
        return Notice(says=says, facts={"seconds": still_s[dead[0]], "channel": dead[0] + 1})
    recent = _dbfs(max(meter.recent, default=0.0))
    if recent >= limits["hot_dbfs"]:
        return Notice(says="level-high", facts={"peak": recent})
    loudest = _dbfs(meter.loudest)
    if meter.moments * meter.moment_s >= limits["low_s"] and loudest < limits["low_dbfs"]:
        return Notice(says="level-low", facts={"peak": loudest})
    return None


def _dbfs(peak: float) -> float:
    return 20 * math.log10(max(peak, 1e-10))
