"""What holds of a sound that was born here: a talk before microphones, with no tape behind it. Pure.

What is judged by a tape's ways is left out; what remains says so of voices, microphones and the room. A talk cannot be
played again, so nothing of it is sure to be helped by another try.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from takeup.judge.sound_notice import Notice
from takeup.streams import Finding, Measured

KEPT = {  # by its sentence, or by its name for all its sentences -> the sentence that is said of a talk
    "clipping": "clipping.interview", "too_loud": "too_loud.interview", "too_quiet": "too_quiet.interview",
    "dc_offset": "dc_offset", "channel_antiphase": "channel_antiphase.interview",
    "channel_missing": "channel_missing.interview", "hum": "hum.interview", "noisy": "noisy.interview",
    "lost_samples": "lost_samples.interview", "lossy_source": "lossy_source.interview",
    "narrow_band.rate": "narrow_band.interview", "silence": "silence.interview",
    "silence.hole": "silence.interview-hole", "ends_early.cut-file": "ends_early.interview",
}  # fmt: skip
TO_HEAR = ("channel_missing", "hum", "lost_samples", "noisy", "lossy_source")
"""What would be captured again of a tape: of a talk somebody listens, for the words may stand clear all the same."""
OF_TAPE = ("channel_delay", "speed_error", "wow_flutter", "reel", "print_through")
SAID = ("nothing-heard", "nothing-left", "nothing-right", "level-low")


def judge_born(findings: Sequence[Finding]) -> list[Finding]:
    """The findings of a tape's judges that hold of a talk, in its own words."""
    found = []
    for finding in findings:
        says = KEPT.get(finding.says or finding.name) or KEPT.get(finding.name)
        if says is not None:
            again = finding.again if finding.again == "no" else "may help"
            soft = finding.verdict == "redo" and finding.name in TO_HEAR
            found.append(replace(finding, says=says, again=again, verdict="look" if soft else finding.verdict))
    return found


def figures_of_born(measures: Mapping[str, Measured]) -> dict[str, Measured]:
    """The figures; those that tell of a tape and its player cannot be told."""
    return {
        name: Measured(value=None, unit=one.unit, why="sound.no-tape") if name in OF_TAPE else one
        for name, one in measures.items()
    }


def notice_of_born(notice: Notice | None) -> Notice | None:
    """What to say at the microphones now."""
    return replace(notice, says=f"{notice.says}.interview") if notice is not None and notice.says in SAID else notice
