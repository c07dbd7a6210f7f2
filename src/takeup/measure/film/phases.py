"""Phases: where in its pattern of repeats each frame stands, where the pattern slips, and where nothing can tell."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from takeup.measure.film.cadence import Cadence, is_new, log_steps
from takeup.measure.film.stretches import Stretches, stretches

MOST = 6.0  # one frame speaks for or against a repeat with at most this log odds: no single frame decides
SPREAD = 0.35  # least spread of log differences about their level
FREE = -1  # the phase of frames that follow no pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Phases:
    """What each frame of a file is.

    ``new`` True where a frame is to be kept as a picture (undetermined frames are); ``undetermined`` stretches where
    the odds stay below what was asked; ``slips`` frames at which the pattern was broken (one picture lost or held).
    """

    new: np.ndarray
    undetermined: Stretches
    slips: tuple[int, ...]


def phases(difference: np.ndarray, found: Cadence, *, window: int, odds: float, slip_every: int) -> Phases:
    """Follow a pattern frame by frame through a whole file.

    The most likely path through the pattern's phases is found (a change of phase, or leaving the pattern, costs its
    odds). A frame is determined where the path is better by ``odds`` than every other phase and than no pattern, over
    the window around it; between two determined stretches of one unbroken phase the pattern is taken from both
    neighbours; at the file's ends from the one, for as long as a slip stays unlikely by ``odds``.

    Parameters
    ----------
    difference : ndarray, shape (n_frames,), float
        Mean absolute difference of luma from the frame before; entry 0 is ignored. [code of 255]
    found : Cadence
        The pattern, from :func:`takeup.measure.film.cadence.cadence`; its ratio below 1.
    window : int
        Frames whose evidence is taken together.
    odds : float
        Evidence ratio asked for.
    slip_every : int
        A phase slips about once in so many frames.
    """
    logs = log_steps(difference)
    ratio, count = found.ratio, len(logs)
    against = _odds_of_new(logs, found, window)
    score = _scores(against, ratio)
    path = _path(score, slip_every, odds)
    sure = _sure(score, path, window, odds)
    settled = _taken_from_neighbours(sure, path, int(slip_every / odds))
    new = np.ones(count, dtype=bool)
    for phase in np.unique(path[settled]):
        if phase != FREE:
            here = settled & (path == phase)
            new[here] = is_new(ratio, int(phase), 0, count)[here]
    slips = np.flatnonzero(np.diff(path) != 0) + 1
    for at in slips:
        unsure = _about_the_slip(score, int(path[at - 1]), int(path[at]), int(at), odds)
        settled[unsure], new[unsure] = False, True
        # A picture held or lost breaks the pattern just here: a frame that is plain by itself needs no pattern.
        near = np.arange(max(0, int(at) - ratio.denominator), min(count, int(at) + ratio.denominator + 1))
        plain = near[np.abs(against[near]) >= np.log(odds)]
        settled[plain], new[plain] = True, against[plain] > 0
    new[0] = True
    told = tuple(int(at) for at in slips if sure[at - 1] and sure[at])
    return Phases(new=new, undetermined=stretches(~settled), slips=told)


def _odds_of_new(logs: np.ndarray, found: Cadence, window: int) -> np.ndarray:
    """Log odds of "new picture" against "repeat" for each frame, from the two levels around it."""
    centres, levels = _levels(logs, found, window)
    at = np.arange(len(logs))
    high, low, spread = (np.interp(at, centres, levels[:, column]) for column in range(3))
    middle = (high + low) / 2
    told = (high - low) * (np.clip(logs, low, high) - middle) / spread**2
    told[0] = MOST
    return np.clip(told, -MOST, MOST)


def _levels(logs: np.ndarray, found: Cadence, window: int) -> tuple[np.ndarray, np.ndarray]:
    """Level of new pictures, of repeats, and the spread about them, at the centre of each window."""
    width = min(window, len(logs) - 1)
    rows, moving = (
        [],
        [  # how high new pictures stand where the pattern is plain
            np.median(logs[at : at + width][is_new(found.ratio, phase, at, width)])
            for at, phase, contrast in zip(found.starts, found.phases, found.contrasts)
            if contrast >= found.contrast / 2
        ],
    )
    usual = float(np.median(moving)) if moving else np.inf
    for at, phase in zip(found.starts, found.phases):
        piece = logs[at : at + width]
        new = is_new(found.ratio, phase, at, len(piece))
        high, low = float(np.median(piece[new])), float(np.median(piece[~new]))
        rest = np.where(new, piece - high, piece - low)
        spread = max(SPREAD, 1.4826 * float(np.median(np.abs(rest))))
        if high - low < found.contrast / 4 and high > usual - 0.5:
            low = high - found.contrast / 2  # it moves as much as elsewhere: a repeat would have shown
        rows.append((high, min(low, high), spread))
    centres = np.array(found.starts, dtype=np.float64) + width / 2
    return centres, np.array(rows)


def _scores(against: np.ndarray, ratio: Fraction) -> np.ndarray:
    """Log likelihood of each frame under each phase against "all are new", last column: no pattern (0)."""
    count, q = len(against), ratio.denominator
    score = np.zeros((count, q + 1), dtype=np.float32)
    for phase in range(q):
        repeat = ~is_new(ratio, phase, 0, count)
        score[repeat, phase] = -against[repeat]
    return score


def _path(score: np.ndarray, slip_every: int, odds: float) -> np.ndarray:
    """The most likely phase of each frame; ``FREE`` where it follows none."""
    count, states = score.shape
    price = np.full(states, np.log(slip_every) + np.log(states - 1), dtype=np.float32)
    price[-1] += np.float32(np.log(odds))
    total = score[0] - price + price.min()
    stayed = np.ones((count, states), dtype=bool)
    tops = np.zeros(count, dtype=np.int16)
    for frame in range(1, count):
        top = int(total.argmax())
        reached = total[top] - price
        np.greater_equal(total, reached, out=stayed[frame])
        tops[frame] = top
        total = np.maximum(total, reached) + score[frame]
    path = np.empty(count, dtype=np.int64)
    state = int(total.argmax())
    for frame in range(count - 1, -1, -1):
        path[frame] = state
        if not stayed[frame, state]:
            state = int(tops[frame])
    path[path == states - 1] = FREE
    return path


def _sure(score: np.ndarray, path: np.ndarray, window: int, odds: float) -> np.ndarray:
    """Where the path beats every other phase, and no pattern, by the odds asked for within a window."""
    count, states = score.shape
    taken = score[np.arange(count), np.where(path == FREE, states - 1, path)]
    lead = np.full(count, np.inf)
    for state in range(states):
        gain = _around(taken - score[:, state], window)
        other = path != (FREE if state == states - 1 else state)
        lead = np.where(other, np.minimum(lead, gain), lead)
    return lead >= np.log(odds)


def _about_the_slip(score: np.ndarray, before: int, after: int, at: int, odds: float) -> np.ndarray:
    """Frames near a slip that would be judged otherwise if it lay elsewhere, and where the odds do not exclude that."""
    unsure = []
    for frames, kept, other in (
        (range(at, len(score)), after, before),
        (range(at - 1, -1, -1), before, after),
    ):
        lead = 0.0
        for frame in frames:
            if lead >= np.log(odds):
                break
            step = float(score[frame, kept] - score[frame, other])
            if step:
                unsure.append(frame)
            lead += step
    return np.array([frame for frame in unsure if abs(score[frame].min()) < np.log(odds)], dtype=np.int64)


def _around(values: np.ndarray, window: int) -> np.ndarray:
    sums = np.concatenate(([0.0], np.cumsum(values, dtype=np.float64)))
    at = np.arange(len(values))
    low, high = np.maximum(at - window // 2, 0), np.minimum(at + window // 2 + 1, len(values))
    return sums[high] - sums[low]


def _taken_from_neighbours(sure: np.ndarray, path: np.ndarray, reach: int) -> np.ndarray:
    """Determined frames, and those that lie between two determined ones of one unbroken phase."""
    settled = sure.copy()
    breaks = np.concatenate(([0], np.cumsum(np.diff(path) != 0)))
    for first, last in stretches(~sure):
        left, right = first > 0, last < len(sure) - 1
        if left and right:
            settled[first : last + 1] = breaks[first - 1] == breaks[last + 1]
        elif left:
            settled[first : min(first + reach, len(sure))] = breaks[first - 1] == breaks[last]
        elif right:
            settled[max(0, last + 1 - reach) : last + 1] = breaks[first] == breaks[last + 1]
    return settled
