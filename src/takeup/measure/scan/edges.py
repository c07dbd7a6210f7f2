"""Sharpness at one slanted edge: how much of a detail's contrast a scan keeps, by its fineness (ISO 12233).

Steps: light instead of codes, the edge's place in every line, a straight line through them, distances along its normal
gathered into four bins a pixel over whole periods of the slope, their derivative, a Hamming window, the transform.
What the three-point derivative, the bins and the window take away is derived here and given back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BINS = 4  # a pixel
CAP = 10.0  # the correction of the derivative never exceeds it
FREQUENCIES = np.arange(151) / 200  # cycles/pixel; half-sampling is 0.5
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
WIDE = 9.0  # the window is so many times as wide as the edge reaches to one side: what it eats is then under 1 %
LEAST_WINDOW_PX = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeRules:
    """When an edge is too poor to be measured. ``least_side_px``: picture on each side of it; ``least_contrast``:
    (light - dark) / (light + dark), in light; ``most_clipped``: share of its pixels at the first or last code;
    ``most_bent_px``: how far it may stray from a straight line (standard deviation, beyond what noise explains)."""

    least_angle: float = 1.5
    most_angle: float = 15.0
    least_side_px: float = 20.0
    least_contrast: float = 0.2
    most_clipped: float = 0.002
    most_bent_px: float = 0.25


TARGET = EdgeRules()


@dataclass(frozen=True, slots=True, kw_only=True)
class NoEdge:
    """Why an edge was refused: flat, clipped, narrow, contrast, angle, short, bent."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeLine:
    """Where an edge lies: column ``at`` + ``slope`` x row (pixel centres at whole numbers), of a window turned so that
    the edge runs down. ``rows``: whether the window was turned (the edge runs across). ``scatter_px``: of its lines."""

    at: float
    slope: float
    rows: bool
    scatter_px: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SlantedEdge:
    """What one edge told.

    Attributes
    ----------
    angle : float
        From the nearer axis of the pixels [degrees], positive when the edge leans clockwise as seen.
    across : bool
        True when the edge runs down the picture: sharpness across it is meant.
    mtf : ndarray
        Modulation at ``FREQUENCIES``, 1 at 0.
    mtf50, mtf10 : float or None
        Where half, a tenth of the contrast is left [cycles/pixel]; None when beyond what is looked at.
    most : float
        The largest modulation up to half-sampling: over 1 the picture was sharpened.
    contrast : float
        (light - dark) / (light + dark), in light.
    misplaced : tuple of float
        How far the first and last channel lie off the middle one, along the normal [px]; empty when grey.
    noise : float
        Standard deviation of the even sides, in shares of the edge's height.
    periods : float
        How many whole pixels the edge passes on its way.
    """

    angle: float
    across: bool
    mtf: np.ndarray
    mtf50: float | None
    mtf10: float | None
    most: float
    contrast: float
    misplaced: tuple[float, ...]
    noise: float
    periods: float

    @property
    def efficiency(self) -> float:
        """The finest detail that keeps a tenth of its contrast, as a share of half-sampling (at most 1)."""
        return 1.0 if self.mtf10 is None else min(1.0, self.mtf10 / 0.5)


def slanted_edge(codes: np.ndarray, tone: np.ndarray | None, rules: EdgeRules = TARGET) -> SlantedEdge | NoEdge:
    """Measure one edge that crosses the whole window.

    Parameters
    ----------
    codes : ndarray, shape (rows, columns) or (rows, columns, channels)
        Grey or red, green, blue as they lie in the file (uint8 or uint16), or light already (float).
    tone : ndarray or None
        Light for each code; None when codes are proportional to light.
    rules : EdgeRules

    Returns
    -------
    SlantedEdge, or NoEdge saying why this is no edge to measure at.
    """
    if codes.ndim == 2:
        codes = codes[..., None]
    if codes.dtype.kind == "u" and clipped_share(codes) > rules.most_clipped:
        return NoEdge(why="clipped")
    light = codes.astype(np.float64) if tone is None else tone[codes].astype(np.float64)
    grey = light @ LUMINANCE if light.shape[2] == 3 else light[..., 0]
    line = edge_line(grey)
    if line is None:
        return NoEdge(why="flat")
    if line.rows:
        grey, light = grey.T, light.transpose(1, 0, 2)
    angle = float(np.degrees(np.arctan(abs(line.slope))))
    if not rules.least_angle <= angle <= rules.most_angle:
        return NoEdge(why="angle")
    kept = whole_periods(line.slope, grey.shape[0])
    if kept is None:
        return NoEdge(why="short")
    distance = normal_distance(grey.shape, line)[kept]
    side = min(-distance[:, 0].max(), distance[:, -1].min())
    if side < rules.least_side_px:
        return NoEdge(why="narrow")
    grey, light = grey[kept], light[kept]
    dark, bright, noise = plateaus(grey, distance, side)
    contrast = abs(bright - dark) / max(abs(bright + dark), 1e-12)
    if contrast < rules.least_contrast:
        return NoEdge(why="contrast")
    if line.scatter_px > rules.most_bent_px + 4 * noise:
        return NoEdge(why="bent")
    mtf = modulation(grey, distance, side, noise)
    if mtf is None:
        return NoEdge(why="flat")
    return SlantedEdge(
        angle=angle * (1 if (line.slope < 0) != line.rows else -1),
        across=not line.rows,
        mtf=mtf,
        mtf50=falls_to(mtf, 0.5),
        mtf10=falls_to(mtf, 0.1),
        most=float(mtf[FREQUENCIES <= 0.5].max()),
        contrast=float(contrast),
        misplaced=_misplaced(light, line, kept) if light.shape[2] == 3 else (),
        noise=noise,
        periods=abs(line.slope) * grey.shape[0],
    )


def falls_to(mtf: np.ndarray, level: float) -> float | None:
    """Where a modulation first falls to a level [cycles/pixel]; None when it stays above."""
    below = np.flatnonzero(mtf < level)
    if not below.size:
        return None
    n = int(below[0])
    before, after = np.log(mtf[n - 1]), np.log(max(float(mtf[n]), 1e-9))  # a blur's logarithm is straight by square
    share = (before - np.log(level)) / (before - after)
    square = FREQUENCIES[n - 1] ** 2 + share * (FREQUENCIES[n] ** 2 - FREQUENCIES[n - 1] ** 2)
    return float(np.sqrt(square))


def edge_line(grey: np.ndarray, rows: bool | None = None) -> EdgeLine | None:
    """The straight line of the strongest edge of a window; None when nothing steps in it.

    Parameters
    ----------
    rows : bool, optional
        Whether it runs across the window, where that is known.
    """
    if min(grey.shape) < 8:
        return None
    if rows is None:
        rows = bool(np.ptp(grey.mean(axis=1)) > np.ptp(grey.mean(axis=0)))
    turned = grey.T if rows else grey
    step = np.diff(turned, axis=1)
    step = step * np.sign(step.sum()) if step.sum() else step
    smooth = _boxed(_boxed(step, 5, axis=1), min(9, turned.shape[0] // 2 * 2 - 1), axis=0)
    if smooth.max() <= 0:
        return None
    lines = np.arange(turned.shape[0], dtype=float)
    place = smooth.argmax(axis=1) + 0.5
    at, slope, _ = _straight(lines, place, np.ones(lines.size, bool))
    good, scatter = np.ones(lines.size, bool), 0.0
    columns = np.arange(step.shape[1]) + 0.5
    for half in (14.0, 10.0, 8.0):
        middle = at + slope * lines
        apart = columns[None, :] - middle[:, None]
        window = np.where(np.abs(apart) < half, 0.54 + 0.46 * np.cos(np.pi * apart / half), 0.0)
        mass = (step * window).sum(axis=1)
        good = mass > 0.3 * np.median(mass)
        if good.sum() < 0.6 * lines.size:
            return None
        place = middle + (step * window * apart).sum(axis=1) / np.where(good, mass, 1.0)
        at, slope, scatter = _straight(lines, place, good)
    return EdgeLine(at=at, slope=slope, rows=rows, scatter_px=scatter)


def whole_periods(slope: float, rows: int) -> slice | None:
    """The rows, from the middle, over which the edge passes a whole number of pixels; None when under one."""
    periods = int(rows * abs(slope) + 1e-9)
    if periods < 1:
        return None
    kept = min(rows, round(periods / abs(slope)))
    first = (rows - kept) // 2
    return slice(first, first + kept)


def normal_distance(shape: tuple[int, ...], line: EdgeLine) -> np.ndarray:
    """How far each pixel lies off the line, along its normal [px]."""
    columns, lines = np.arange(shape[1])[None, :], np.arange(shape[0])[:, None]
    return (columns - line.at - line.slope * lines) / np.hypot(1.0, line.slope)


def plateaus(grey: np.ndarray, distance: np.ndarray, side: float) -> tuple[float, float, float]:
    """Level left and right of an edge, and the noise of both as a share of its height."""
    far = max(4.0, min(10.0, side / 2))
    left, right = grey[distance < -far], grey[distance > far]
    low, high = float(np.median(left)), float(np.median(right))
    height = abs(high - low)
    if height == 0:
        return low, high, float("inf")
    spread = max(float(np.median(np.abs(part - np.median(part)))) for part in (left, right)) * 1.4826
    return low, high, spread / height


def modulation(grey: np.ndarray, distance: np.ndarray, side: float, noise: float) -> np.ndarray | None:
    """The modulation at ``FREQUENCIES`` from pixels and their distances; None when the edge is not one step."""
    half = int(side * BINS)
    number = np.floor(distance * BINS).astype(np.int64) + half
    inside = (number >= 0) & (number < 2 * half)
    number, value, apart = number[inside], grey[inside], distance[inside]
    count = np.bincount(number, minlength=2 * half)
    known = count > 0
    if known.mean() < 0.7:
        return None
    centre = (np.arange(2 * half) - half + 0.5) / BINS
    total, place = np.bincount(number, value, 2 * half), np.bincount(number, apart, 2 * half)
    places, levels = place[known] / count[known], total[known] / count[known]
    step = _at_centres(centre, places, levels)
    height = step[-BINS * 4 :].mean() - step[: BINS * 4].mean()
    if height == 0:
        return None
    spread = np.zeros_like(step)
    spread[1:-1] = (step[2:] - step[:-2]) / 2 / height  # FIR -1/2, 0, +1/2
    reach = _reach(step, height, noise / np.sqrt(max(float(np.median(count)), 1.0)))
    width = min(2 * half / BINS, max(LEAST_WINDOW_PX, WIDE * reach))
    peak = float((centre * np.clip(spread, 0, None) ** 2).sum() / (np.clip(spread, 0, None) ** 2).sum())
    off = centre - peak
    near = np.abs(off) <= width / 2
    off, spread = off[near], spread[near]
    window = 0.54 + 0.46 * np.cos(2 * np.pi * off / width)
    return _corrected(spread, window, off, width, _bin_response(number, apart, places, known, half))


def _corrected(spread: np.ndarray, window: np.ndarray, off: np.ndarray, width: float, bins: np.ndarray) -> np.ndarray:
    """The transform, with what derivative, window and bins take away given back."""
    turn = 2 * np.pi * FREQUENCIES[:, None] * off[None, :]
    # A cosine window of this width adds 0.23/width^2 times the second derivative by frequency: take it off again.
    kept = spread * window * (1 + 0.23 / width**2 * (2 * np.pi * off) ** 2)
    seen = np.hypot(np.cos(turn) @ kept, np.sin(turn) @ kept)
    half = np.pi * FREQUENCIES / (BINS / 2)
    derivative = np.minimum(np.divide(half, np.sin(half), out=np.ones_like(half), where=half > 0), CAP)
    return seen / seen[0] * derivative / bins


def _bin_response(
    number: np.ndarray, apart: np.ndarray, places: np.ndarray, known: np.ndarray, half: int
) -> np.ndarray:
    """What averaging within bins leaves of each fineness: sinc(f/4) where places are spread evenly, and what they truly
    give where a slope of 1/n puts few places into each bin."""
    middle = np.zeros(2 * half)
    middle[known] = places
    near = np.abs(number - half) < 8 * BINS
    variance = float(((apart - middle[number])[near] ** 2).mean())
    return 1 - (2 * np.pi * FREQUENCIES) ** 2 * variance / 2 + (2 * np.pi * FREQUENCIES) ** 4 * variance**2 * 0.075


def _at_centres(centre: np.ndarray, places: np.ndarray, levels: np.ndarray) -> np.ndarray:
    """Levels moved from where a bin's pixels truly lie to its middle, by the slope there."""
    if places.size == centre.size:
        slope = np.gradient(levels, places)
        return levels + (centre - places) * slope
    return np.interp(centre, places, levels)


def _reach(step: np.ndarray, height: float, noise: float) -> float:
    """How far from its middle an edge still differs from its sides [px]."""
    share = (step - step[: BINS * 4].mean()) / height
    soft = np.convolve(share, np.ones(3) / 3, mode="same")
    soft[0], soft[-1] = share[0], share[-1]
    limit = max(0.002, 4 * noise)
    middle = int(np.argmin(np.abs(np.where(np.abs(np.arange(step.size) - step.size / 2) < 6 * BINS, soft, 9) - 0.5)))
    left = np.flatnonzero(np.abs(soft[:middle]) <= limit)
    right = np.flatnonzero(np.abs(soft[middle:] - 1) <= limit)
    before = middle - (left[-1] if left.size else 0)
    after = right[0] if right.size else step.size - middle
    return max(before, after) / BINS


def _misplaced(light: np.ndarray, line: EdgeLine, kept: slice) -> tuple[float, ...]:
    lines = np.arange(light.shape[0], dtype=float) + kept.start
    columns = np.arange(light.shape[1] - 1) + 0.5
    offsets = []
    for channel in range(3):
        step = np.diff(light[..., channel], axis=1)
        off = 0.0
        for _ in range(6):
            apart = columns[None, :] - (line.at + line.slope * lines + off)[:, None]
            window = np.where(np.abs(apart) < 8, 0.54 + 0.46 * np.cos(np.pi * apart / 8), 0.0)
            mass = (step * window).sum()
            off += float((step * window * apart).sum() / mass) if mass else 0.0
        offsets.append(off / np.hypot(1.0, line.slope))
    return offsets[0] - offsets[1], offsets[2] - offsets[1]


def _straight(lines: np.ndarray, place: np.ndarray, good: np.ndarray) -> tuple[float, float, float]:
    """A line through the places of an edge, in which places far off it do not count: at, slope, scatter."""
    use = good.copy()
    at = slope = scatter = 0.0
    for _ in range(6):
        x, y = lines[use], place[use]
        middle, level = x.mean(), y.mean()
        slope = float(((x - middle) * (y - level)).sum() / ((x - middle) ** 2).sum())
        at = float(level - slope * middle)
        off = np.abs(place - at - slope * lines)
        scatter = 1.4826 * float(np.median(off[good]))
        before, use = use, good & (off <= max(3 * scatter, 0.02))
        if use.sum() < 5 or (use == before).all():
            break
    return at, slope, scatter


def clipped_share(codes: np.ndarray, distance: np.ndarray | None = None) -> float:
    """Share of pixels at the first or last code, of those next to the edge where distances are given."""
    full = 65535 if codes.dtype.itemsize > 1 else 255
    clipped = ((codes == 0) | (codes == full)).any(axis=2)
    return float((clipped if distance is None else clipped[np.abs(distance) < 20]).mean())


def _boxed(values: np.ndarray, size: int, axis: int) -> np.ndarray:
    """A running mean along an axis, edges repeated."""
    pad = [(0, 0), (0, 0)]
    pad[axis] = (size // 2, size - 1 - size // 2)
    padded = np.pad(values, pad, mode="edge").cumsum(axis=axis)
    zero = np.zeros_like(padded.take([0], axis=axis))
    padded = np.concatenate([zero, padded], axis=axis)
    count = values.shape[axis]
    upper = padded.take(np.arange(size, size + count), axis=axis)
    return (upper - padded.take(np.arange(count), axis=axis)) / size
