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
    same_share: Sequence[float],
    key: Sequence[bool],
    shown: Sequence[bool],
    *,
    predicted: bool,
    limits: Mapping[str, Any],
) -> Repeats:
    """Find repeats from the changes between pictures.

    Parameters
    ----------
    difference, same_share : sequence of float
        of :class:`takeup.measure.video.change.Change`, one a picture [8-bit codes, share]
    key : sequence of bool
        pictures that the codec coded anew: a held picture may change a little there
    shown : sequence of bool
        pictures with something recorded on them; black and no signal are never "held"
    predicted : bool
        True for codecs that predict pictures from others (H.264, MPEG-2): a held picture is then not quite equal
    limits : mapping
        rows of ``video.repeat``
    """
    change = np.asarray(difference, float)
    real = change[np.isfinite(change)]
    moving = float(np.percentile(real, 25)) if len(real) else 0.0
    limit = limits["equal_codes"]
    if predicted:
        limit = float(np.clip(limits["predicted_share"] * moving, limits["predicted_least"], limits["predicted_most"]))
    still = change <= limit
    if predicted:
        still &= np.asarray(same_share) >= limits["predicted_same_share"]
        anew = np.asarray(key, bool) & (change <= limits["predicted_key"])
        still |= anew & np.roll(still, 1) & np.roll(still, -1)
    still &= np.asarray(shown, bool)
    return _runs(still, limit, int(limits["held_pictures"]))


def _runs(still: np.ndarray, limit: float, least: int) -> Repeats:
    held: list[tuple[int, int]] = []
    single: list[int] = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], still.astype(np.int8), [0]])))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist()):
        if end - first >= least:
            held.append((first, end))
        else:
            single.extend(range(first, end))
    return Repeats(single=tuple(single), held=tuple(held), limit=limit)
