"""Pictures that repeat the one before: single repeats, and stretches where the picture stands still exactly.

A tape never plays two equal pictures: its noise differs. Equal ones were made behind the player.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

SETTLES = 6  # pictures
AROUND = 6  # pictures beside a stretch by which its movement is known


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """``held``: stretches as (first, end) picture numbers, end not in it. ``single``: repeats outside them."""

    single: tuple[int, ...]
    held: tuple[tuple[int, int], ...]
    limit: float  # differences up to this counted as no change [8-bit codes]
    unsure: tuple[tuple[int, int], ...] = ()  # still or held: a codec hid the noise that would tell, or it has none
    method: str = "repeats/1"

    @property
    def held_pictures(self) -> int:
        return sum(end - first for first, end in self.held)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """From each picture to the one before it, one number a picture each."""

    difference: Sequence[float]  # of :class:`takeup.measure.video.change.Change` [8-bit codes]
    most: Sequence[float]
    same: Sequence[float]
    across: Sequence[float]  # of :class:`takeup.measure.video.motion.Motion` [px]
    down: Sequence[float]
    sure: Sequence[float]
    own: Sequence[float]  # comb of each picture itself, of :class:`takeup.measure.video.change.Change`; 0 where its
    # fields are of one instant
    noise: Sequence[float]  # of each picture, of :class:`takeup.measure.video.glance.Glance` [8-bit codes]
    shown: Sequence[bool]  # something recorded: black and no signal are never "held"


def repeats(steps: Steps, *, predicted: bool, limits: Mapping[str, Any]) -> Repeats:
    """Find repeats from the changes between pictures.

    Parameters
    ----------
    steps : Steps
        how each picture differs from the one before
    predicted : bool
        True for codecs that predict pictures from others (H.264, MPEG-2). A held picture is then not quite equal, and a
        quiet still shot nearly is: a stretch counts only when it breaks off movement from one picture to the next and
        lets it go on at once; at the file's beginning, when it ends so within one and the same scene. A camera that
        stops at once looks the same, so one thing more must tell them apart: a held picture keeps the movement between
        its two fields; what is seen after it has gone on meanwhile; or the codec left it without the least change.
    limits : mapping
        rows of ``video.repeat``
    """
    seen = np.asarray(steps.shown, bool)
    change, same = np.asarray(steps.difference, float), np.asarray(steps.same, float)
    least = int(limits["held_pictures"])
    if not predicted:
        equal = seen & ((change <= limits["equal_codes"]) | (same >= limits["equal_share"]))
        filmed = np.asarray(steps.noise, float) > limits["drawn_noise"]  # what a tape held keeps the tape's noise
        drawn = tuple(run for run in _runs(equal & ~filmed) if run[1] - run[0] >= least)
        return _sorted(_runs(equal & filmed), least, limits["equal_codes"], drawn)
    found = _Broken(steps, change, seen, least, limits)
    runs = _without_beat(found.runs(), int(seen.sum()), least, limits)
    return _sorted(runs, least, limits["predicted_codes"], tuple(found.unsure))


class _Broken:
    """Stretches that break off movement, after a codec that predicts."""

    def __init__(
        self, steps: Steps, change: np.ndarray, seen: np.ndarray, least: int, limits: Mapping[str, Any]
    ) -> None:
        self.change, self.seen, self.least, self.limits = change, seen, least, limits
        self.same = np.asarray(steps.same, float)
        self.most, self.sure = np.asarray(steps.most, float), np.asarray(steps.sure, float)
        self.across, self.down = np.asarray(steps.across, float), np.asarray(steps.down, float)
        self.far, self.own = np.hypot(self.across, self.down), np.asarray(steps.own, float)
        self.unsure: list[tuple[int, int]] = []

    def runs(self) -> list[tuple[int, int]]:
        found, at = [], 1
        while at < len(self.change):
            run = self._run(at) if self.seen[at] else None
            if run is not None:
                found.append(run)
            at = run[1] if run is not None else at + 1
        return found

    def _run(self, first: int) -> tuple[int, int] | None:
        """The stretch that begins here; None when none does."""
        begins = first == 1
        level = self._level(first)
        if begins:
            level = self._level_after(first)
        if level < self.limits["moving_codes"] or self.change[first] > self._still(level, first):
            return None
        end = first + 1
        while end < len(self.change) and self.seen[end] and self.change[end] <= self._still(level, end):
            end += 1
        if end - first < self.least:
            return (first, end) if not begins and self._short(first, end, level) else None
        if not self._goes_on(end, level, begins):
            return None
        if self._combed(first, end, begins) or self._leapt(first, end, begins):
            return first, end
        first = self._still_shot(first, end)
        if self._untouched(first, end):
            return first, end
        if float(np.median(self.most[first:end])) <= self.limits["predicted_usual"]:
            self.unsure.append((first, end))
        return None

    def _combed(self, first: int, end: int, begins: bool) -> bool:
        """Whether the movement between two fields stands still with them, as in no picture of a resting camera."""
        moving = slice(end, end + AROUND) if begins else slice(max(0, first - AROUND), first)
        usual, here = float(np.median(self.own[moving])) if len(self.own[moving]) else 0.0, self.own[first:end]
        change, most, same = (float(np.median(values[first:end])) for values in (self.change, self.most, self.same))
        laid = same >= self.limits["predicted_same"] and most >= self.limits["predicted_laid"]
        quiet = change <= self.limits["predicted_codes"] or laid
        least = max(self.limits["held_comb"], self.limits["held_comb_share"] * usual)
        return quiet and float(np.median(here)) >= least

    def _leapt(self, first: int, end: int, begins: bool) -> bool:
        """Whether what is seen after the stretch has moved on as far as it would have done in its time."""
        near = slice(end + 1, end + 1 + AROUND) if begins else slice(max(1, first - AROUND), first)
        if end >= len(self.far) or self.sure[end] < self.limits["leap_sure"] or near.start >= len(self.far):
            return False
        step = np.array([_middle(self.across[near]), _middle(self.down[near])])
        leap = np.array([self.across[end], self.down[end]])
        size = float(np.hypot(*step))
        if not size >= self.limits["stands_px"] or not np.isfinite(leap).all():
            return False
        times = float(leap @ step) / size**2
        aside = float(np.hypot(*(leap - times * step)))
        missed = (1 - self.limits["leap_off"]) * (end - first), (1 + self.limits["leap_off"]) * (end - first + 1)
        return missed[0] + 1 <= times <= missed[1] and aside <= self.limits["leap_off"] * float(np.hypot(*leap)) + 1

    def _untouched(self, first: int, end: int) -> bool:
        """Whether a codec, once it has settled, changes nothing any more; noise would make it."""
        later = self.most[first + SETTLES : end]
        return len(later) >= 2 * SETTLES and float(np.median(later)) <= self.limits["predicted_none"]

    def _still_shot(self, first: int, end: int) -> int:
        """Where a still shot, its noise still there, passes into a held picture; ``first`` where none comes before.

        A coder settles on a held picture within :data:`SETTLES` pictures; a few of a still shot it leaves as they are.
        """
        quiet = self.most[first:end] <= self.limits["predicted_usual"]
        begins = int(np.argmax(quiet))
        return first + begins if begins > SETTLES and len(quiet) - begins > 2 * SETTLES else first

    def _still(self, level: float, at: int) -> float:
        """A picture that differs by no more than this stands still where pictures moved by ``level``."""
        limits = self.limits
        still = max(limits["predicted_codes"], min(limits["predicted_most"], limits["predicted_share"] * level))
        stands = at < len(self.far) and self.far[at] <= limits["stands_px"] and self.sure[at] >= limits["stands_sure"]
        return max(still, min(limits["predicted_most"], limits["stands_share"] * level)) if stands else still

    def _level(self, first: int) -> float:
        """How much pictures changed up to here; 0 where movement had slowed down before, or a cut came."""
        before = self.change[max(0, first - 8) : first]
        before = before[np.isfinite(before)]
        moving = before[before >= self.limits["moving_codes"]]
        if len(moving) < 2 or before[-1] < self.limits["moving_codes"]:
            return 0.0
        usual = float(np.median(moving[:-1]))
        if self.sure[first - 1] < 0.6 * np.median(self.sure[max(0, first - 6) : first - 1]):  # another scene: a cut
            return 0.0
        slowed = before[-1] < self.limits["slowed_share"] * usual
        return 0.0 if slowed or before[-1] > self.limits["cut_ratio"] * usual else min(usual, float(before[-1]))

    def _level_after(self, first: int) -> float:
        """How much pictures change where the stretch at the beginning ends."""
        still = self.change[first:] < self.limits["moving_codes"]
        end = first + (int(np.argmin(still)) if not still.all() else len(still))
        after = self.change[end + 1 : end + 6]
        return float(np.median(after)) if end < len(self.change) - 3 else 0.0

    def _short(self, first: int, end: int, level: float) -> bool:
        """A repeat: movement goes on at once, and nothing moved meanwhile."""
        if end >= len(self.change) or self.change[end] < self.limits["moving_codes"]:
            return False
        if self.change[end] < self.limits["slowed_share"] * level:
            return False
        moved = self.far[first - 1], self.far[end]
        known = min(self.sure[first - 1], self.sure[end]) >= self.limits["stands_sure"] - 0.2
        if known and min(moved) >= 3 * self.limits["stands_px"]:
            return bool((self.far[first:end] <= self.limits["stands_px"]).all())
        return bool((self.change[first:end] <= self.limits["predicted_share"] * level).all())

    def _goes_on(self, end: int, level: float, begins: bool) -> bool:
        """Movement that was broken off goes on as it was; a real still shot ends slowly, or in a cut."""
        if end >= len(self.change):
            return not begins
        if begins and self.sure[end] < self.limits["stands_sure"] - 0.3:
            return False
        return bool(self.change[end] >= self.limits["slowed_share"] * level)


def _without_beat(
    runs: list[tuple[int, int]], pictures: int, least: int, limits: Mapping[str, Any]
) -> list[tuple[int, int]]:
    """No single repeats where every second or third picture would be one: film or drawings on the tape, each with its
    own noise that the codec took away."""
    short = [run for run in runs if run[1] - run[0] < least]
    if len(short) > limits["beat_share"] * max(1, pictures) and len(short) > 5:
        return [run for run in runs if run[1] - run[0] >= least]
    return runs


def _middle(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _runs(still: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist()))


def _sorted(runs: list[tuple[int, int]], least: int, limit: float, unsure: tuple[tuple[int, int], ...] = ()) -> Repeats:
    held = tuple(run for run in runs if run[1] - run[0] >= least)
    single = tuple(number for first, end in runs if end - first < least for number in range(first, end))
    return Repeats(single=single, held=held, limit=limit, unsure=unsure)
