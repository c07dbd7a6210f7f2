"""Cadence: by which even pattern a file repeats its pictures, told from how much each frame differs from the last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

import numpy as np

FLOOR = 0.02  # added to a difference before its logarithm: below any difference a decoder can show [code]
RARE = 0.05  # gain in log likelihood a pattern must bring per repeated frame of the whole file, still scenes included
DIP, RISE = 4.0, 1.5  # a frame's logarithm counts at most so far below and above its surroundings


@dataclass(frozen=True, slots=True, kw_only=True)
class Cadence:
    """An even pattern of repeats, found over a whole file.

    ``ratio`` pictures per frame (1: every frame is a picture of its own); ``evidence`` natural logarithm of the odds
    for this pattern against "no repeats"; ``contrast`` natural logarithm of how much more a new picture differs than
    a repeat (median over the windows that show it); ``phases`` the best phase of each window, ``starts`` where the
    windows begin [frame], ``contrasts`` the contrast in each.
    """

    ratio: Fraction
    evidence: float = 0.0
    contrast: float = 0.0
    phases: tuple[int, ...] = ()
    starts: tuple[int, ...] = ()
    contrasts: tuple[float, ...] = ()
    method: str = "pattern-lock/1"


def log_steps(difference: np.ndarray) -> np.ndarray:
    """Natural logarithm of each frame's difference; frame 0, which has none before it, takes the next one's."""
    logs = np.log(np.maximum(np.nan_to_num(difference, nan=0.0), 0.0) + FLOOR)
    if len(logs) > 1:
        logs[0] = logs[1]
    return logs


def is_new(ratio: Fraction, phase: int, first: int, count: int) -> np.ndarray:
    """Which of ``count`` frames from ``first`` on show a new picture: frame n shows floor((n p + phase) / q)."""
    shown = ((np.arange(first - 1, first + count) * ratio.numerator + phase) // ratio.denominator).astype(np.int64)
    return np.diff(shown) > 0


def cadence(
    difference: np.ndarray,
    ratios: Sequence[Fraction],
    *,
    window: int,
    least_contrast: float,
    least_per_repeat: float,
    odds: float,
    slip_every: int,
) -> Cadence:
    """Find the even pattern by which pictures are repeated, or that there is none to be claimed.

    Every pattern p/q of ``ratios`` is tried in all its phases: in each window two levels of log difference (new
    picture, repeat) are fitted and compared with one level. A pattern must hold its phase from window to window; a
    change of phase costs its odds.

    Parameters
    ----------
    difference : ndarray, shape (n_frames,), float
        Mean absolute difference of luma from the frame before; entry 0 is ignored. [code of 255]
    ratios : sequence of Fraction
        Pictures per frame that are thinkable, each below 1.
    window : int
        Frames looked at together; windows overlap by half.
    least_contrast : float
        A window speaks for a pattern only from this contrast on. [natural log]
    least_per_repeat : float
        Mean gain in log likelihood per repeated frame that a pattern must bring.
    odds : float
        Odds that must be exceeded before any repeat is claimed.
    slip_every : int
        A phase slips about once in so many frames.

    Returns
    -------
    Cadence

    References
    ----------
    Method and its trial: house check values for film, section 3.2 (measured there on synthetic film).
    """
    logs = log_steps(difference)[1:]
    count = len(logs)
    if count < 24 or not ratios:
        return Cadence(ratio=Fraction(1))
    width = min(window, count)
    starts = _starts(count, width)
    level = np.clip(logs - _smooth(logs, width // 2 | 1), -DIP, RISE)
    table = _Table(ratios, width)
    gains, contrasts = table.fit(np.stack([level[at : at + width] for at in starts]), [at + 1 for at in starts])
    overlap = min(1.0, count / (len(starts) * width))
    best = Cadence(ratio=Fraction(1))
    for ratio, rows in table.rows.items():
        found = _hold(ratio, gains[rows] * overlap, contrasts[rows], starts, least_contrast, slip_every / (width / 2))
        speaking = sum(contrast >= least_contrast for contrast in found.contrasts) / len(starts)
        repeats, evidence = count * float(1 - ratio), found.evidence - np.log(len(ratios))
        # A pattern that only a few windows speak for by chance brings little over the whole file.
        asked = max(least_per_repeat * repeats * speaking, RARE * repeats + np.log(odds))
        enough = speaking > 0 and evidence >= asked
        if enough and evidence > best.evidence:
            best = Cadence(
                ratio=ratio,
                evidence=float(evidence),
                contrast=found.contrast,
                phases=found.phases,
                starts=found.starts,
                contrasts=found.contrasts,
            )
    return best


def _starts(count: int, width: int) -> list[int]:
    starts = list(range(0, count - width + 1, max(1, width // 2)))
    if starts[-1] + width < count:
        starts.append(count - width)
    return starts


def _smooth(values: np.ndarray, width: int) -> np.ndarray:
    """Running mean over ``width`` values, over fewer at the ends."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    at = np.arange(len(values))
    low, high = np.maximum(at - width // 2, 0), np.minimum(at + width // 2 + 1, len(values))
    return (sums[high] - sums[low]) / (high - low)


class _Table:
    """All phases of all ratios over one window, once; a window elsewhere is a turn of the phases."""

    def __init__(self, ratios: Sequence[Fraction], width: int) -> None:
        ends = list(accumulate(ratio.denominator for ratio in ratios))
        self.rows = {ratio: slice(end - ratio.denominator, end) for ratio, end in zip(ratios, ends)}
        new = [is_new(ratio, phase, 0, width) for ratio in ratios for phase in range(ratio.denominator)]
        centred = np.array(new, dtype=np.float64)
        centred -= centred.mean(axis=1, keepdims=True)
        self.power = (centred**2).sum(axis=1) + 1e-9
        self.centred = centred

    def fit(self, windows: np.ndarray, firsts: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
        """Gain in log likelihood and contrast, shape (phases of all ratios, windows), in the file's own phases."""
        centred = windows - windows.mean(axis=1, keepdims=True)
        power = (centred**2).sum(axis=1) + 1e-9
        dot = self.centred @ centred.T
        contrast = dot / self.power[:, None]
        share = np.minimum(dot**2 / self.power[:, None] / power[None, :], 1 - 1e-9)
        gain = np.where(contrast > 0, -windows.shape[1] / 2 * np.log1p(-share), 0.0)
        for ratio, rows in self.rows.items():
            for column, first in enumerate(firsts):
                turn = first * ratio.numerator % ratio.denominator
                gain[rows, column] = np.roll(gain[rows, column], -turn)
                contrast[rows, column] = np.roll(contrast[rows, column], -turn)
        return gain, contrast


def _hold(
    ratio: Fraction,
    gains: np.ndarray,
    contrasts: np.ndarray,
    starts: Sequence[int],
    least_contrast: float,
    windows_per_slip: float,
) -> Cadence:
    """The best phase window by window, where a change of phase has its price."""
    heard = np.where(contrasts >= least_contrast, gains, 0.0)
    phases, windows = heard.shape
    price = np.log(max(2.0, windows_per_slip)) + np.log(phases)
    score, came_from = heard[:, 0] - np.log(phases), np.zeros((windows, phases), dtype=np.int64)
    own = np.arange(phases)
    for window in range(1, windows):
        top = int(np.argmax(score))
        stay = score >= score[top] - price
        came_from[window] = np.where(stay, own, top)
        score = np.where(stay, score, score[top] - price) + heard[:, window]
    path = [int(np.argmax(score))]
    for window in range(windows - 1, 0, -1):
        path.append(int(came_from[window, path[-1]]))
    path.reverse()
    along = contrasts[path, np.arange(windows)]
    speaking = along[along >= least_contrast]
    return Cadence(
        ratio=ratio,
        evidence=float(score.max()),
        contrast=float(np.median(speaking)) if len(speaking) else 0.0,
        phases=tuple(path),
        starts=tuple(at + 1 for at in starts),
        contrasts=tuple(along.tolist()),
    )
