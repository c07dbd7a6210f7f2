"""Looks for one side of a print: where, along its whole length, the codes step as they do at the end of paper.

The side is sampled in pieces, each the middle of a few means, so that a speck of dust is outvoted and a step of one
code still shows. It is looked for from the lid inwards.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

SEGMENTS = 12
VOTES = 5  # means in a segment, whose middle one counts: two of them may be dust
SEEN = 0.6  # share of a side's length along which its step must stand out
LEAST_SHADOW = 0.35  # codes by which a shadow beside pale paper is darker than both
DARKEST = 45.0  # codes by which a shadow is darker than the lid at most
PALE = 0.3  # of that, at least, it is darker than the paper too
CUT = 0.5  # of what the codes fall beside paper's end, within one line: a picture fades
SOFTER = 0.95  # share of the inner side's steepness that a shadow's outer side reaches at most
COLOUR = 1.73  # a channel's noise is so many times that of their mean
ALIKE = 0.75  # of the pieces, that step the same way where a step is faint
BAND, SHARP = 12, 0.4  # so many lines at both sides are looked at; paper's end takes at least so much of their change
EXPECTED = 0.7  # of the usual limit, for a step that is looked for at a few places only
WIDE, NARROW = 300, 600  # samples along a side; the first, wide search needs no more


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
class Line:
    """Where a side is thought to be [miniature pixels]: its middle, the directions along it and outward, its length."""

    middle: np.ndarray
    along: np.ndarray
    out: np.ndarray
    length: float


def look_along(
    away: np.ndarray, others: np.ndarray, line: Line, *, noise: float, outward: float, inward: float,
    deep: bool = False, near: tuple[tuple[float, ...], float] | None = None,
) -> Side:  # fmt: skip
    """Look for one side.

    Parameters
    ----------
    away : ndarray, shape (rows, columns, channels), float32
        The miniature less its lid [codes of 255].
    others : ndarray, shape (rows, columns), uint8
        Non-zero where another print lies: never looked at.
    line : Line
        Where it is thought to be.
    noise : float
        Spread of one lid pixel [codes].
    outward, inward : float
        How far outside and inside the paper's end may lie [px].
    deep : bool
        Take only steps that are clear in single pieces.
    near : (offsets, float) or None
        Look only so near [px] to these offsets, where the paper would end by its size; a weaker step is enough there.
    """
    d = np.arange(-np.ceil(inward) - BAND, np.ceil(outward) + 5)
    own = int(0.92 * line.length)  # pixels along it
    if own < SEGMENTS:  # a piece without a sample has no middle
        return Side(offset=0.0, slope=0.0, weight=0.0, sure=0.0)
    each = SEGMENTS * VOTES
    count = each * max(1, min(WIDE if outward > 5 else NARROW, own) // each)
    s = (np.arange(count) + 0.5) / count * 0.92 * line.length - 0.46 * line.length
    xs = (line.middle[0] + np.outer(d, np.full_like(s, line.out[0])) + s * line.along[0] - 0.5).astype(np.float32)
    ys = (line.middle[1] + np.outer(d, np.full_like(s, line.out[1])) + s * line.along[1] - 0.5).astype(np.float32)
    block = cv2.remap(away, xs, ys, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    hidden = cv2.remap(others, xs, ys, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0) > 0
    rows, columns = away.shape[:2]
    hidden |= (xs < -0.5) | (ys < -0.5) | (xs > columns - 0.5) | (ys > rows - 0.5)
    profile = _segments(block, hidden)
    centres = s.reshape(SEGMENTS, -1).mean(axis=1)
    allowed = (d <= outward) & (d >= -inward)
    if near is not None:
        allowed &= (np.abs(d[:, None] - np.array(near[0])) <= near[1]).any(axis=1)
    spread = noise * 1.25 / np.sqrt(min(count, own) / SEGMENTS)
    return _locate(profile, centres, d, spread, allowed, deep, EXPECTED if near is not None else 1.0)


def _segments(block: np.ndarray, hidden: np.ndarray) -> np.ndarray:
    """The codes along a side in ``SEGMENTS`` pieces, each the middle one of ``VOTES`` means: shape (distances,
    segments, channels); hidden ones NaN."""
    distances = block.shape[0]
    means = cv2.resize(block, (SEGMENTS * VOTES, distances), interpolation=cv2.INTER_AREA)
    votes = np.sort(means.reshape(distances, SEGMENTS, VOTES, -1), axis=2)
    profile: np.ndarray = votes[:, :, VOTES // 2].copy()
    covered = cv2.resize(hidden.view(np.uint8) * 255, (SEGMENTS, distances), interpolation=cv2.INTER_AREA)
    profile[covered > 0.4 * 255] = np.nan
    return profile


def _locate(
    profile: np.ndarray, centres: np.ndarray, d: np.ndarray, spread: float, allowed: np.ndarray, deep: bool,
    share: float,
) -> Side:  # fmt: skip
    wide = np.full_like(profile, np.nan)
    wide[3:-3] = (profile[4:-2] + profile[5:-1] + profile[6:] - profile[0:-6] - profile[1:-5] - profile[2:-4]) / 3
    present = np.isfinite(wide).all(axis=2)
    enough = present.sum(axis=1) >= SEGMENTS // 2
    strength = _straight_step(wide, present, spread) / share
    strength[~enough | ~allowed] = 0
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
    window = np.arange(max(2, onset - 5), min(len(d) - 2, onset + 4))
    at = int(window[np.argmax(sharp[window].sum(axis=1))])
    level = _level(profile)
    shaded = _before_shadow(level.mean(axis=1), profile.mean(axis=2), at, spread)
    if shaded is not None:
        sharp = np.maximum(-np.where(np.isfinite(fine), fine, 0).sum(axis=2), 0)
        sharp[: shaded.start] = sharp[shaded.stop :] = 0
        at = shaded.start + int(np.argmax(sharp[shaded].sum(axis=1)))
    seen = np.where(present, np.abs(np.nan_to_num(wide)).max(axis=2), 0.0)[max(0, at - 2) : at + 3].max(axis=0)
    there = present[max(0, at - 2) : at + 3].any(axis=0)
    covered = float((seen > max(0.8, 4.0 * spread))[there].mean()) if there.any() else 0.0
    line = _line(sharp, centres, d, at, float(strength[hits].max()))
    return replace(line, covered=covered, ramp=shaded is None and _is_ramp(level, at))


def _level(profile: np.ndarray) -> np.ndarray:
    """The middle code of a side's pieces at each distance and channel; NaN where hardly any is there."""
    there = np.isfinite(profile).all(axis=2)
    count = there.sum(axis=1)
    level = _middles(np.where(there[..., None], profile, np.inf), np.maximum(count, 1))
    level[count < SEGMENTS // 3] = np.nan
    return level


def _before_shadow(level: np.ndarray, pieces: np.ndarray, at: int, spread: float) -> slice | None:
    """The distances between pale paper and the darkest line of the shadow beside it, where there is one: the paper ends
    in between, while the shadow ends further out and softer, as a line drawn on paper does not."""
    near = [n for n in range(max(5, at - 4), min(len(level) - 5, at + 7)) if np.isfinite(level[n - 5 : n + 6]).all()]
    if not near:
        return None
    dark = near[int(np.argmin(level[near]))]
    paper, lid = float(np.median(level[max(0, dark - 9) : dark - 3])), float(level[dark + 4 : dark + 9].max())
    if not level[dark] <= min(paper, lid) - max(LEAST_SHADOW, 2.0 * spread):
        return None
    if lid - level[dark] > DARKEST or paper - level[dark] < PALE * (lid - level[dark]):
        return None  # what is so dark beside the lid is a picture
    fallen = pieces[dark] < pieces[dark - 4] - 0.5 * (paper - level[dark])
    if fallen.mean() < SEEN:
        return None  # the middles of unlike pieces fall where none of them does
    steps = np.diff(level)
    falls, rises = -steps[dark - 5 : dark], steps[dark : dark + 5]
    outer, inner = rises.max() / (lid - level[dark]), falls.max() / (paper - level[dark])
    return slice(dark - 4, dark + 1) if inner >= CUT and outer < SOFTER * inner else None


def _is_ramp(level: np.ndarray, at: int) -> bool:
    """Whether the codes change all along the side over a far wider band than paper's end takes up: a sky that fades
    away into white, no paper that ends."""
    near = level[max(0, at - BAND) : at + BAND + 1]
    near = near[np.isfinite(near).all(axis=1)]
    if len(near) < BAND or not 4 <= at < len(level) - 4:
        return False
    channel = int(np.argmax(np.abs(near[-1] - near[0])))
    whole = float(near[-1, channel] - near[0, channel])
    here = level[max(0, at - 4) : at + 5, channel]
    steepest = np.nan_to_num(np.sign(whole) * (here[4:] - here[:-4])).max(initial=0.0)
    return bool(steepest < SHARP * abs(whole))


def _straight_step(wide: np.ndarray, present: np.ndarray, spread: float) -> np.ndarray:
    """For each distance, how clearly a step runs along the whole side there; 1 is the limit.

    Either most segments step the same way, however little, or two fifths of them step clearly in any way. The curved
    outline of a face does neither, for its segments step at different distances.
    """
    count = np.maximum(present.sum(axis=1), 1)
    grey = wide.mean(axis=2, keepdims=True)
    together = np.maximum(_faint(grey, present, count, spread), _faint(wide, present, count, COLOUR * spread))
    clear = np.where(present, np.abs(np.nan_to_num(wide)).max(axis=2), 0.0)
    limit = max(1.6, 6.0 * spread)
    share = (clear > limit).sum(axis=1) / count
    size = np.sqrt((np.minimum(clear, 20 * limit) ** 2).sum(axis=1) / count) / limit
    return np.maximum(together, np.where(share >= 0.4, np.maximum(size, 1.0), 0.0))


def _faint(wide: np.ndarray, present: np.ndarray, count: np.ndarray, spread: float) -> np.ndarray:
    """For each distance, how far the middle step of all pieces lies over what the lid's noise gives, where most pieces
    step the same way."""
    middles = _middles(np.where(present[..., None], wide, np.inf), count)
    same = (np.sign(middles)[:, None] * np.nan_to_num(wide) >= 0.5 * np.abs(middles)[:, None]) & present[..., None]
    size = np.where(same.sum(axis=1) >= ALIKE * count[:, None], np.abs(middles), 0.0).max(axis=1)
    return size / np.maximum(0.4, 5.0 * spread / np.sqrt(count))


def _middles(steps: np.ndarray, count: np.ndarray) -> np.ndarray:
    """The median along the side of those that are there (the first ``count`` when sorted), 0 where none is."""
    ordered = np.sort(steps, axis=1)
    at = np.arange(len(steps))
    both = ordered[at, (count - 1) // 2] + ordered[at, count // 2]
    return np.where(np.isfinite(both), both / 2, 0.0)


def _middle(few: np.ndarray) -> float:
    """``np.median`` of a few numbers, in a fifth of the time."""
    ordered = np.sort(few)
    return float((ordered[(few.size - 1) // 2] + ordered[few.size // 2]) / 2)


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
    part = np.clip(peaks + np.arange(-2, 3)[:, None], 0, len(d) - 1)  # (5, segments)
    mass = np.take_along_axis(sharp, part, axis=0)
    mass[(peaks + np.arange(-2, 3)[:, None] != part)] = 0
    total = mass.sum(axis=0)
    positions = np.where(total > 0, (d[part] * mass).sum(axis=0) / np.maximum(total, 1e-12), d[at])
    weights = np.minimum(mass.max(axis=0), 20.0) ** 2 + 1e-9
    use = weights
    for _ in range(6):
        share = use / use.sum()
        mean, base = float(share @ centres), float(share @ positions)
        slope = float((share * (centres - mean)) @ (positions - base) / (share @ (centres - mean) ** 2))
        offset = base - slope * mean
        off = np.abs(positions - offset - slope * centres)
        use = weights / (1 + (off / max(0.15, _middle(off) * 2)) ** 2)
    offset = float(np.clip(offset, d[at] - 4.0, d[at] + 4.0))
    reach = float(use @ centres**2)
    scatter = float(use @ off**2 / use.sum()) + 0.003
    return Side(offset=offset, slope=slope, weight=reach / scatter / weights.max() ** 0.5, sure=sure)
