"""Which parts of a capture hold a programme, tape hiss, only the electronics' own noise, or nothing at all.

Method ours (decision 0010). Hiss is steady and has no pitch: the level of the neighbouring samples' differences
scatters from hop to hop as that of noise must (a tone's does not, speech and music scatter far more). Steady stretches
form groups by level; the lowest one that lies between stretches of programme is the tape's, a lower one at the ends
only is the leader's or the stopped machine's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.history import decibels, grouped, runs_of

ZERO, ELECTRONICS, HISS, PROGRAMME = range(4)
WINDOW = 50  # hops of a steady stretch
QUIETEST_SCATTER_DB, WIDEST_SCATTER_DB, WIDEST_DRIFT_DB = 0.1, 1.0, 2.5
GROUP_GAP_DB = 4.0
SHORT_GAP, SHORT_RUN = 10, 3  # hops: a gap that programme bridges; a click that is none


@dataclass(frozen=True, slots=True, kw_only=True)
class States:
    """``state`` of each hop, and the levels that told them apart [dBFS]; None where there is no such stretch."""

    state: np.ndarray  # uint8: ZERO, ELECTRONICS, HISS, PROGRAMME
    hiss_dbfs: float | None
    electronics_dbfs: float | None

    @property
    def programme(self) -> np.ndarray:
        return self.state == PROGRAMME


@dataclass(frozen=True, slots=True)
class _Group:
    level: float
    highest: float
    steps: float
    scatter: float
    at: np.ndarray  # windows


def tell_states(
    power: np.ndarray, steps: np.ndarray, zero: np.ndarray, *, hiss_highest_dbfs: float, hiss_lowest_dbfs: float
) -> States:
    """Give each hop its state.

    Parameters
    ----------
    power, steps : ndarray, shape (n_hops, n_channels)
        Mean square about DC, and of the differences of neighbouring samples.
    zero : ndarray of bool, shape (n_hops,)
        Nothing at all: all samples of the hop alike, in every channel.
    hiss_highest_dbfs, hiss_lowest_dbfs : float
        A steady noise above the first is programme. Below the second it is the electronics', unless it lies between
        stretches of programme.
    """
    level, slope = decibels(power.max(axis=1)), decibels(steps.max(axis=1))
    state = np.full(len(level), PROGRAMME, np.uint8)
    state[zero] = ZERO
    groups = _groups(level, slope, zero, hiss_highest_dbfs)
    if not groups:
        return States(state=state, hiss_dbfs=None, electronics_dbfs=None)
    hiss, electronics, none = _choose(groups, level, slope, zero, hiss_lowest_dbfs)
    floor = hiss or electronics
    assert floor is not None
    programme = _above(level, slope, floor) & ~zero & (not none)
    state[~programme & ~zero] = HISS if hiss else ELECTRONICS
    if hiss and electronics:
        smooth = np.convolve(np.pad(level, 2, mode="edge"), np.full(5, 0.2), mode="valid")
        state[~programme & ~zero & (smooth < (hiss.level + electronics.level) / 2)] = ELECTRONICS
    return States(
        state=state,
        hiss_dbfs=hiss.level if hiss else None,
        electronics_dbfs=electronics.level if electronics else None,
    )


def _groups(level: np.ndarray, slope: np.ndarray, zero: np.ndarray, highest: float) -> list[_Group]:
    """Steady stretches of half a second that sound like noise, grouped by level, lowest first."""
    count = len(level) // WINDOW
    if not count:
        return []
    by_window = slope[: count * WINDOW].reshape(count, WINDOW)
    scatter = by_window.std(axis=1)
    power = grouped(10 ** (level / 10), WINDOW)
    tenths = decibels(grouped(10 ** (level[: count * WINDOW] / 10), 10)).reshape(count, -1)
    windows = decibels(power)
    steady = (scatter >= QUIETEST_SCATTER_DB) & (scatter <= WIDEST_SCATTER_DB)
    steady &= np.ptp(tenths, axis=1) <= WIDEST_DRIFT_DB
    steady &= (windows <= highest) & ~zero[: count * WINDOW].reshape(count, WINDOW).any(axis=1)
    at = np.flatnonzero(steady)
    if not len(at):
        return []
    at = at[np.argsort(windows[at], kind="stable")]
    cuts = np.flatnonzero(np.diff(windows[at]) > GROUP_GAP_DB) + 1
    hops = level[: count * WINDOW].reshape(count, WINDOW)
    return [
        _Group(
            level=float(np.median(windows[group])),
            highest=float(windows[group].max()),
            steps=float(np.median(by_window[group].mean(axis=1))),
            scatter=float(np.median(hops[group].std(axis=1))),
            at=np.sort(group),
        )
        for group in np.split(at, cuts)
    ]


def _above(level: np.ndarray, slope: np.ndarray, floor: _Group) -> np.ndarray:
    """Hops of programme: clearly over the floor in level or in treble; short gaps bridged, clicks left out."""
    margin = max(5.0, 4 * floor.scatter)
    over = (level > max(floor.level + margin, floor.highest + 2)) | (slope > floor.steps + 5.0)
    for first, end in runs_of(~over):
        if end - first <= SHORT_GAP and first > 0 and end < len(over):
            over[first:end] = True
    for first, end in runs_of(over):
        if end - first < SHORT_RUN:
            over[first:end] = False
    return over


def _choose(
    groups: list[_Group], level: np.ndarray, slope: np.ndarray, zero: np.ndarray, lowest: float
) -> tuple[_Group | None, _Group | None, bool]:
    """Hiss, electronics, and whether there is no programme at all."""
    loudest = float(np.percentile(level[~zero], 95))
    at = 0
    while at + 1 < len(groups) and groups[at + 1].level < loudest - 6:
        spans = np.flatnonzero(_above(level, slope, groups[at + 1]) & ~zero) // WINDOW
        if len(spans) and _between(groups[at].at, spans):
            break
        at += 1
    found = groups[at]
    if at + 1 < len(groups) and groups[-1].level >= loudest - 6 and at + 2 == len(groups):
        upper = groups[-1]
        quiet = not (_above(level, slope, upper) & ~zero).any()
        if quiet and not _between(found.at, upper.at):
            return upper, found, True  # a blank tape between two leaders
    spans = np.flatnonzero(_above(level, slope, found) & ~zero) // WINDOW
    inside = len(spans) > 0 and _between(found.at, spans)
    lower = groups[at - 1] if at else None
    if lower is None and not inside and found.level < lowest:
        return None, found, False
    return found, lower, False


def _between(windows: np.ndarray, spans: np.ndarray) -> bool:
    """Whether any of the windows lies between the first and the last of others."""
    return bool(((windows > spans.min()) & (windows < spans.max())).any())
