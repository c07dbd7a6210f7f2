"""Whether a side was played backwards: told only where nearly all of it dies away before it begins."""

from __future__ import annotations

from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.direction import Direction
from takeup.streams import Finding
from takeup.tables.rows import Rows


def judge_direction(found: Direction | None, rows: Rows, known: SoundKnown) -> list[Finding]:
    """Backwards, or nothing: sounds that swell and stop as evenly (a flute, strings) cannot tell."""
    limits = rows.section("sound.direction")
    if (
        found is None
        or known.of_picture
        or found.segments < limits["fewest"]
        or found.skewness > -limits["skewness"]
        or found.backward_share < limits["share"]
    ):
        return []
    return [
        Finding(
            name="reversed",
            verdict="redo",
            again="helps",
            says="reversed.side",
            value=round(found.skewness, 3),
            unit="1",
            facts={"share": round(100 * found.backward_share)},
            rows=("sound.direction.skewness", "sound.direction.share", "sound.direction.fewest"),
        )
    ]
