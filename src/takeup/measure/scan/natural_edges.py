"""Sharpness of a scan without a target: at the edges of the paper on the lid, and at strong straight edges of a page.

A picture's own content may be soft while the scan is sharp, so the two are kept apart: the edge of the paper tells of
the scan, an edge inside a picture tells only how sharp the scan is at least. Places are chosen on the miniature; each
is measured in full as a slanted edge (``edges``), or, where it lies so straight that its pixels all meet it alike, by
the blurred step that fits it best.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import erf

import numpy as np

from takeup.measure.scan import edges
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.inner_edges import inner_places
from takeup.measure.scan.pictures import Print
from takeup.measure.scan.windows import Place, Window, within

PURPOSE = "edge"
SIDE_PX = 44  # looked at to each side of an edge
LEAST_SIDE_PX = 12.0  # of it must lie in the window along the whole edge
SHORT_PX, LONG_PX = 200, 900  # along an edge
MOST_PRINTS = 8
MOST_DIFFER = 0.35  # of the paper's own edges: the slanted edge and the fitted step must tell about the same
LEAST_CODES = 12.0  # by which a side stands out from the lid, beyond what lies uneven along it
REACH_PX = 24.0  # the step is fitted so far to each side
PHI_AT = np.linspace(-6, 6, 961)
PHI = np.array([(1 + erf(z / 2**0.5)) / 2 for z in PHI_AT])
HALF_OF_STEP = 0.18739  # f50 x sigma of a Gaussian blur
LIMIT = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """An edge to be looked at. ``kind``: "paper" or "picture"; ``picture``: number of its print; ``rows``: whether the
    edge runs across the scan (sharpness down it is meant)."""

    place: Place
    kind: str
    picture: int
    rows: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NaturalEdge:
    """What one edge told: ``half`` cycles/pixel where half the contrast is left (at most 0.5), ``tenth`` (None beyond
    what can be seen), ``most`` the largest modulation, by the slanted edge where ``slanted``."""

    sought: Sought
    half: float
    tenth: float | None
    most: float
    noise: float
    slanted: bool
    misplaced: tuple[float, ...] = ()


def sought(first: FirstLook, *, paper: bool = True) -> tuple[Sought, ...]:
    """The edges of a scan that are worth looking at in full.

    Parameters
    ----------
    first : FirstLook
    paper : bool
        Whether the edge of what lies on the lid is in focus where the original is: not so for film in its mount.
    """
    wanted: list[Sought] = []
    on_lid = first.pictures.ground == "lid"
    if on_lid and paper:
        many = len(first.pictures.prints) > 2
        small = first.small.pixels[..., first.small.pixels.shape[2] // 2]  # green tells enough
        for number, one in _largest(first):
            wanted += _sides(first, small, number, one.corners, one.meets, 1 if many else 2)
    if len(wanted) < 2:
        wanted += [Sought(place=place, kind="picture", picture=0, rows=across) for place, across in inner_places(first)]
    return tuple(wanted)


def places(wanted: Iterable[Sought]) -> tuple[Place, ...]:
    """What to ask the scan for."""
    return tuple(one.place for one in wanted)


def natural_edges(
    wanted: Iterable[Sought], windows: Iterable[Window], tone: np.ndarray | None
) -> tuple[NaturalEdge, ...]:
    """Measure every edge that is good enough.

    Parameters
    ----------
    wanted, windows
        As asked for, and the pixels of their places.
    tone : ndarray or None
        Light for each code; None when codes are light.
    """
    by_place = {window.place: window for window in windows}
    found = [_measured(one, by_place[one.place].pixels, tone) for one in wanted if one.place in by_place]
    return tuple(one for one in found if one is not None)


def _largest(first: FirstLook) -> list[tuple[int, Print]]:
    def area(corners: tuple[tuple[float, float], ...]) -> float:
        points = np.asarray(corners)
        return float(np.hypot(*(points[1] - points[0])) * np.hypot(*(points[3] - points[0])))

    numbered = list(enumerate(first.pictures.prints))
    return sorted(numbered, key=lambda pair: -area(pair[1].corners))[:MOST_PRINTS]


def _sides(
    first: FirstLook,
    small: np.ndarray,
    number: int,
    corners: tuple[tuple[float, float], ...],
    meets: tuple[bool, bool, bool, bool],
    most: int,
) -> list[Sought]:
    """One or two stretches of every side that lies on the lid: where the print stands out from it the most."""
    points, found = np.asarray(corners, float), []
    for side in range(4):
        start, end = points[side], points[(side + 1) % 4]
        length = float(np.hypot(*(end - start)))
        along = (end - start) / max(length, 1e-9)
        rows = abs(along[0]) > abs(along[1])
        slope = min(abs(along)) / max(abs(along))
        if meets[side] or length < 1.25 * SHORT_PX:
            continue
        stretch = min(max(SHORT_PX, 1.6 / max(slope, 1e-6)), LONG_PX, 0.8 * length)
        for middle in _stretches(first.small.block, small, start, along, length, stretch)[:most]:
            half = stretch / 2 * np.abs(along) + np.where(np.abs(along) < max(np.abs(along)), SIDE_PX, 0)
            low, high = np.floor(middle - half).astype(int), np.ceil(middle + half).astype(int)
            asked = Place(y=int(low[1]), x=int(low[0]), width=int(high[0] - low[0]), height=int(high[1] - low[1]),
                          purpose=PURPOSE)  # fmt: skip
            place = within(asked, first.size)
            if place is not None and (place.width, place.height) == (asked.width, asked.height):
                found.append(Sought(place=place, kind="paper", picture=number, rows=bool(rows)))
    return found


def _stretches(
    block: int, small: np.ndarray, start: np.ndarray, along: np.ndarray, length: float, stretch: float
) -> list[np.ndarray]:
    """Middles of two stretches of a side, of six tried: where what lies inside differs most from the lid, evenly."""
    inward = np.array([-along[1], along[0]])  # corners go round clockwise as seen
    free = length - stretch
    tried = []
    for share in np.linspace(0.1, 0.9, 6):
        middle = start + along * (stretch / 2 + free * share)
        steps = np.linspace(-0.5, 0.5, 9)[:, None] * stretch * along + middle
        depth = max(3.0 * block, SIDE_PX / 2) * inward
        inside, outside = (_looked_up(small, (steps + off) / block) for off in (depth, -depth))
        differ = inside - outside
        tried.append((float(abs(np.median(differ)) - 1.5 * differ.std()), share, middle))
    best = sorted((one for one in tried if one[0] >= LEAST_CODES), key=lambda one: -one[0])
    if not best:
        return []
    second = next((one for one in best[1:] if abs(one[1] - best[0][1]) * free >= stretch), None)
    return [best[0][2]] if second is None else [best[0][2], second[2]]


def _looked_up(small: np.ndarray, points: np.ndarray) -> np.ndarray:
    x = np.clip(points[:, 0].astype(int), 0, small.shape[1] - 1)
    y = np.clip(points[:, 1].astype(int), 0, small.shape[0] - 1)
    return small[y, x].astype(float)


NATURAL = edges.EdgeRules(least_side_px=LEAST_SIDE_PX, least_contrast=0.1, most_clipped=0.1)


def _measured(one: Sought, pixels: np.ndarray, tone: np.ndarray | None) -> NaturalEdge | None:
    turned = pixels.transpose(1, 0, 2) if one.rows else pixels
    codes = turned.astype(np.float64)
    grey = codes @ edges.LUMINANCE if codes.shape[2] == 3 else codes[..., 0]
    line = edges.edge_line(grey, rows=False)
    if line is None:
        return None
    kept = edges.whole_periods(line.slope, grey.shape[0])
    slanted = kept is not None
    kept = kept or slice(0, grey.shape[0])
    distance = edges.normal_distance(grey.shape, line)[kept]
    side = min(-distance[:, 0].max(), distance[:, -1].min())
    if side < LEAST_SIDE_PX or edges.clipped_share(turned[kept], distance) > NATURAL.most_clipped:
        return None
    left, right, noise = edges.plateaus(grey[kept], distance, side)
    if abs(right - left) < NATURAL.least_contrast * (left + right) or noise > (0.25 if one.kind == "paper" else 0.04):
        return None
    if line.scatter_px > NATURAL.most_bent_px + 2 * noise:
        return None
    looks = [grey[kept]]
    if tone is not None:
        light = tone[turned[kept]]
        looks.append(light @ edges.LUMINANCE if light.shape[2] == 3 else light[..., 0])
    if one.kind == "picture" and not _even(grey[kept], distance, side):
        return None
    steps = [step_blur(look, distance, side) for look in looks]
    if any(step is None for step in steps):
        return None
    by_step = float(np.exp(np.mean([np.log(HALF_OF_STEP / step) for step in steps])))  # type: ignore[operator]
    if not slanted:
        return NaturalEdge(sought=one, half=min(by_step, LIMIT), tenth=by_step * 1.8227, most=1.0, noise=noise,
                           slanted=False)  # fmt: skip
    modulations = [edges.modulation(look, distance, side, noise) for look in looks]
    if any(mtf is None for mtf in modulations):
        return None
    mtf = np.exp(np.mean([np.log(np.maximum(mtf, 1e-6)) for mtf in modulations], axis=0))  # type: ignore[arg-type]
    half = edges.falls_to(mtf, 0.5)
    if abs(np.log(min(half or LIMIT, LIMIT) / min(by_step, LIMIT))) > MOST_DIFFER:
        return None
    return NaturalEdge(
        sought=one,
        half=min(half or LIMIT, LIMIT),
        tenth=edges.falls_to(mtf, 0.1),
        most=float(mtf[edges.FREQUENCIES <= LIMIT].max()),
        noise=noise,
        slanted=True,
    )


def _even(grey: np.ndarray, distance: np.ndarray, side: float) -> bool:
    """Whether both sides of an edge are as even far off as near it: a drawn edge is, a picture's content seldom."""
    height = abs(np.median(grey[distance > 10]) - np.median(grey[distance < -10]))
    for away in (distance, -distance):
        near, far = grey[(away > 8) & (away < 11)], grey[(away > side - 3) & (away < side)]
        if near.size and far.size and abs(np.mean(near) - np.mean(far)) > 0.02 * height:
            return False
    return True


def step_blur(grey: np.ndarray, distance: np.ndarray, side: float) -> float | None:
    """The standard deviation of the blur with which a step fits an edge best [px]; None when none fits.

    Notes
    -----
    Least squares (Gauss-Newton) of low + (high - low) Phi((d - at) / sigma) over means of quarters of a pixel.
    """
    reach = min(side, REACH_PX)
    inside = (distance > -reach) & (distance < reach)
    number = ((distance[inside] + reach) * edges.BINS).astype(np.int64)
    count = np.bincount(number)
    known = count > 0
    places = np.bincount(number, distance[inside])[known] / count[known]
    levels = np.bincount(number, grey[inside])[known] / count[known]
    weight = count[known] / count.max()
    at, sigma = 0.0, 1.2
    for _ in range(12):
        z = (places - at) / sigma
        share = np.interp(z, PHI_AT, PHI)
        bell = np.exp(-(z**2) / 2) / (sigma * (2 * np.pi) ** 0.5)
        low, high = _solved(np.stack([1 - share, share]), levels, weight)
        height = high - low
        slopes = np.stack([-height * bell, -height * bell * z, 1 - share, share])
        change = _solved(slopes, levels - low - height * share, weight)
        at += float(np.clip(change[0], -0.5, 0.5))
        sigma = float(np.clip(sigma * np.clip(1 + change[1] / sigma, 0.7, 1.4), 0.2, side / 2))
        if abs(at) > side / 2:
            return None
        if abs(change[0]) < 1e-3 and abs(change[1]) < 1e-3 * sigma:
            break
    return sigma


def _solved(parts: np.ndarray, wanted: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Weighted least squares: shares of the parts that add up to what is wanted."""
    square = (parts * weight) @ parts.T
    return np.linalg.solve(square + 1e-9 * np.trace(square) * np.eye(len(parts)), (parts * weight) @ wanted)
