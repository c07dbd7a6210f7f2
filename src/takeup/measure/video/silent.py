"""Pictures that were lost without a trace in the time stamps: the scene goes on twice as far, once.

In a steady movement of the camera one step is two (three, ...) times as long as those before and after it, and in the
same direction. A hand's jerk can do that too, but it takes longer than a field: inside the pictures on both sides it
shows, from field to field; a lost picture does not. Where the step follows a repeat, the converter mended the time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from takeup.measure.video.motion import Path

AROUND = 8  # steps on either side that tell how steady the movement is
LONGEST_BEAT, BEATS = 12, 3  # pictures from leap to leap of film, and how many in a row make a beat
SETTLES = AROUND + BEATS * LONGEST_BEAT  # pictures after a leap that may still say something else of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Silent:
    """``lost``: (number of the picture after the gap, pictures missing). ``replaced``: repeats that took the place of
    a lost picture."""

    lost: tuple[tuple[int, int], ...]
    replaced: tuple[int, ...]
    method: str = "silent/1"


def silent_losses(
    path: Path,
    shown: Sequence[bool],
    repeated: Sequence[int],
    stamped: Sequence[int],
    order: str | None,
    limits: Mapping[str, Any],
) -> Silent:
    """Find steps that are whole multiples of the movement around them.

    Parameters
    ----------
    path : Path
        how far each picture moved from the one before
    shown : sequence of bool
        pictures with something recorded
    repeated : sequence of int
        pictures that repeat the one before, held ones too
    stamped : sequence of int
        pictures after a gap that the time stamps tell of already
    order : str or None
        field order by motion: top, bottom, progressive, mixed or None
    limits : mapping
        rows of ``video.silent``: ``least_px`` a picture, ``steady_share``, ``whole_share``, ``sure``, ``most``
        pictures, ``spreads``
    """
    steps = np.stack([np.array(path.across, float), np.array(path.down, float)], axis=1)
    usable = np.asarray(shown, bool) & (np.array(path.sure, float) >= limits["sure"])
    usable[1:] &= usable[:-1]
    usable[list(stamped)] = False
    again = np.zeros(len(steps), bool)
    again[list(repeated)] = True
    lost, replaced = [], []
    size = np.hypot(steps[:, 0], steps[:, 1])
    plain = usable & ~again
    far = plain & (size >= 1.5 * limits["least_px"])
    for here, beside in ((slice(1, None), slice(None, -1)), (slice(None, -1), slice(1, None))):
        # a leap of two steps' length is longer than either neighbour, however unlike these may be: the rest is quick
        far[here] &= ~plain[beside] | (size[here] >= 1.5 / (1 + limits["steady_share"]) * (size[beside] - 0.3))
    for at in np.flatnonzero(far).tolist():
        near = _near(steps, plain, again, at, limits)
        if near is None:
            continue
        missing = _missing(steps[at], near, limits)
        if not missing or not _stands_out(steps, plain, at, near, limits):
            continue
        if again[at - 1]:
            replaced.append(at - 1)
        elif _fields_agree(path.inside.get(at), near, order, limits):
            lost.append((at, missing))
    return Silent(lost=tuple(_without_cadence(lost)), replaced=tuple(replaced))


def _near(
    steps: np.ndarray, usable: np.ndarray, again: np.ndarray, at: int, limits: Mapping[str, Any]
) -> np.ndarray | None:
    """The movement around step ``at`` where it is steady: two steps before it and two after, alike."""
    before = [k for k in range(at - 1, max(0, at - 4), -1) if usable[k]][:2]
    after = [k for k in range(at + 1, min(len(steps), at + 4)) if usable[k]][:2]
    if len(before) < 2 or len(after) < 2:
        return None
    if any(not usable[k] and not again[k] for k in range(before[-1], after[-1]) if k != at):
        return None
    around = steps[before + after]
    near = (steps[before[0]] + steps[after[0]]) / 2
    size = float(np.hypot(*near))
    if size < limits["least_px"]:
        return None
    apart = np.hypot(*(around - near).T)
    return near if float(apart.max()) <= limits["steady_share"] * size + 0.3 else None


def _missing(step: np.ndarray, near: np.ndarray, limits: Mapping[str, Any]) -> int:
    """How many pictures the step leaps over; 0 when it is no whole multiple of the movement around it."""
    size = float(np.hypot(*near))
    times = float(step @ near) / size**2
    missing = round(times) - 1
    if not 1 <= missing <= limits["most"]:
        return 0
    off = float(np.hypot(*(step - (missing + 1) * near)))
    return missing if off <= limits["whole_share"] * size * np.sqrt(missing) + 0.3 else 0


def _stands_out(steps: np.ndarray, usable: np.ndarray, at: int, near: np.ndarray, limits: Mapping[str, Any]) -> bool:
    """Whether the leap is far beyond what steps around it spread by anyway."""
    low, high = max(1, at - AROUND), min(len(steps) - 1, at + AROUND + 1)
    bends = [
        float(np.hypot(*(steps[k] - (steps[k - 1] + steps[k + 1]) / 2)))
        for k in range(low, high)
        if abs(k - at) > 1 and usable[k - 1] and usable[k] and usable[k + 1]
    ]
    if len(bends) < 2:
        return False
    return float(np.hypot(*(steps[at] - near))) > limits["spreads"] * float(np.median(bends)) / 0.83 + 0.3


def _fields_agree(
    inside: tuple[float, float] | None, near: np.ndarray, order: str | None, limits: Mapping[str, Any]
) -> bool:
    """Whether both pictures beside the leap move inside as they should; whole pictures do not move inside."""
    if order not in ("top", "bottom"):
        return True
    if inside is None:
        return False
    half = near[0] / 2 * (1 if order == "top" else -1)
    return all(abs(found - half) <= limits["steady_share"] * abs(half) + 0.6 for found in inside)


def _without_cadence(lost: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """None of those that stand among leaps in an even beat of a few pictures: that is how film lies on a tape."""
    return [one for one in lost if not _beats([at for at, _ in lost if abs(at - one[0]) <= BEATS * LONGEST_BEAT])]


def _beats(places: list[int]) -> bool:
    gaps = np.diff(places)
    if len(gaps) < BEATS:
        return False
    middle = np.median(gaps)
    return bool(middle <= LONGEST_BEAT and float((gaps == middle).mean()) > 0.7)
