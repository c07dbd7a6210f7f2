"""Sharpness of a scan without a target: at the edges of the paper on the lid, and at strong straight edges of a page.

A picture's own content may be soft while the scan is sharp, so the two are kept apart: the edge of the paper tells of
the scan, an edge inside a picture tells only how sharp the scan is at least. Places are chosen on the miniature; each
is measured in full as a slanted edge (``edges``), or, where it lies so straight that its pixels all meet it alike, by
the blurred step that fits it best.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from takeup.measure.scan import edges
from takeup.measure.scan.edge_step import Step, step_error, step_fit
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.inner_edges import inner_places
from takeup.measure.scan.pictures import Print
from takeup.measure.scan.windows import Place, Window, within

PURPOSE = "edge"
SIDE_PX = 44  # looked at to each side of an edge
LEAST_SIDE_PX = 12.0  # of it must lie in the window along the whole edge
SHORT_PX, LONG_PX = 200, 900  # along an edge
MOST_PRINTS = 8
MOST_DIFFER = 0.35  # of a sharpened edge: what the slanted edge and the fitted step tell
PLAIN_DIFFER = 0.12  # of any other: a shadow or a picture beside an edge bends one more than the other
LEAST_HEIGHT = 40 / 255  # of the paper's edge: a shadow beside it is up to 35 codes deep, and must not be taken for it
SHARPENED = 1.05  # largest modulation
LEAST_CODES = 12.0  # by which a side stands out from the lid, beyond what lies uneven along it
HALF_OF_STEP = 0.18739  # f50 x sigma of a Gaussian blur
LIMIT = 0.5
SURELY = 1.6  # times as lopsided in one reading as in the other: edges of known making differ twofold and more
MOST_UNEVEN = 0.08  # of an edge's height
TOOL = -1  # the number of what is no picture: a ruler, a chart


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """An edge to be looked at. ``kind``: "paper" or "picture"; ``picture``: number of its print, or TOOL; ``rows``:
    whether the edge runs across the scan (sharpness down it is meant)."""

    place: Place
    kind: str
    picture: int
    rows: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NaturalEdge:
    """What one edge told: ``half`` cycles/pixel where half the contrast is left (at most 0.5), ``tenth`` (None beyond
    what can be seen), ``most`` the largest modulation, by the slanted edge where ``slanted``; ``lopsided``: by how much
    its halves differ, in shares of its height; ``error``: standard error of its blur, by how its pieces differ."""

    sought: Sought
    half: float
    tenth: float | None
    most: float
    noise: float
    slanted: bool
    lopsided: float
    error: float


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
    found = [_read(one, by_place[one.place].pixels, tone) for one in wanted if one.place in by_place]
    read = [one for one in found if one is not None]
    share = _blurred_in_light(read)
    told = [_told(one, share) for one in read]
    return tuple(one for one in told if one is not None)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Readings:
    """One edge as its codes show it, and then as light: the blurred steps, and the modulations of slanted ones."""

    sought: Sought
    steps: tuple[Step, ...]
    modulations: tuple[np.ndarray, ...]
    noise: float
    error: float

    @property
    def lopsided(self) -> float:
        return min(step.lopsided for step in self.steps)


def _read(one: Sought, pixels: np.ndarray, tone: np.ndarray | None) -> _Readings | None:
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
    full = 65535 if pixels.dtype.itemsize > 1 else 255
    if one.kind == "paper" and abs(right - left) < LEAST_HEIGHT * full:
        return None
    if line.scatter_px > NATURAL.most_bent_px + 2 * noise:
        return None
    if one.kind == "picture" and not _even(grey[kept], distance, side):
        return None
    side = _even_side(grey[kept], distance, side)
    if side < LEAST_SIDE_PX:
        return None
    looks = [grey[kept]]
    if tone is not None:
        light = tone[turned[kept]]
        looks.append(light @ edges.LUMINANCE if light.shape[2] == 3 else light[..., 0])
    steps = [step_fit(look, distance, side) for look in looks]
    modulations = [edges.modulation(look, distance, side, noise) for look in looks] if slanted else []
    if any(step is None for step in steps) or any(mtf is None for mtf in modulations):
        return None
    return _Readings(sought=one, steps=tuple(steps), modulations=tuple(modulations), noise=noise,  # type: ignore[arg-type]
                     error=step_error(looks[0], distance, side))  # fmt: skip


def _blurred_in_light(read: Iterable[_Readings]) -> float:
    """0 where a scan's edges were blurred as codes (by a program), 1 where as light (by a lens), between the two where
    they do not tell. A blur leaves both halves of an edge alike only in what it blurred; the cleaner edges decide, for
    a shadow makes any edge lopsided."""
    pairs = [(one.steps[0].lopsided, one.steps[1].lopsided) for one in read if len(one.steps) == 2]
    if not pairs:
        return 0.5
    limit = float(np.median([min(pair) for pair in pairs]))
    told = np.mean(
        [np.log(max(codes, 1e-5) / max(light, 1e-5)) for codes, light in pairs if min(codes, light) <= limit]
    )
    return float(np.clip(0.5 + 0.5 * told / np.log(SURELY), 0.0, 1.0))


def _told(one: _Readings, share: float) -> NaturalEdge | None:
    """An edge read as far as light as the scan's edges together say."""
    weights = (1 - share, share) if len(one.steps) == 2 else (1.0,)
    blur = float(np.exp(sum(w * np.log(step.sigma) for w, step in zip(weights, one.steps, strict=True))))
    by_step = HALF_OF_STEP / blur
    if not one.modulations:
        return NaturalEdge(sought=one.sought, half=min(by_step, LIMIT), tenth=by_step * 1.8227, most=1.0,
                           noise=one.noise, slanted=False, lopsided=one.lopsided, error=one.error)  # fmt: skip
    logs = [w * np.log(np.maximum(mtf, 1e-6)) for w, mtf in zip(weights, one.modulations, strict=True)]
    mtf = np.exp(np.sum(logs, axis=0))
    half = min(edges.falls_to(mtf, 0.5) or LIMIT, LIMIT)
    most = float(mtf[edges.FREQUENCIES <= LIMIT].max())
    if abs(np.log(half / min(by_step, LIMIT))) > (MOST_DIFFER if most > SHARPENED else PLAIN_DIFFER):
        return None
    return NaturalEdge(
        sought=one.sought, half=half, tenth=edges.falls_to(mtf, 0.1), most=most,
        noise=one.noise, slanted=True, lopsided=one.lopsided, error=one.error,
    )  # fmt: skip


def _even_side(grey: np.ndarray, distance: np.ndarray, side: float) -> float:
    """How far both sides of an edge stay at the level they have beside it [px]: past that lie a border's inner edge, a
    shadow's end, or what the picture shows."""
    step = step_fit(grey, distance, min(side, 1.5 * LEAST_SIDE_PX))
    if step is None:
        return 0.0
    first = max(4.0, 3 * step.sigma + 1.5)
    levels = []
    for away in (-distance, distance):
        number = np.floor(away - first).astype(np.int64)
        inside = (number >= 0) & (away < side)
        count = np.bincount(number[inside], minlength=1)
        levels.append(np.bincount(number[inside], grey[inside], minlength=1) / np.maximum(count, 1))
    if min(one.size for one in levels) < 4:
        return side
    height = abs(levels[1][:3].mean() - levels[0][:3].mean())
    reach = side
    for one in levels:
        off = np.flatnonzero(np.abs(one - one[:3].mean()) > MOST_UNEVEN * height)
        reach = min(reach, first + float(off[0]) - 0.5) if off.size else reach
    return reach


def _even(grey: np.ndarray, distance: np.ndarray, side: float) -> bool:
    """Whether both sides of an edge are as even far off as near it: a drawn edge is, a picture's content seldom."""
    height = abs(np.median(grey[distance > 10]) - np.median(grey[distance < -10]))
    for away in (distance, -distance):
        near, far = grey[(away > 8) & (away < 11)], grey[(away > side - 3) & (away < side)]
        if near.size and far.size and abs(np.mean(near) - np.mean(far)) > 0.02 * height:
            return False
    return True
