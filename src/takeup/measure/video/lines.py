"""What single lines of a recorded picture tell, in one walk: streaks, bands of noise, and the sampled measures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from takeup.measure.video import dropouts, sampled, tracking
from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.fields import fields
from takeup.measure.video.sampled import Sampled

LOOK_EVERY = 3  # pictures between two looks for a band; every one while there is one
STAYS = 9  # pictures for which a band that was seen is looked for again in every one


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the lines of all pictures gave. Pictures are told by their number in the file."""

    sampled: Sampled
    streaks: tuple[tuple[int, dropouts.Streak], ...]  # (picture, streak)
    bands: tuple[tuple[int, tracking.Torn], ...]  # (picture, band)
    looked: bool  # whether these were pictures that streaks and bands are told of


@dataclass(slots=True)
class Lines:
    """The state of the walk."""

    limits: Mapping[str, Mapping[str, Any]]
    bits: int
    samples: sampled.Samples = field(default_factory=sampled.begin)
    two: dropouts.Two = field(default_factory=dropouts.begin)
    before: tracking.Before = field(default_factory=tracking.begin)
    seen: int = 0  # pictures since the last gap
    band_at: int = -STAYS
    looked: bool = False
    streaks: list[tuple[int, dropouts.Streak]] = field(default_factory=list)
    bands: list[tuple[int, tracking.Torn]] = field(default_factory=list)

    def step(self, planes: tuple[np.ndarray, ...], number: int, luma: np.ndarray | None = None) -> None:
        """Take a recorded picture; ``number`` is its own in the file, ``luma`` its luma in eight bits if at hand."""
        both = fields(eight_bits(planes[0], self.bits) if luma is None else luma)
        torn = self._band(both, planes[1:3], number)
        self.two, found = dropouts.step(self.two, both, planes[1:3], self.bits, self.limits["dropout"], torn=torn)
        self.streaks += [(number - 1, streak) for streak in found]
        self.samples = sampled.step(self.samples, planes, self.bits, self.limits)
        self.looked = self.looked or self.two.here is not None
        self.seen += 1

    def gap(self) -> None:
        """Here is no recorded picture: nothing stands beside it."""
        self.two, self.before, self.seen, self.band_at = dropouts.begin(), tracking.begin(), 0, -STAYS

    def _band(
        self, both: tuple[np.ndarray, np.ndarray], colour: tuple[np.ndarray, ...], number: int
    ) -> np.ndarray | None:
        if self.seen % LOOK_EVERY and self.seen - self.band_at > STAYS:
            self.before = tracking.Before(both)
            return None
        self.before, band = tracking.step(self.before, both, colour, self.bits, self.limits["tracking"])
        if band is None:
            return None
        self.band_at = self.seen
        self.bands.append((number, band))
        torn = np.zeros(len(both[0]), bool)
        torn[max(0, band.first - 4) : band.end + 4] = True
        return torn

    @property
    def lossless(self) -> bool:
        """Whether the file keeps every picture as it came; DV codes the fields' noise apart."""
        rows = self.limits["sampled"]
        return bool(not rows.get("lossy", False) or rows.get("keeps_noise", False))

    def finish(self) -> Found:
        return Found(
            sampled=sampled.finish(self.samples, self.limits["sampled"], lossless=self.lossless),
            streaks=tuple(self.streaks),
            bands=tuple(self.bands),
            looked=self.looked,
        )
