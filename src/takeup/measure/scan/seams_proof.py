"""Whether a straight step across a shape is where paper ends, a line of one picture, or may be either."""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.scan.brightness import mean_of_channels

PAPER, OPEN, LINE = 2, 1, 0  # paper ends there; nobody can tell; one picture goes on beyond it
PIECES, EACH = 24, 5  # along the seam; each the middle one of so many means, so that dust is outvoted
WIDE = 3  # columns at each side that are compared
SHADE_PX, FINE_PX = 10.0, 4.0  # what changes more slowly along the seam is light and shade; drawing
GOES_ON, SHARE = 0.5, 0.6  # how alike both sides run in one picture; of what runs alike beside the seam
UNLIKE, HALF = 0.1, 0.5  # two pictures side by side run no more alike, or not half as alike as each by itself
TONE = 2.2  # a scanner's usual curve
GAP_PX, ERRORS = 0.2, 4.0  # so much ground between two papers, in pixels and in its own standard errors
TRACE_PX, TRACE_ERRORS = 0.08, 2.5  # the same in light, where a shadow between them hides most of it
HINT_PX, HINT_ERRORS = 0.2, 1.5  # the same where what is drawn is broken off there, too
SHADED_PX = 8  # what stands out reaches past paper by its shadow
BORDER_IN = (0.08, 0.4)  # an even border along a seam
EVEN, ALIKE = 10.0, 6.0  # codes within which it is even (a lid shades), and of one tone with its other borders


def proof(shown: np.ndarray, at: int, per_inch: float | None, level: float) -> int:
    """What a seam is: ``PAPER``, ``OPEN`` or ``LINE``.

    Parameters
    ----------
    shown : ndarray, shape (rows, columns, channels), float32
        A shape laid straight so that the seam runs down [codes above its ground].
    at : int
        The column that the seam runs along.
    per_inch : float or None
        Pixels to the inch.
    level : float
        The ground's own code.

    Notes
    -----
    A line of one picture (a horizon, a doorpost, a border between two pictures on one sheet) can lie just where papers
    of known sizes would end. Paper's end is proven by a border along it that runs round one of the two prints, or by
    the ground that shows between them, if only in a part of a pixel; one picture is proven where both sides of the
    step run alike. Two pictures printed side by side on one sheet are neither. Ours (house).
    """
    rows, columns = shown.shape[:2]
    grey = shown[..., 0] if shown.shape[2] == 1 else mean_of_channels(shown)
    if rows < 3 * PIECES or not 12 <= at <= columns - 12:
        return OPEN
    if per_inch:
        borders = [_borders(half, per_inch) for half in (grey[:, :at][:, ::-1], grey[:, at:])]
        if any(_runs_round(half, per_inch, along=True) for half in borders):
            return PAPER
        if all(_runs_round(half, per_inch, along=False) for half in borders):
            return LINE
    coded, lit = (_ground_between(_profile(part), at) for part in (grey, _light(grey, level)))  # however it was mixed
    shows = GAP_PX <= coded[0] <= WIDE and coded[0] > ERRORS * coded[1]
    shows = shows and lit[0] >= TRACE_PX and lit[0] > TRACE_ERRORS * lit[1]
    ground, error = min(coded, lit)
    beside = [_alike(grey, at + off, SHADE_PX) for off in (-14, -10, 10, 14) if 8 < at + off < columns - 8]
    goes_on = _alike(grey, at, SHADE_PX)
    if goes_on >= GOES_ON and goes_on >= SHARE * float(np.median(beside or [0.0])):
        return OPEN if shows else LINE  # a pale bar in a picture, or two prints of one scene
    leans = ground >= HINT_PX and ground > HINT_ERRORS * error and _is_broken(grey, at)
    return PAPER if shows or leans else OPEN


def _profile(grey: np.ndarray) -> np.ndarray:
    few = cv2.resize(np.ascontiguousarray(grey), (grey.shape[1], PIECES * EACH), interpolation=cv2.INTER_AREA)
    return np.asarray(np.median(few.reshape(PIECES, EACH, grey.shape[1]), axis=1))


def _light(grey: np.ndarray, level: float) -> np.ndarray:
    """Light above the ground's instead of codes: where a lens mixes two tones, it mixes their light."""
    codes = np.clip(grey + level, 0, 255) / 255
    return np.asarray(255 * (codes**TONE - (level / 255) ** TONE), np.float32)


def _is_broken(grey: np.ndarray, at: int) -> bool:
    """Whether what is drawn at both sides does not go together, though each side goes on in itself."""
    sides = [
        float(np.median([_alike(grey, at + way * off, FINE_PX) for off in (10, 14, 18)]))
        for way in (-1, 1) if 12 + 18 <= at + 18 * way + 18 <= grey.shape[1]
    ]  # fmt: skip
    return _alike(grey, at, FINE_PX) < max(UNLIKE, HALF * min(sides, default=0.0))


def _alike(grey: np.ndarray, at: int, slow_px: float) -> float:
    """How alike columns run at both sides of a place, without what changes slowly (correlation)."""
    if not WIDE + 1 <= at <= grey.shape[1] - WIDE - 2:
        return 0.0
    one = _without_slow(grey[:, at - WIDE - 1 : at - 1].mean(axis=1), slow_px)
    two = _without_slow(grey[:, at + 2 : at + 2 + WIDE].mean(axis=1), slow_px)
    spread = float(one.std() * two.std())
    return float((one * two).mean()) / spread if spread > 0 else 0.0


def _without_slow(line: np.ndarray, slow_px: float) -> np.ndarray:
    column = line.astype(np.float32)[:, None]
    kernel = cv2.getGaussianKernel(int(6 * slow_px) | 1, slow_px)
    quick = (column - cv2.filter2D(column, -1, kernel, borderType=cv2.BORDER_REFLECT))[8:-8, 0]
    return np.asarray(quick - quick.mean())


def _ground_between(profile: np.ndarray, at: int) -> tuple[float, float]:
    """How wide ground shows between two papers, were it a part of a pixel, and that width's standard error [px].

    What the columns at the seam add up to, less what both sides would give, is in every piece the seam's own place
    times the step there (and its tilt), and the ground's width times how far both papers stand out from it.
    """
    left, right = profile[:, at - 2 * WIDE : at - WIDE].mean(axis=1), profile[:, at + WIDE : at + 2 * WIDE].mean(axis=1)
    more = profile[:, at - WIDE : at + WIDE].sum(axis=1) - WIDE * (left + right)
    tilt = np.linspace(-1, 1, len(more))
    parts = np.stack([left - right, (left - right) * tilt, -(left + right) / 2], axis=1)
    weight, spread = np.ones(len(more)), 0.0
    for _ in range(8):
        found = np.linalg.lstsq(parts * weight[:, None], more * weight, rcond=None)[0]
        off = more - parts @ found
        spread = 1.4826 * float(np.median(np.abs(off))) + 0.5
        weight = 1 / np.sqrt(1 + (off / (2 * spread)) ** 2)
    errors = np.linalg.pinv((parts * weight[:, None]).T @ (parts * weight[:, None]))
    return float(found[2]), spread * float(np.sqrt(max(errors[2, 2], 0.0)))


def _borders(grey: np.ndarray, per_inch: float) -> list[tuple[float, float]]:
    """Width [px] and tone of the even borders along the seam, beside it at both ends, and across from it."""
    return [_border(side, per_inch) for side in (grey.T, grey, grey[::-1], grey.T[::-1])]


def _runs_round(borders: list[tuple[float, float]], per_inch: float, *, along: bool) -> bool:
    """Whether a border as wide and in one tone runs round a print: along the seam and two more sides, or along all but
    the seam."""
    low, high = BORDER_IN[0] * per_inch, BORDER_IN[1] * per_inch
    width, tone = borders[0] if along else borders[1]
    if not low <= width <= high or (not along and borders[0][0] >= low):
        return False
    like = [
        low <= one <= high and abs(one - width) <= 0.25 * width + 3 and abs(other - tone) <= ALIKE
        for one, other in borders[1:]
    ]
    return sum(like) >= (2 if along else 3)


def _border(lines: np.ndarray, per_inch: float) -> tuple[float, float]:
    """How many of the first lines are even, and their tone; 0 lines where they are not, all where they go on."""
    ends, first, most = max(2, lines.shape[1] // 12), SHADED_PX, int(BORDER_IN[1] * per_inch) + 8
    part = cv2.blur(np.ascontiguousarray(lines[first:most, ends:-ends]), (9, 1))
    if part.shape[0] < 3 or part.shape[1] < 12:
        return 0.0, 0.0
    low, level, high = np.percentile(part, [10, 50, 90], axis=1)
    even = (high - low <= EVEN) & (np.abs(level - level[0]) <= ALIKE)
    return (float(first + np.argmin(even)) if not even.all() else np.inf) if even[0] else 0.0, float(level[0])
