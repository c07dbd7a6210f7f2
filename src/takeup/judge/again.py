"""Is this the same recording again, and is a fault at the same place in both? Compares captures in miniature.

The method is ours (decision 0003): windows of the later capture are looked for in the earlier one by normalised
cross-correlation of their level histories; enough windows must agree on one offset and one speed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from takeup.streams import Finding, Report, Trace
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """``earlier_s = offset_s + rate * later_s``; ``likeness`` is the median correlation of the windows that agree."""

    offset_s: float
    rate: float
    likeness: float
    windows: int

    def earlier(self, later_s: float) -> float:
        return self.offset_s + self.rate * later_s


def align(later: Trace, earlier: Trace, rows: Rows) -> Alignment | None:
    """Find the later capture's content in the earlier one.

    Returns
    -------
    Alignment or None
        None when they are different recordings, too short, or too even to tell.
    """
    limits = rows.section("again.align")
    new, old = (_history(trace, limits["smooth_s"]) for trace in (later, earlier))
    width = int(min(limits["window_s"] / later.step_s, len(new), len(old)))
    if width * later.step_s < limits["shortest_s"]:
        return None
    found: list[tuple[float, float, float]] = []
    asked = 0
    starts = np.unique(np.linspace(0, len(new) - width, min(limits["windows"], 1 + len(new) // width)).astype(int))
    for start in starts:
        piece = new[start : start + width]
        if piece.std() < limits["liveliness_db"]:
            continue
        asked += 1
        at, likeness = _best_place(piece, old, limits["liveliness_db"])
        if likeness >= limits["likeness"]:
            found.append((start * later.step_s, at * earlier.step_s, likeness))
    return _agreeing(found, asked, limits)


def _history(trace: Trace, smooth_s: float) -> np.ndarray:
    """The level history to compare: sound where there is any, else the picture's brightness; smoothed, for two
    playings drift apart by a beat within one window."""
    level = np.frombuffer(trace.level, np.uint8).astype(float)
    luma = np.frombuffer(trace.luma, np.uint8).astype(float)
    history = luma if len(luma) and (not len(level) or level.std() < luma.std() / 4) else level
    width = max(1, round(smooth_s / trace.step_s))
    return np.convolve(history, np.full(width, 1 / width), "valid") if len(history) >= width else history


def _best_place(piece: np.ndarray, whole: np.ndarray, least: float) -> tuple[float, float]:
    """Where ``piece`` lies in ``whole``: index (with a parabola through the peak) and correlation -1..1."""
    n = len(piece)
    size = 1 << int(np.ceil(np.log2(len(whole) + n)))
    centred = piece - piece.mean()
    products = np.fft.irfft(np.fft.rfft(whole, size) * np.conj(np.fft.rfft(centred, size)), size)[: len(whole) - n + 1]
    sums, squares = np.cumsum(np.insert(whole, 0, 0.0)), np.cumsum(np.insert(whole**2, 0, 0.0))
    mean = (sums[n:] - sums[:-n]) / n
    spread = np.sqrt(np.maximum((squares[n:] - squares[:-n]) / n - mean**2, 0.0))
    likeness = np.where(spread > least / 2, products / (n * np.maximum(spread, 1e-9) * centred.std()), 0.0)
    at = int(np.argmax(likeness))
    shift = 0.0
    if 0 < at < len(likeness) - 1:
        before, here, after = likeness[at - 1 : at + 2]
        bend = before - 2 * here + after
        shift = float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0
    return at + shift, float(likeness[at])


def _agreeing(found: Sequence[tuple[float, float, float]], asked: int, limits: dict) -> Alignment | None:
    """The line that most windows lie on, if enough of those asked do."""
    best: list[tuple[float, float, float]] = []
    for one in found:
        for other in found:
            rate = (other[1] - one[1]) / (other[0] - one[0]) if other[0] != one[0] else 1.0
            if abs(rate - 1) > limits["rate_share"]:
                continue
            on_line = [w for w in found if abs(one[1] + rate * (w[0] - one[0]) - w[1]) <= limits["agree_s"]]
            if len(on_line) > len(best):
                best = on_line
    if not best or len(best) < limits["agree_share"] * asked:
        return None
    later_s, earlier_s, likeness = np.array(best).T
    if len(best) == 1 and likeness[0] < limits["likeness_alone"]:
        return None
    rate = float(np.polyfit(later_s, earlier_s, 1)[0]) if len(best) > 2 else 1.0
    offset = float(np.median(earlier_s - rate * later_s))
    return Alignment(offset_s=offset, rate=rate, likeness=float(np.median(likeness)), windows=len(best))


def another_number(one: str, other: str) -> bool:
    """Whether two parts bear different numbers: pages, pictures, files of a row."""
    return one.isdigit() and other.isdigit() and one != other


SAME_START = Alignment(offset_s=0.0, rate=1.0, likeness=0.0, windows=0)
"""Taken where the content cannot tell (too short, too even) and the names say that it is another try."""


def other_side(one: str, other: str) -> bool:
    """Whether two parts are different sides by their names: then the same content is a slip, not another try.

    Examples
    --------
    >>> other_side("a", "b"), other_side("a", "a"), other_side("1", "2"), other_side("", "b")
    (True, False, False, False)
    """
    return bool(one and other) and one != other and not (one.isdigit() and other.isdigit())


def thumb_likeness(one: Trace, other: Trace) -> float:
    """Correlation of two scans' 32 x 32 miniatures, 0 where there is none."""
    a, b = (np.frombuffer(trace.thumb, np.uint8).astype(float) for trace in (one, other))
    if len(a) != len(b) or not len(a) or a.std() < 1 or b.std() < 1:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])


def tried_twice(later: Report, earlier: Report, alignment: Alignment | None, rows: Rows) -> Report:
    """The later report, judged in the light of the earlier one.

    A fault at the same place in both is the original's: ``look``, and another try does not help. A fault that is the
    station's beyond doubt (``again`` is ``helps``: cut at digital full scale, a file that breaks off) stays as it is:
    two tries with the same wrong setting prove nothing about the original (decision 0003).
    """
    near_s, near_share = rows.value("again.same.near_s"), rows.value("again.same.near_share")

    def same(new: Finding, old: Finding) -> bool:
        if new.name != old.name:
            return False
        if new.area is not None and old.area is not None:
            return _areas_meet(new.area, old.area, near_share)
        if new.from_s is None or old.from_s is None:
            return new.from_s is old.from_s
        if alignment is None or old.to_s is None or new.to_s is None:
            return False
        return alignment.earlier(new.from_s) <= old.to_s + near_s and alignment.earlier(new.to_s) >= old.from_s - near_s

    def judged(new: Finding) -> Finding:
        if new.again != "may help" or not any(same(new, old) for old in earlier.findings):
            return new
        verdict = "look" if new.verdict == "redo" else new.verdict
        return replace(new, verdict=verdict, again="no", facts=dict(new.facts) | {"both_times": True})

    return replace(later, findings=tuple(judged(finding) for finding in later.findings))


def _areas_meet(one: tuple[float, ...], other: tuple[float, ...], share: float) -> bool:
    """Whether two areas overlap, each grown by a share of its own size."""
    for at, length in ((0, 2), (1, 3)):
        reach = share * max(one[length], other[length])
        if one[at] > other[at] + other[length] + reach or other[at] > one[at] + one[length] + reach:
            return False
    return True
