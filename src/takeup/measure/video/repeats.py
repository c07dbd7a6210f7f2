"""Pictures that repeat the one before: single repeats, and stretches where the picture stands still exactly.

A tape never plays two equal pictures: its noise differs. Equal ones were made behind the player.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """``held``: stretches as (first, end) picture numbers, end not in it. ``single``: repeats outside them."""

    single: tuple[int, ...]
    held: tuple[tuple[int, int], ...]
    limit: float  # differences up to this counted as no change [8-bit codes]
    method: str = "repeats/1"

    @property
    def held_pictures(self) -> int:
        return sum(end - first for first, end in self.held)


def repeats(
    difference: Sequence[float],
    most: Sequence[float],
    key: Sequence[bool],
    shown: Sequence[bool],
    *,
    predicted: bool,
    limits: Mapping[str, Any],
) -> Repeats:
    """Find repeats from the changes between pictures.

    Parameters
    ----------
    difference, most : sequence of float
        of :class:`takeup.measure.video.change.Change`, one a picture [8-bit codes]
    key : sequence of bool
        pictures that the codec coded anew: a held picture may change a little there
    shown : sequence of bool
        pictures with something recorded on them; black and no signal are never "held"
    predicted : bool
        True for codecs that predict pictures from others (H.264, MPEG-2). A held picture is then not quite equal, and a
        quiet still shot nearly is: a stretch counts only when it breaks off movement from one picture to the next.
    limits : mapping
        rows of ``video.repeat``
    """
    change, worst = np.asarray(difference, float), np.asarray(most, float)
    seen = np.asarray(shown, bool)
    least = int(limits["held_pictures"])
    if not predicted:
        return _sorted(_runs((change <= limits["equal_codes"]) & seen), least, limits["equal_codes"])
    still = (change <= limits["predicted_codes"]) & (worst <= limits["predicted_block"]) & seen
    anew = np.asarray(key, bool) & (change <= limits["predicted_key"]) & seen
    anew[1:-1] &= still[:-2] & still[2:]
    runs = [
        run for run in _runs(still | anew)
        if np.median(worst[run[0] : run[1]]) <= limits["predicted_usual"] and _breaks_off(change, *run, least, limits)
    ]  # fmt: skip
    return _sorted(runs, least, limits["predicted_codes"])


def _breaks_off(change: np.ndarray, first: int, end: int, least: int, limits: Mapping[str, Any]) -> bool:
    """Whether the pictures were moving right up to the run (a cut to a still picture is no movement)."""
    moving = limits["moving_codes"]
    before = change[max(0, first - 6) : first]
    before = before[np.isfinite(before)]
    if len(before) < 2 or before[-1] < moving:
        return False
    if before[-1] > limits["cut_ratio"] * np.median(before[:-1]):
        return False
    return end - first >= least or (end < len(change) and change[end] >= moving)


def _runs(still: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(np.int8), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist()))


def _sorted(runs: list[tuple[int, int]], least: int, limit: float) -> Repeats:
    held = tuple(run for run in runs if run[1] - run[0] >= least)
    single = tuple(number for first, end in runs if end - first < least for number in range(first, end))
    return Repeats(single=single, held=held, limit=limit)
