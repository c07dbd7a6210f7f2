"""Judges the sound of a video as its companion: is it there, and does it keep step with the picture?"""

from __future__ import annotations

from takeup.measure.video.clock import Drift
from takeup.measure.video.presence import Presence
from takeup.streams import Again, Finding, Original, Verdict
from takeup.tables.rows import Rows


def judge_sound(presence: Presence | None, original: Original, sound_s: float, rows: Rows) -> list[Finding]:
    """Sound that never arrived (``redo``), a track with only hiss, or one dead side (``look``)."""
    if original.sound == "none":
        return []
    if presence is None:
        return [_missing("sound_missing.no-track", "redo", "helps", ("video.sound.tracks",))]
    if sound_s < rows.value("video.sound.least_s"):
        return []
    dead_under = rows.value("video.sound.dead_dbfs")
    dead = [loud < dead_under for loud in presence.loud_dbfs]
    row = ("video.sound.dead_dbfs",)
    if all(dead):
        digital = all(peak == float("-inf") for peak in presence.peak_dbfs)
        says = "sound_missing.digital-zero" if digital else "sound_missing.no-hiss"
        return [_missing(says, "redo", "helps", row, max(presence.loud_dbfs))]
    if any(dead):
        side = "left" if dead[0] else "right"
        return [_missing("sound_missing.one-side", "look", "may help", row, side=side)]
    steady = all(
        loud < rows.value("video.sound.hiss_dbfs") and loud - quiet <= rows.value("video.sound.hiss_spread_db")
        for loud, quiet in zip(presence.loud_dbfs, presence.quiet_dbfs)
    )
    if steady:
        rows_ = ("video.sound.hiss_dbfs", "video.sound.hiss_spread_db")
        return [_missing("sound_missing.hiss-only", "look", "may help", rows_, max(presence.loud_dbfs))]
    return []


def _missing(
    says: str, verdict: Verdict, again: Again, rows: tuple[str, ...], level: float | None = None, side: str = ""
) -> Finding:
    told = None if level is None or level == float("-inf") else round(level, 1)
    return Finding(
        name="sound_missing",
        verdict=verdict,
        again=again,
        says=says,
        value=told,
        unit=None if told is None else "dBFS",
        facts={"side": side} if side else {},
        rows=rows,
    )


def judge_drift(
    drift: Drift | None, sound_s: float, rows: Rows, *, torn: bool = False, faults_s: tuple[float, ...] = ()
) -> list[Finding]:
    """Sound that slips against the picture: ``redo`` when it grows past what anybody accepts, ``look`` before.

    In a file that breaks off (``torn``) the two tracks need not end together; where it is damaged (``faults_s``), its
    steps are the damage's.
    """
    if drift is None or drift.shape == "none":
        return []
    good, redo = rows.value("video.sync.good_ms"), rows.value("video.sync.redo_ms")
    size = abs(drift.drift_ms) if drift.shape != "constant" else max(abs(drift.drift_ms), abs(drift.offset_ms))
    if size <= good:
        return []
    if drift.shape == "slope" and _ends_before(drift.drift_ms, sound_s, rows):
        if torn:
            return []
        return [
            Finding(
                name="sound_drift",
                verdict="look",
                again="may help",
                says="sound_drift.short",
                value=round(drift.drift_ms, 1),
                unit="ms",
                facts={"ms": size},
                rows=("video.sync.good_ms", "video.sync.clock_share", "video.sync.wrong_rate_share"),
            )
        ]
    near = rows.value("video.sync.fault_s")
    if drift.steps_at_s and all(any(abs(at - step) <= near for at in faults_s) for step in drift.steps_at_s):
        return []
    steep = size / 1000 >= rows.value("video.sync.ragged_share") * max(sound_s, 1.0)
    grows = drift.shape == "step" or (drift.shape == "slope" and steep)
    says = f"sound_drift.{drift.shape}" if grows or drift.shape == "constant" else "sound_drift.ragged"
    if torn and says == "sound_drift.ragged":
        return []
    verdict: Verdict = "redo" if grows and size > redo else "look"
    again: Again = "may help" if grows else "no"
    told = (
        drift.offset_ms if drift.shape == "constant" and abs(drift.offset_ms) >= abs(drift.drift_ms) else drift.drift_ms
    )
    return [
        Finding(
            name="sound_drift",
            verdict=verdict,
            again=again,
            says=says,
            value=round(told, 1),
            unit="ms",
            facts={"ms": abs(told), "steps": len(drift.steps_at_s), "later": told > 0},
            rows=("video.sync.good_ms", "video.sync.redo_ms", "video.sync.ragged_share"),
        )
    ]


def _ends_before(drift_ms: float, sound_s: float, rows: Rows) -> bool:
    """Sound shorter by more than any clock slips, and by another share than a wrong rate leaves: it was cut off."""
    if drift_ms >= 0:
        return False
    length_s = max(sound_s - drift_ms / 1000, 1e-6)
    share = -drift_ms / 1000 / length_s
    room = rows.value("video.sync.none_ms") / 1000 / length_s  # AAC rounds up to whole frames
    low, high = rows.value("video.sync.wrong_rate_share")
    return share > rows.value("video.sync.clock_share") and not low - room <= share <= high + room
