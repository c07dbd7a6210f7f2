"""Finds the true sides of a print by adding up along each whole side: a step of one code shows where no threshold does.

A side is looked for from the lid inwards, so that the paper is found and not the picture on it.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import cv2
import numpy as np

SEGMENTS = 12
ALONG = 0.8  # the sides beside one that was moved far must be seen along so much of their new length
SEEN = 0.6  # share of a side's length along which its step must stand out


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle in miniature pixels, origin at the outer corner of the top left one; tilt clockwise as seen [deg]."""

    x: float  # centre
    y: float
    width: float
    height: float
    tilt: float

    def corners(self) -> np.ndarray:
        """Four corners clockwise from the top left as it lies, shape (4, 2)."""
        a = np.deg2rad(self.tilt)
        turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([self.width, self.height]) / 2
        return half @ turn + np.array([self.x, self.y])


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One side as found: ``offset`` outward from where it was thought [px], ``slope`` [px per px], ``sure``: how
    far its step stands above what the lid alone gives (1 is the limit)."""

    offset: float
    slope: float
    weight: float
    sure: float
    covered: float = 0.0  # share of its length along which the step is seen
    ramp: bool = False  # no edge of paper: the codes go on rising inwards as they rise here


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A print's box after all its sides were looked for. ``sure``: of top, right, bottom, left."""

    box: Box
    sure: tuple[float, float, float, float]
    covered: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    ramps: tuple[bool, bool, bool, bool] = (False, False, False, False)


def fit_box(
    away: np.ndarray, others: np.ndarray, box: Box, *, noise: float, outward_px: float, inward_px: float,
    held: tuple[bool, bool, bool, bool] = (False, False, False, False), rounds: int = 3,
) -> Fitted:  # fmt: skip
    """Move a box's sides to where the paper ends.

    Parameters
    ----------
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid [codes of 255].
    others : ndarray, shape (rows, columns), uint8
        Non-zero where another print lies: never looked at.
    box : Box
        Where the print is thought to be.
    noise : float
        Spread of one lid pixel [codes].
    outward_px, inward_px : float
        How far outside and inside the first box the paper's end may lie.
    held : four bool
        Sides (top, right, bottom, left) that are known (a seam, the bed's limit) and only moved by a pixel or two.
    """
    sure = [0.0] * 4
    for turn in range(rounds):
        reach = outward_px if turn == 0 else 4.0
        sides = [
            _side(
                away,
                others,
                box,
                n,
                noise,
                3.0 if held[n] else reach,
                3.0 if held[n] else (inward_px if not turn else 4.0),
            )
            for n in range(4)
        ]
        if not turn:
            sure = [side.sure for side in sides]
        box = _moved(box, sides)
    top, right, bottom, left = (side.covered for side in sides)
    ramps = (sides[0].ramp, sides[1].ramp, sides[2].ramp, sides[3].ramp)
    return Fitted(
        box=box, sure=(sure[0], sure[1], sure[2], sure[3]), covered=(top, right, bottom, left), ramps=ramps
    )  # fmt: skip


def grown(
    away: np.ndarray,
    others: np.ndarray,
    fitted: Fitted,
    sides: list[int],
    *,
    noise: float,
    outward_px: float,
    inward_px: float,
) -> Fitted:
    """Sides that were not truly seen, looked for again much further out: a white sky on a white lid hides a third of
    a print, yet along its whole length its paper's edge stands out by a code or two.

    Parameters
    ----------
    sides : list of int
        Which (0 top, 1 right, 2 bottom, 3 left).
    outward_px, inward_px : float
        How far out the paper may end, and how far inside, where a short step of something else was taken for the side.
    """
    for n in sides:
        ways = (
            ((0.0, inward_px), (outward_px, 0.0))
            if fitted.sure[n] >= 1 and not fitted.ramps[n]
            else ((outward_px, 0.0),)
        )
        for outward, inward in ways:
            found = _side(away, others, fitted.box, n, noise, outward, inward, deep=True)
            if found.sure < 1 or found.covered < SEEN or found.ramp or abs(found.offset) < 4:
                continue
            moved = [0.0] * 4
            moved[n] = found.offset
            box = stretched(fitted.box, (moved[0], moved[1], moved[2], moved[3]))
            again = fit_box(away, others, box, noise=noise, outward_px=4.0, inward_px=4.0)
            beside = min(again.covered[(n + 1) % 4], again.covered[(n + 3) % 4])
            if again.sure[n] >= 1 and again.covered[n] >= SEEN and beside >= min(ALONG, *fitted.covered):
                fitted = again
                break
    return fitted


def _moved(box: Box, sides: list[Side]) -> Box:
    weights = np.array([side.weight for side in sides])
    slopes = np.array([side.slope for side in sides])
    turn = _middle(slopes, weights) if weights.sum() > 0 else 0.0
    top, right, bottom, left = (side.offset for side in sides)
    box = stretched(box, (top, right, bottom, left))
    return replace(box, tilt=box.tilt - float(np.rad2deg(np.arctan(turn))))


def stretched(box: Box, outward: tuple[float, float, float, float]) -> Box:
    """A box with its sides (top, right, bottom, left) moved outward by some pixels."""
    top, right, bottom, left = outward
    a = np.deg2rad(box.tilt)
    dx, dy = (right - left) / 2, (bottom - top) / 2
    return replace(
        box,
        x=box.x + dx * np.cos(a) - dy * np.sin(a),
        y=box.y + dx * np.sin(a) + dy * np.cos(a),
        width=max(4.0, box.width + left + right),
        height=max(4.0, box.height + top + bottom),
    )


def _middle(values: np.ndarray, weights: np.ndarray) -> float:
    """Weighted mean of the values that agree with their weighted median."""
    order = np.argsort(values)
    run = np.cumsum(weights[order])
    median = values[order][int(np.searchsorted(run, run[-1] / 2))]
    near = np.abs(values - median) <= 0.004
    return float(np.average(values[near], weights=weights[near] + 1e-12))


def _side(
    away: np.ndarray, others: np.ndarray, box: Box, which: int, noise: float, outward: float, inward: float,
    deep: bool = False,
) -> Side:  # fmt: skip
    """Look for one side (0 top, 1 right, 2 bottom, 3 left); ``deep``: only steps that are clear in single pieces."""
    a = np.deg2rad(box.tilt + 90.0 * which)
    along, out = np.array([np.cos(a), np.sin(a)]), np.array([np.sin(a), -np.cos(a)])
    length = box.width if which % 2 == 0 else box.height
    depth = box.height if which % 2 == 0 else box.width
    middle = np.array([box.x, box.y]) + out * depth / 2
    inward = min(inward, depth / 3)
    d = np.arange(-np.ceil(inward) - 4, np.ceil(outward) + 5)
    few = 300 if outward > 5 else 600  # the first, wide search needs no more
    s = np.arange(-0.46 * length, 0.46 * length, max(1.0, length / few))
    if s.size < SEGMENTS:  # a piece without a sample has no middle
        return Side(offset=0.0, slope=0.0, weight=0.0, sure=0.0)
    xs = (middle[0] + np.outer(d, np.full_like(s, out[0])) + s * along[0] - 0.5).astype(np.float32)
    ys = (middle[1] + np.outer(d, np.full_like(s, out[1])) + s * along[1] - 0.5).astype(np.float32)
    block = cv2.remap(away, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    block = block if block.ndim == 3 else block[..., None]
    hidden = cv2.remap(others, xs, ys, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0) > 0
    rows, columns = away.shape[:2]
    hidden |= (xs < -0.5) | (ys < -0.5) | (xs > columns - 0.5) | (ys > rows - 0.5)
    profile, centres = _segments(block, hidden, s)
    return _locate(profile, centres, d, noise * 1.25 / np.sqrt(s.size / SEGMENTS), outward, inward, deep)


def _segments(block: np.ndarray, hidden: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Medians along the side in ``SEGMENTS`` pieces: shape (distances, segments, channels); hidden ones NaN."""
    cuts = np.linspace(0, s.size, SEGMENTS + 1).round().astype(int)
    medians = [np.median(block[:, a:b], axis=1) for a, b in zip(cuts[:-1], cuts[1:], strict=True)]
    profile = np.stack(medians, axis=1)
    covered = np.stack([hidden[:, a:b].mean(axis=1) > 0.4 for a, b in zip(cuts[:-1], cuts[1:], strict=True)], axis=1)
    profile[covered] = np.nan
    centres = np.array([s[a:b].mean() for a, b in zip(cuts[:-1], cuts[1:], strict=True)])
    return profile, centres


def _locate(
    profile: np.ndarray, centres: np.ndarray, d: np.ndarray, spread: float, outward: float, inward: float,
    deep: bool = False,
) -> Side:  # fmt: skip
    wide = np.full_like(profile, np.nan)
    wide[3:-3] = (profile[4:-2] + profile[5:-1] + profile[6:] - profile[0:-6] - profile[1:-5] - profile[2:-4]) / 3
    present = np.isfinite(wide).all(axis=2)
    enough = present.sum(axis=1) >= SEGMENTS // 2
    strength = _straight_step(wide, present, spread)
    strength[~enough | (d > outward) | (d < -inward)] = 0
    if deep:
        seen = (np.abs(np.nan_to_num(wide)).max(axis=2) > max(0.8, 4.0 * spread)) & present
        strength[seen.sum(axis=1) < SEEN * np.maximum(present.sum(axis=1), 1)] = 0
    hits = np.flatnonzero(strength >= 1)
    if not hits.size:
        return Side(offset=0.0, slope=0.0, weight=0.0, sure=float(strength.max(initial=0.0)))
    onset = _last_peak(strength, hits)
    fine = np.full_like(profile, np.nan)
    fine[1:-1] = (profile[2:] - profile[:-2]) / 2
    sharp = np.abs(np.where(np.isfinite(fine), fine, 0)).sum(axis=2)
    per_row = sharp.sum(axis=1)
    window = np.arange(max(2, onset - 5), min(len(d) - 2, onset + 4))
    at = int(window[np.argmax(per_row[window])])
    seen = np.where(present, np.abs(np.nan_to_num(wide)).max(axis=2), 0.0)[max(0, at - 2) : at + 3].max(axis=0)
    there = present[max(0, at - 2) : at + 3].any(axis=0)
    covered = float((seen > max(0.8, 4.0 * spread))[there].mean()) if there.any() else 0.0
    line = _line(sharp, centres, d, at, float(strength[hits].max()))
    return replace(line, covered=covered, ramp=_is_ramp(fine, at))


def _is_ramp(fine: np.ndarray, at: int) -> bool:
    """Whether the codes go on changing inwards as much as they do at the side itself, all along it: a sky that fades
    away, no paper that ends."""
    steps = np.nan_to_num(np.median(np.nan_to_num(fine), axis=1))  # (distances, channels)
    channel = int(np.argmax(np.abs(steps[max(0, at - 2) : at + 3].sum(axis=0))))
    here = float(steps[max(0, at - 2) : at + 3, channel].sum())
    inner = steps[max(0, at - 11) : max(0, at - 2), channel]
    return bool(
        inner.size >= 6 and np.sign(here) * inner.sum() > 0.8 * abs(here) and (np.sign(here) * inner > 0).mean() > 0.8
    )


def _straight_step(wide: np.ndarray, present: np.ndarray, spread: float) -> np.ndarray:
    """For each distance, how clearly a step runs along the whole side there; 1 is the limit.

    Either most segments step the same way, however little, or two fifths of them step clearly in any way. The curved
    outline of a face does neither, for its segments step at different distances.
    """
    steps = np.where(present[..., None], wide, np.nan)
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        together = np.nan_to_num(np.abs(np.nanmedian(steps, axis=1)).max(axis=1))
    clear = np.where(present, np.abs(np.nan_to_num(steps)).max(axis=2), 0.0)
    count = np.maximum(present.sum(axis=1), 1)
    limit = max(1.6, 6.0 * spread)
    share = (clear > limit).sum(axis=1) / count
    size = np.sqrt((np.minimum(clear, 20 * limit) ** 2).sum(axis=1) / count) / limit
    alike = together / np.maximum(0.4, 5.0 * spread / np.sqrt(count))
    return np.maximum(alike, np.where(share >= 0.4, np.maximum(size, 1.0), 0.0))


def _last_peak(strength: np.ndarray, hits: np.ndarray) -> int:
    """The outermost place where the step is at its strongest before it falls again."""
    at = int(hits[-1])
    while at > 0 and strength[at - 1] >= strength[at]:
        at -= 1
    return at


def _line(sharp: np.ndarray, centres: np.ndarray, d: np.ndarray, at: int, sure: float) -> Side:
    """A straight line through where each segment steps, near ``at``."""
    near = np.arange(max(1, at - 3), min(len(d) - 1, at + 4))
    peaks = near[np.argmax(sharp[near], axis=0)]
    positions, weights = np.empty(SEGMENTS), np.empty(SEGMENTS)
    for n in range(SEGMENTS):
        part = np.arange(max(0, peaks[n] - 2), min(len(d), peaks[n] + 3))
        mass = sharp[part, n]
        positions[n] = (d[part] * mass).sum() / mass.sum() if mass.sum() > 0 else d[at]
        weights[n] = mass.max(initial=0.0)
    weights = np.minimum(weights, 20.0) ** 2 + 1e-9
    offset, slope = float(np.average(positions, weights=weights)), 0.0
    use = weights.copy()
    for _ in range(6):
        mean = np.average(centres, weights=use)
        base = np.average(positions, weights=use)
        slope = float((use * (centres - mean) * (positions - base)).sum() / (use * (centres - mean) ** 2).sum())
        offset = float(base - slope * mean)
        off = np.abs(positions - offset - slope * centres)
        use = weights / (1 + (off / max(0.15, float(np.median(off)) * 2)) ** 2)
    reach = float((use * centres**2).sum())
    scatter = float(np.average(off**2, weights=use)) + 0.003
    return Side(offset=offset, slope=slope, weight=reach / scatter / weights.max() ** 0.5, sure=sure)
