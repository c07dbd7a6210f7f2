"""Judges streaks, one after another as they come: the finished file and a growing one are judged by the same steps."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from takeup.measure.video.whole import Pictures
from takeup.streams import Finding
from takeup.tables.rows import Rows


@dataclass(slots=True)
class _Stretch:
    """Streaks near each other, as far as they have come."""

    from_s: float
    last_s: float
    last: deque[float]  # when the last of them came
    streaks: int = 0
    crowded: bool = False
    told_at: int = -1  # its place among what is told


class RunningStreaks:
    """Stretches of streaks: a single one is told at once as ``good``, a crowd as soon as it is one, each once more with
    its end. What was told is never taken back, for what comes later makes a stretch longer or a crowd, and no less."""

    def __init__(self, picture_s: float, rows: Rows) -> None:
        self.picture_s, self.limits = picture_s, rows.section("video.dropout")
        self.open: _Stretch | None = None
        self.few = self.crowds = 0
        self.told: list[Finding] = []

    def streak(self, at_s: float) -> None:
        """Take the next streak; ``told`` then holds all that is certain by now."""
        self.reach(at_s)
        run = self.open
        if run is None:
            run = self.open = _Stretch(at_s, at_s, deque(maxlen=int(self.limits["burst"])))
        run.last_s, run.streaks = at_s, run.streaks + 1
        run.last.append(at_s)
        if not run.crowded and self._is_crowd(run):
            run.crowded, self.crowds = True, self.crowds + 1
            self._tell(run)
        elif run.told_at < 0 and self.few < self.limits["most_told"]:
            self._tell(run)

    def reach(self, at_s: float) -> None:
        """No other streak has come up to here: a stretch may be over."""
        run = self.open
        if run is not None and at_s - run.last_s > self._reach_s(run):
            self._close(run)

    def finish(self) -> list[Finding]:
        """All stretches, when nothing comes any more."""
        if self.open is not None:
            self._close(self.open)
        return sorted(self.told, key=lambda one: one.from_s or 0.0)

    def _reach_s(self, run: _Stretch) -> float:
        """Streaks so near belong together; when many crowds have been told, those that follow are told together."""
        many = run.crowded and self.crowds >= self.limits["most_told"]
        return float(self.limits["join_later_s" if many else "join_s"])

    def _is_crowd(self, run: _Stretch) -> bool:
        """Many from its beginning on, or very many at any place of it."""
        limits = self.limits
        often = self._often(run) >= limits["look_per_minute"] and run.streaks >= limits["least"]
        burst = len(run.last) == limits["burst"] and run.last[-1] - run.last[0] <= limits["least_s"]
        return bool(often or burst)

    def _often(self, run: _Stretch) -> float:
        return 60 * run.streaks / max(run.last_s + self.picture_s - run.from_s, self.limits["least_s"])

    def _close(self, run: _Stretch) -> None:
        self.open = None
        if run.told_at >= 0:
            self._tell(run)
            self.few += not run.crowded

    def _tell(self, run: _Stretch) -> None:
        found = Finding(
            name="dropout",
            verdict="look" if run.crowded else "good",
            again="may help",
            says="dropout" if run.crowded else "dropout.few",
            from_s=round(run.from_s, 3),
            to_s=round(run.last_s + self.picture_s, 3),
            value=round(self._often(run), 1),
            unit="per minute",
            facts={"streaks": run.streaks},
            rows=("video.dropout.look_per_minute", "video.dropout.least", "video.dropout.join_s"),
        )
        if run.told_at < 0:
            run.told_at = len(self.told)
            self.told.append(found)
        self.told[run.told_at] = found


def judge_streaks(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Streaks near each other are one stretch: ``look`` where they crowd, ``good`` where they are few. And ``look``
    where they became many more on the way."""
    running = RunningStreaks(pictures.picture_s, rows)
    for number, _ in pictures.lines.streaks:
        running.streak(float(pictures.at_s[number]))
    return [*running.finish(), *_rising(pictures, rows)]


def _rising(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Many more streaks in the last third than in the first: the tape sheds, or the heads have clogged on the way."""
    limits, shown = rows.section("video.dropout"), [kind == "picture" for kind in pictures.kinds]
    third = sum(shown) // 3
    minutes = third * pictures.picture_s / 60
    if 3 * minutes * 60 < limits["rising_least_s"]:
        return []
    recorded = [number for number, here in enumerate(shown) if here]
    early, late = recorded[third], recorded[-third]
    numbers = [number for number, _ in pictures.lines.streaks]
    before = sum(number < early for number in numbers) / minutes
    after = sum(number >= late for number in numbers) / minutes
    if not is_rising(before, after, rows):
        return []
    from_s, to_s = float(pictures.at_s[late]), float(pictures.at_s[recorded[-1]]) + pictures.picture_s
    return [
        Finding(
            name="dropout",
            verdict="look",
            again="may help",
            says="dropout.rising",
            from_s=round(from_s, 3),
            to_s=round(to_s, 3),
            value=round(after, 1),
            unit="per minute",
            facts={"before": round(before, 1)},
            rows=("video.dropout.rising_times", "video.dropout.rising_least_s", "video.dropout.look_per_minute"),
        )
    ]


def is_rising(before: float, after: float, rows: Rows) -> bool:
    """Whether streaks have become many more [per minute]."""
    limits = rows.section("video.dropout")
    return bool(after >= limits["look_per_minute"] and after >= limits["rising_times"] * max(before, 1.0))


class Shedding:
    """Streaks of the last minute of recorded picture against all before it."""

    def __init__(self, picture_s: float, rows: Rows) -> None:
        self.rows, self.picture_s = rows, picture_s
        self.recent_s = rows.value("video.notice.recent_s")
        self.recent: deque[int] = deque()  # when streaks came, in recorded pictures
        self.pictures = self.before = 0

    def step(self, streaks: int) -> None:
        """Take a recorded picture."""
        self.pictures += 1
        self.recent.extend([self.pictures] * streaks)
        while self.recent and (self.pictures - self.recent[0]) * self.picture_s >= self.recent_s:
            self.recent.popleft()
            self.before += 1

    def rates(self) -> tuple[float, float] | None:
        """Streaks a minute before and now, where they have become many more."""
        lasted_s = self.pictures * self.picture_s
        if lasted_s < self.rows.value("video.dropout.rising_least_s"):
            return None
        before, now = 60 * self.before / (lasted_s - self.recent_s), 60 * len(self.recent) / self.recent_s
        return (before, now) if is_rising(before, now, self.rows) else None
