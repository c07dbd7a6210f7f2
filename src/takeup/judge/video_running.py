"""Judges a video capture while it comes in: what no later second can undo, and figures of what came so far.

Every step costs the same, however long the capture has become.
"""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from takeup.judge.video_lost import RunningLost
from takeup.judge.video_picture import held
from takeup.judge.video_streaks import RunningStreaks, Shedding
from takeup.judge.video_time import is_damage, place_of
from takeup.measure.video import chroma, half_height, sampled
from takeup.measure.video.clock import GAP, usual_s
from takeup.measure.video.silent import SETTLES
from takeup.measure.video.whole import Walk
from takeup.streams import Finding
from takeup.tables.rows import Rows

EVERY = 12  # pictures that are settled together: what is told is the same, half a second sooner or later


@dataclass(frozen=True, slots=True, kw_only=True)
class SoFar:
    """What a capture shows until now; None where it cannot be told yet."""

    seconds: float
    recorded_s: float
    streaks: int
    missing: int  # pictures
    repeated: int | None  # single pictures equal to the one before; unknown while a codec predicts
    shaken_px: float | None  # of the last pictures looked at
    shaken_long_px: float | None  # of more of them
    colour_px: float | None
    halved: str | None
    rising: tuple[float, float] | None  # streaks a minute before and now

    def figures(self) -> Mapping[str, Any]:
        """For whoever watches: a few numbers by the names of the measures."""
        minutes = self.recorded_s / 60
        known = {"line_jitter": self.shaken_px, "chroma_delay": self.colour_px}
        return {
            "dropouts": self.streaks,
            "dropouts_per_minute": round(self.streaks / minutes, 1) if minutes >= 0.1 else None,
            "lost_frames": self.missing,
            "repeated_frames": self.repeated,
        } | {name: None if value is None else round(value, 2) for name, value in known.items()}


@dataclass(frozen=True, slots=True)
class _Run:
    """Pictures equal to the one before, so far."""

    first: int = 0
    length: int = 0


class RunningVideo:
    """Streaks, lost pictures and held ones of a walk that goes on; the finished file is judged by the same steps."""

    def __init__(self, walk: Walk, picture_s: float, rows: Rows) -> None:
        self.walk, self.picture_s, self.rows = walk, picture_s, rows
        self.streaks = RunningStreaks(picture_s, rows)
        self.shedding = Shedding(picture_s, rows)
        self.stamped, self.leapt = RunningLost(rows, silent=False), RunningLost(rows, silent=True)
        self.held: list[Finding] = []
        self.seen = 0  # streaks
        self.run = _Run()
        self.repeated = 0
        self.gaps: list[int] = []  # numbers of the last pictures after a gap
        self.settled = self.leapt_to = 1  # before these pictures none is missing but those told
        self.true_rate: bool | None = None
        self.lags: chroma.Lags | None = None
        self.halves: half_height.Halves | None = None
        self.colour_px: float | None = None
        self.halved: str | None = None

    def step(self) -> None:
        """Look at the picture that the walk has just taken."""
        walk, number = self.walk, len(self.walk.at_s) - 1
        new = len(walk.of_lines.streaks) - self.seen
        for at, _ in walk.of_lines.streaks[self.seen :] if new else ():
            self.streaks.streak(walk.at_s[at])
        self.seen += new
        if number:
            self.streaks.reach(walk.at_s[number - 1])
        if walk.kinds[number] == "picture":
            self.shedding.step(new)
        if not walk.predicted:
            self._hold(number)
        if number and walk.at_s[number] - walk.at_s[number - 1] > GAP * self.picture_s:
            self.gaps.append(number)

    def told(self, faults_s: Sequence[float]) -> tuple[Finding, ...]:
        """Every finding that is certain by now; ``faults_s`` tells where the file did not decode."""
        self._settle(faults_s)
        return (*self.streaks.told, *self.held, *self.stamped.told, *self.leapt.told)

    def so_far(self) -> SoFar:
        """Figures until now."""
        walk, looks = self.walk, self.rows.section("video.notice")
        samples = walk.of_lines.samples
        self._of_samples(samples)
        return SoFar(
            recorded_s=self.shedding.pictures * self.picture_s,
            seconds=len(walk.at_s) * self.picture_s,
            streaks=self.seen,
            missing=self.stamped.missing + self.leapt.missing,
            repeated=None if walk.predicted else self.repeated,
            shaken_px=sampled.shaken_px(samples, int(looks["shaken_looks"])),
            shaken_long_px=sampled.shaken_px(samples, int(looks["shaken_long_looks"])),
            colour_px=self.colour_px,
            halved=self.halved,
            rising=self.shedding.rates(),
        )

    def _of_samples(self, samples: sampled.Samples) -> None:
        """Look anew at what tells of all pictures alike, once there is more of it."""
        if samples.lags is not self.lags:
            limits = self.walk.limits["sampled"]
            least, sure_px = int(limits["least_places"]), limits["sure_px"]
            self.colour_px = chroma.finish(samples.lags, least_places=least, sure_px=sure_px).delay_px
        if samples.halves is not self.halves and samples.halves.pictures >= self.rows.value(
            "video.notice.halved_looks"
        ):
            self.halved = half_height.finish(samples.halves, lossless=self.walk.of_lines.lossless)
        self.lags, self.halves = samples.lags, samples.halves

    def _hold(self, number: int) -> None:
        """A picture held is told as soon as it counts as held, and with its end when it is over.

        After dark pictures of which only the whole file tells whether they are black, it may have begun earlier.
        """
        walk, run, least = self.walk, self.run, self.walk.limits["repeat"]["held_pictures"]
        if walk.is_equal(number):
            run = self.run = _Run(run.first if run.length else number, run.length + 1)
            self.repeated += 1 if run.length < least else 1 - least if run.length == least else 0
            is_news = run.length == least
        else:
            self.run = _Run()
            is_news = run.length >= least
        before = max(0, run.first - 1)
        if not is_news or walk.kinds[before] == "lifted":
            return
        found = held(walk.at_s[before], walk.at_s[run.first + run.length - 1] + self.picture_s, self.rows)
        if self.held and self.held[-1].from_s == found.from_s:
            self.held.pop()
        self.held.append(found)

    def _settle(self, faults_s: Sequence[float]) -> None:
        """Tell of missing pictures up to where nothing that comes can say something else."""
        walk, end = self.walk, len(self.walk.at_s) - SETTLES
        learns = int(self.rows.value("video.lost.learns"))
        if end < self.settled + EVERY or len(walk.at_s) <= learns:
            return
        if self.true_rate is None:
            stamps = array("d", walk.at_s[: learns + 1])
            self.true_rate = usual_s(stamps, self.picture_s) == self.picture_s
        if not self.true_rate:
            return
        if not walk.predicted and walk.order_so_far() is not None:  # by the order a leap is told from a knock
            first, self.leapt_to = self.leapt_to, end
            for number, missing in walk.leaps(first, end, self.gaps) if "lifted" not in walk.kinds[first:] else ():
                self._add(self.leapt, number, missing, faults_s)
        first, self.settled = self.settled, end
        for number in [gap for gap in self.gaps if first <= gap < end]:
            steps = (walk.at_s[number] - walk.at_s[number - 1]) / self.picture_s
            self._add(self.stamped, number, round(steps) - 1, faults_s)
        self.gaps = [gap for gap in self.gaps if gap >= self.leapt_to - 2 * SETTLES]

    def _add(self, running: RunningLost, number: int, missing: int, faults_s: Sequence[float]) -> None:
        place = place_of(number, missing, self.walk.at_s, self.picture_s)
        if not is_damage(place, self.picture_s, faults_s):
            running.add(place)
