"""All pictures of a capture in one walk: the fold that steps every picture measure on the same picture."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from takeup.measure.video import change, levels, lines, motion, recordings
from takeup.measure.video.clock import lost_pictures, usual_s
from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.field_order import FieldOrder, field_order, vote
from takeup.measure.video.glance import Kind, glance_at, inner, kind_of
from takeup.measure.video.levels import Levels
from takeup.measure.video.lines import Found
from takeup.measure.video.recordings import Recordings
from takeup.measure.video.repeats import Repeats, Steps, repeats
from takeup.measure.video.silent import SETTLES, Silent, silent_losses
from takeup.measure.video.stretches import Stretch, stretches
from takeup.measure.video.sums import add_up

Limits = Mapping[str, Mapping[str, Any]]
"""The sections of the video table by name: ``kind order repeat silent levels sampled dropout tracking
recordings``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """What all pictures of a capture gave."""

    frames: int
    seconds: float  # from the first picture's time to the end of the last
    picture_s: float
    recorded: int  # pictures with something recorded
    levels: Levels | None
    order: FieldOrder
    repeats: Repeats
    lines: Found
    lost: tuple[tuple[int, int], ...]  # (number of the picture after the gap, pictures missing)
    silent: Silent  # pictures missing without a gap in the time stamps
    stretches: tuple[Stretch, ...]  # black, lifted, flat, snow
    recordings: Recordings
    damaged: tuple[int, ...]
    at_s: np.ndarray
    luma: np.ndarray  # mean luma of every picture [8-bit codes]
    kinds: tuple[Kind, ...]
    predicted: bool = False  # by a codec that predicts pictures from others


@dataclass(slots=True)
class Walk:
    """The state of the walk: every measure's own state, and a few numbers per picture."""

    limits: Limits
    bits: int
    predicted: bool
    before: change.Before = field(default_factory=change.begin)
    outlines: motion.Outlines = field(default_factory=motion.begin)
    path: motion.Path = field(default_factory=motion.Path)
    counted: levels.Counted | None = None
    of_lines: lines.Lines = field(init=False)
    sides: recordings.Sides = field(default_factory=recordings.Sides)
    last: change.Change | None = None
    last_kind: Kind = "picture"
    kinds: list[Kind] = field(default_factory=list)
    votes: Counter[str | None] = field(default_factory=Counter)
    at_s: array[float] = field(default_factory=lambda: array("d"))
    luma: array[float] = field(default_factory=lambda: array("f"))
    difference: array[float] = field(default_factory=lambda: array("f"))
    most: array[float] = field(default_factory=lambda: array("f"))
    same: array[float] = field(default_factory=lambda: array("f"))
    own: array[float] = field(default_factory=lambda: array("f"))
    noise: array[float] = field(default_factory=lambda: array("f"))
    damaged: list[int] = field(default_factory=list)
    lifted: dict[int, float] = field(default_factory=dict)  # spread of block means of pictures that may be black

    def __post_init__(self) -> None:
        self.of_lines = lines.Lines(self.limits, self.bits)

    def step(self, planes: tuple[np.ndarray, ...], at_s: float, *, key: bool, damaged: bool) -> Kind:
        """Take one picture; what kind it is."""
        luma = eight_bits(planes[0], self.bits)
        part = np.ascontiguousarray(inner(luma))
        sums = add_up(part)
        seen = glance_at(part, planes, self.bits, sums)
        kind = kind_of(seen, self.limits["kind"])
        self.before, here = change.step_at(self.before, part, planes[0], self.bits, seen.noise)
        self.outlines, moved = motion.step(self.outlines, part, sums)
        self.path.add(moved)
        self._vote(here, kind)
        if kind == "picture" and not damaged:  # what a decoder made up is no tape's level or streak
            if self.counted is None or planes[0].shape != (self.counted.rows, self.counted.columns):
                self.counted = levels.begin(planes[0].shape[0], planes[0].shape[1], self.bits)
            self.counted = levels.step(self.counted, planes[0])
            self.of_lines.step(planes, len(self.kinds), luma)
            if len(self.kinds) % self.limits["recordings"]["every"] == 0:
                self.sides.add(planes[0], self.bits, at_s)
        else:
            self.of_lines.gap()
        if damaged:
            self.damaged.append(len(self.kinds))
        if kind == "lifted":
            self.lifted[len(self.kinds)] = seen.block_spread
        self.kinds.append(kind)
        self.at_s.append(at_s)
        self.luma.append(seen.mean)
        self.difference.append(here.difference)
        self.most.append(here.most)
        self.same.append(here.same)
        self.own.append(here.own)
        self.noise.append(seen.noise)
        return kind

    def _vote(self, here: change.Change, kind: Kind) -> None:
        """The picture before can vote now that the one after it is known; held ones have no vote."""
        limits = self.limits["order"]
        if self.last is not None:
            moved = self.last_kind == kind == "picture" and min(self.last.difference, here.difference) > 0
            moved = moved and min(self.last.difference, here.difference) > limits["least_difference"]
            fresh = np.isfinite(self.last.difference)
            self.votes[vote(self.last, here, limits) if moved and fresh else None] += 1
        self.last, self.last_kind = here, kind

    def finish(self, rate: Fraction) -> Pictures:
        """Everything the pictures gave."""
        at_s = np.frombuffer(self.at_s, np.float64) if self.at_s else np.zeros(0)
        picture_s = usual_s(at_s, float(1 / rate))
        bounds = self.limits["levels"]
        told = self.of_lines.finish()
        sample = told.sampled
        found = self.levels_so_far(sample.noise_codes)
        self._settle_lifted(found, sample.noise_codes or bounds["usual_noise"])
        shown = [kind == "picture" for kind in self.kinds]
        spans = stretches(self.kinds, self.at_s, picture_s, gap=self.limits["kind"]["gap_pictures"])
        order = field_order(self.votes, self.limits["order"])
        steps = Steps(
            difference=self.difference,
            most=self.most,
            same=self.same,
            across=self.path.across,
            down=self.path.down,
            sure=self.path.sure,
            own=self.own if order.order not in (None, "progressive") else [0.0] * len(self.own),
            noise=self.noise,
            shown=shown,
        )
        repeated = repeats(steps, predicted=self.predicted, limits=self.limits["repeat"])
        lost = tuple(lost_pictures(at_s, picture_s))
        again = [number for first, end in repeated.held for number in range(first, end)] + list(repeated.single)
        gaps = [number for number, _ in lost]
        return Pictures(
            frames=len(self.kinds),
            seconds=float(at_s[-1] - at_s[0]) + picture_s if len(at_s) else 0.0,
            picture_s=picture_s,
            recorded=sum(shown),
            levels=found,
            order=order,
            repeats=repeated,
            lines=told,
            lost=lost,
            silent=silent_losses(self.path, shown, again, gaps, order.order, self.limits["silent"]),
            stretches=tuple(spans),
            recordings=recordings.finish(
                self.sides, at_s, self.kinds, self.difference, picture_s, self.limits["recordings"]
            ),
            damaged=tuple(self.damaged),
            at_s=at_s,
            luma=np.frombuffer(self.luma, np.float32) if self.luma else np.zeros(0, np.float32),
            kinds=tuple(self.kinds),
            predicted=self.predicted,
        )

    def order_so_far(self) -> str | None:
        """Field order by motion until now."""
        return field_order(self.votes, self.limits["order"]).order

    def is_equal(self, number: int) -> bool:
        """Whether a picture equals the one before it, where codecs code every picture alone; not of drawn ones."""
        limits = self.limits["repeat"]
        alike = self.difference[number] <= limits["equal_codes"] or self.same[number] >= limits["equal_share"]
        filmed = self.noise[number] > limits["drawn_noise"]
        return bool(alike and filmed and self.kinds[number] == "picture")

    def leaps(self, first: int, end: int, stamped: Sequence[int]) -> list[tuple[int, int]]:
        """Pictures missing without a gap in the time stamps, of those from ``first`` on up to ``end``, as ``lost`` of
        :class:`~takeup.measure.video.silent.Silent`; :data:`~takeup.measure.video.silent.SETTLES` pictures more must
        have come. ``stamped``: numbers of pictures after a gap that the time stamps tell of."""
        low, high = max(0, first - SETTLES - 1), min(len(self.kinds), end + SETTLES + 1)
        found = silent_losses(
            self.path.part(low, high),
            [kind == "picture" for kind in self.kinds[low:high]],
            [number - low for number in range(low, high) if self.is_equal(number)],
            [number - low for number in stamped if low <= number < high],
            self.order_so_far(),
            self.limits["silent"],
        )
        return [(low + number, missing) for number, missing in found.lost if first <= low + number < end]

    def levels_so_far(self, noise: float | None = None) -> Levels | None:
        """Levels of what was recorded until now; None before the first picture."""
        bounds = self.limits["levels"]
        if self.counted is None:
            return None
        return levels.finish(
            self.counted,
            noise=noise or bounds["usual_noise"],
            bar=bounds["bar"],
            rails=tuple(bounds["rails"]),
            limits=tuple(bounds["within"]),
        )

    def _settle_lifted(self, found: Levels | None, noise: float) -> None:
        """Dark even pictures are black when they are as even as nothing filmed is, or the file's blacks no darker."""
        lowest = found.floor if found is not None else None
        rows = self.limits["kind"]
        near = rows["lifted_near"] + self.limits["levels"]["floor_noises"] * noise
        for number, spread in self.lifted.items():
            even = spread <= rows["lifted_spread"] + rows["lifted_noises"] * noise
            alike = even or lowest is None or self.luma[number] <= lowest + near
            self.kinds[number] = "black" if alike else "picture"
