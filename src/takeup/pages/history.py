"""A capture's levels over time in a given number of columns, for drawing and for a table. Pure; dBFS in, dBFS out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.streams import Trace

LEVEL_OFFSET_DB, FINE_OFFSET_DB = 100, 140  # of a trace's bytes: level; floor and strip


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Levels of each column [dBFS]; NaN where nothing was recorded, or (floor) where it could not be told.

    ``quiet``, ``mean`` and ``loud`` are the least, the mean (of power) and the greatest of the column's 0.1 s levels.
    """

    quiet: np.ndarray
    mean: np.ndarray
    loud: np.ndarray
    floor: np.ndarray


def history(trace: Trace, seconds: float, count: int) -> History:
    """The whole of a capture in ``count`` equal columns."""
    levels = np.frombuffer(trace.level, np.uint8).astype(float) - LEVEL_OFFSET_DB
    if len(trace.recorded) == len(trace.level):
        levels[np.frombuffer(trace.recorded, np.uint8) == 0] = np.nan
    found = np.full((4, count), np.nan)
    for at, (begin, end) in enumerate(cells(seconds, trace.step_s, count)):
        part = levels[begin:end]
        part = part[np.isfinite(part)]
        if len(part):
            found[:3, at] = part.min(), 10 * np.log10(np.mean(10 ** (part / 10))), part.max()
    if trace.floor and trace.floor_step_s > 0:
        floors = np.frombuffer(trace.floor, np.uint8).astype(float)
        floors = np.where(floors > 0, floors - FINE_OFFSET_DB, np.nan)
        middles = (np.arange(count) + 0.5) * seconds / count
        at = np.minimum((middles / trace.floor_step_s).astype(int), len(floors) - 1)
        found[3] = floors[at]
    return History(quiet=found[0], mean=found[1], loud=found[2], floor=found[3])


def tones(trace: Trace, seconds: float, most: int) -> np.ndarray:
    """Third-octave levels over time, at most ``most`` columns of equal length. Shape (bands, columns), dBFS.

    Empty where the trace has no strip. Columns that are joined are joined as power; minus infinity is nothing at all.
    """
    bands = len(trace.strip_hz)
    if not bands or trace.strip_step_s <= 0 or len(trace.strip) < bands:
        return np.zeros((bands, 0))
    codes = np.frombuffer(trace.strip, np.uint8)[: len(trace.strip) // bands * bands].reshape(-1, bands).astype(float)
    power = np.where(codes > 0, 10 ** ((codes - FINE_OFFSET_DB) / 10), 0.0)
    count = min(most, len(power))
    last = len(power) - 1  # the last column may begin a moment before the end
    joined = [
        power[min(begin, last) : max(end, min(begin, last) + 1)].mean(axis=0)
        for begin, end in cells(seconds, trace.strip_step_s, count)
    ]
    with np.errstate(divide="ignore"):
        return 10 * np.log10(np.array(joined).T)


def cells(seconds: float, step_s: float, count: int) -> list[tuple[int, int]]:
    """The steps of a trace under each of ``count`` equal columns: first and one past the last, never none of them."""
    edges = np.linspace(0, seconds, count + 1) / step_s + 1e-9
    begins = edges[:-1].astype(int)
    ends = np.maximum(begins + 1, edges[1:].astype(int))
    return list(zip(begins.tolist(), ends.tolist()))
