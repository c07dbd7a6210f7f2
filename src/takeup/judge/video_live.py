"""Bands of tracking noise while a capture comes in: told as soon as nothing can undo them, once more when over."""

from __future__ import annotations

from dataclasses import dataclass

from takeup.judge.video_lines import band
from takeup.measure.video.tracking import Torn
from takeup.streams import Finding
from takeup.tables.rows import Rows


@dataclass(slots=True)
class Band:
    """A stretch of pictures with a band, as far as it has come."""

    from_s: float
    last_s: float
    pictures: int
    lines: int


class RunningBands:
    """The same stretches as the finished file's, while they come: joined and long enough by the same rows."""

    def __init__(self, picture_s: float, rows: Rows) -> None:
        self.picture_s, self.limits = picture_s, rows.section("video.tracking")
        self.open: Band | None = None
        self.told: list[Finding] = []

    def step(self, torn: Torn | None, at_s: float) -> None:
        """Take what a picture shows; ``told`` then holds every band that is certain by now, with its end so far."""
        run = self.open
        if run is not None and at_s - run.last_s > self.limits["join_s"]:
            self._tell(run)
            run = self.open = None
        if torn is None:
            return
        if run is None:
            run = self.open = Band(at_s, at_s, 0, 0)
        was_told = self._is_sure(run)
        run.last_s, run.pictures, run.lines = at_s, run.pictures + 1, max(run.lines, torn.end - torn.first)
        if not was_told:
            self._tell(run)

    def _is_sure(self, run: Band) -> bool:
        lasted = run.last_s + self.picture_s - run.from_s
        return lasted >= self.limits["least_s"] and run.pictures >= self.limits["least_pictures"]

    def _tell(self, run: Band) -> None:
        if not self._is_sure(run):
            return
        found = band(run.from_s, run.last_s + self.picture_s, run.lines)
        if self.told and self.told[-1].from_s == found.from_s:
            self.told.pop()
        self.told.append(found)
