"""Pictures and sound against the clock: lost pictures, where sound begins, and how it drifts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """``drift_ms``: sound length less pictures over rate. ``shape``: none, slope, step or constant."""

    drift_ms: float
    offset_ms: float  # start of sound less start of picture
    shape: str
    steps_at_s: tuple[float, ...] = ()
    method: str = "drift/1"


EVEN = 0.25  # a step of time stamps is an even one when it is so near the usual step [share]
GAP = 1.5  # steps of time from one picture to the next: from here on one is missing between them
ASIDE = 0.002  # a stated rate further from the even steps than this is a mean over gaps, or wrong [share]


def usual_s(at_s: Sequence[float] | np.ndarray, stated_s: float) -> float:
    """How long one picture lasts [s].

    As stated, unless the even steps of the time stamps say something else: where pictures are missing, a file may state
    the mean over its gaps.
    """
    steps = np.diff(np.asarray(at_s, float))
    steps = steps[steps > 0]
    if len(steps) < 20:
        return stated_s
    usual = float(np.median(steps))
    even = steps[np.abs(steps / usual - 1) <= EVEN]
    mean = float(even.mean())
    if len(even) < 0.8 * len(steps) or abs(mean / stated_s - 1) <= ASIDE:
        return stated_s
    return mean


def lost_pictures(at_s: Sequence[float] | np.ndarray, picture_s: float) -> list[tuple[int, int]]:
    """Where time stamps jump: (number of the picture after the gap, pictures missing)."""
    gaps = np.diff(np.asarray(at_s, float)) / picture_s
    return [(int(at) + 1, round(float(gaps[at])) - 1) for at in np.flatnonzero(gaps > GAP)]


def drift(
    picture_at_s: Sequence[float] | np.ndarray,
    picture_s: float,
    sound_at: Sequence[tuple[float, int]],
    samples: int,
    rate_hz: int,
    limits: Mapping[str, Any],
    *,
    leaps: Sequence[tuple[float, int]] = (),
) -> Drift:
    """Compare the two tracks.

    Parameters
    ----------
    picture_at_s : sequence of float
        time stamp of every picture [s]
    picture_s : float
        how long one picture lasts by the stated rate [s]
    sound_at : sequence of (float, int)
        some sound time stamps [s] with the number of samples before them, from the first block on
    samples, rate_hz : int
        all samples of one channel, and their rate [Hz]
    limits : mapping
        rows of ``video.sync``: ``none_ms step_ms``
    leaps : sequence of (float, int)
        where pictures are missing without a gap in the time stamps [s], and how many: sound that is longer by as much
        stepped there
    """
    pictures = np.asarray(picture_at_s, float)
    drift_ms = 1000 * (samples / rate_hz - len(pictures) * picture_s)
    first_sound = sound_at[0][0] if len(sound_at) else 0.0
    offset_ms = 1000 * (first_sound - float(pictures[0]))
    times, slips = _slips(pictures, picture_s, sound_at, samples, rate_hz)
    inside_ms = float(slips[-1]) if len(slips) else 0.0
    shape, steps = _shape(drift_ms, offset_ms, inside_ms, times, slips, limits)
    missing_ms = 1000 * picture_s * sum(number for _, number in leaps)
    if leaps and shape in ("slope", "none") and abs(drift_ms - missing_ms) <= 500 * picture_s + limits["none_ms"]:
        shape, steps = "step", tuple(at for at, _ in leaps)
    return Drift(drift_ms=drift_ms, offset_ms=offset_ms, shape=shape, steps_at_s=steps)


def _slips(
    pictures: np.ndarray, picture_s: float, sound_at: Sequence[tuple[float, int]], samples: int, rate_hz: int
) -> tuple[np.ndarray, np.ndarray]:
    """How far sound has slipped against pictures by each second of the common time stamps [s, ms]; begins at 0."""
    stamps = np.array([at for at, _ in sound_at], float)
    counts = np.array([count for _, count in sound_at], float) / rate_hz
    if len(stamps) < 2 or len(pictures) < 2:
        return np.zeros(0), np.zeros(0)
    end = min(float(stamps[-1]), float(pictures[-1]))
    begin = max(float(stamps[0]), float(pictures[0]))
    times = np.linspace(begin, end, int(max(2, min(20000, (end - begin) / 0.25))))
    sound = np.interp(times, stamps, counts) - (times - stamps[0])
    numbers = np.arange(len(pictures)) * picture_s
    shown = np.interp(times, pictures, numbers) - (times - pictures[0])
    slips = 1000 * (sound - shown)
    return times, slips - slips[0]


def _shape(
    drift_ms: float, offset_ms: float, inside_ms: float, times: np.ndarray, slips: np.ndarray, limits: Mapping[str, Any]
) -> tuple[str, tuple[float, ...]]:
    least = limits["none_ms"]
    jumps = np.flatnonzero(np.abs(_jump(slips)) >= limits["step_ms"]) if len(slips) > 2 else np.zeros(0, int)
    stepped = float(np.abs(_jump(slips)[jumps]).sum()) / 2 if len(jumps) else 0.0
    if abs(drift_ms) <= least and abs(offset_ms) <= least and abs(inside_ms) <= least and stepped <= least:
        return "none", ()
    if max(abs(inside_ms), stepped) > least / 2:
        if stepped >= 0.5 * abs(inside_ms):
            return "step", _groups(times[jumps])
        return "slope", ()
    ends_together = abs(drift_ms + offset_ms) <= least  # a late start explains the whole difference
    if abs(offset_ms) > least and (ends_together or abs(drift_ms) <= least):
        return "constant", ()
    return "slope", ()


def _jump(slips: np.ndarray) -> np.ndarray:
    """Change over two steps of the common time, less the even change of the whole."""
    even = (slips[-1] - slips[0]) / max(1, len(slips) - 1)
    middle = slips[2:] - slips[:-2]
    return np.concatenate([[0.0], middle - 2 * np.clip(np.median(np.diff(slips)), -abs(even), abs(even)), [0.0]])


def _groups(times: np.ndarray) -> tuple[float, ...]:
    found: list[float] = []
    for at in times.tolist():
        if not found or at - found[-1] > 1.0:
            found.append(at)
    return tuple(found)
