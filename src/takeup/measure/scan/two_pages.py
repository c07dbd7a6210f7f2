"""Two pages in one picture: an open book, two sheets on one frame of film. Finds the line between them, or none.

Between two pages lies the shadow of a book's fold, a strip of ground, or two inner margins without ink. Between two
columns of one page lies a narrow strip of paper, with or without a printed rule. Width tells them apart, and that the
line is met in the same place all the way down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.errors import UnusableSamples
from takeup.measure.scan.polarity import BLOCK, text_blocks

LOOK_PX = 1500  # long side at which pages are looked at
WIDER = 1.12  # how much wider than tall two pages are at least: a page is seldom less than 1.2 times taller than wide
OFF_MIDDLE = 0.12  # of the width, from the middle
BANDS = 16
MET = 0.7  # share of the bands that show the line
STRAIGHT = 0.008  # of the width: how far a band may lie from the line
STEEPEST = 0.09  # of the height, that the line may lean
SHADOW = 0.009, 0.14  # width of a fold's shadow or of a strip of ground, of the width, at half its depth
DEEP = 0.055  # depth of a shadow, of the paper's own lightness
FREE = 0.07  # width of two inner margins without ink, of the width, where no shadow is seen
FREE_LINED = 0.09  # the same about a thin line: columns with a rule stand closer
AS_OUTER = 1.15  # and how much wider than the outer margins' mean, where those are in view
PAPER = 0.6  # of the paper's lightness: what is darker is ink, shadow or ground
LEAST_TEXT = 6  # blocks with letters, so that something says it is a page


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Two pages beside each other. ``top``, ``foot``: the line between them at the page's head and foot, (x, y) in
    pixels of what was looked at. ``by``: "shadow", "ground" or "margins". ``met``: share of the height that shows it.
    ``sideways``: the pages lie one above the other, turned by a quarter; the line then runs from left to right."""

    top: tuple[float, float]
    foot: tuple[float, float]
    by: str
    met: float
    sideways: bool = False


def two_pages(grey: np.ndarray, *, upright: bool = False, tilt: float = 0.0) -> Spread | None:
    """Find the line between two pages; None where it is one page, or nothing says that it is two.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        The scan or one picture of it in miniature, dark on light.
    upright : bool
        Whether its lines of text are known to run up the picture: then pages may lie one above the other.
    tilt : float
        How far its text is turned clockwise [degrees], as far as that is known.
    """
    if grey.ndim != 2 or grey.dtype != np.uint8 or min(grey.shape) < 2 * BLOCK:
        if grey.ndim != 2:
            raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
        return None
    if max(grey.shape) > LOOK_PX:
        times = max(grey.shape) / LOOK_PX
        small = cv2.resize(grey, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
        found = two_pages(small, upright=upright, tilt=tilt)
        return None if found is None else replace(found, top=_times(found.top, times), foot=_times(found.foot, times))
    if grey.shape[0] > grey.shape[1] and upright:
        turned = two_pages(np.ascontiguousarray(np.rot90(grey, -1)), tilt=tilt)
        if turned is None:
            return None
        # clockwise by a quarter: column x of the turned picture is row x of the picture, row y is column rows-1-y
        (x0, y0), (x1, y1) = turned.top, turned.foot
        rows = grey.shape[1]
        return Spread(top=(rows - y1, x1), foot=(rows - y0, x0), by=turned.by, met=turned.met, sideways=True)
    paper = float(np.percentile(grey, 92))
    field = _field(grey, paper)
    if field is None:
        return None
    left, top, right, foot = field
    if right - left < WIDER * (foot - top):
        return None
    lean = float(np.tan(np.deg2rad(tilt))) * (foot - top) / 2
    page = _upright(grey[top:foot, left:right], tilt)
    signs = text_blocks(page)
    half = signs.shape[1] // 2
    if max((signs[:, :half] > 0).sum(), (signs[:, half:] > 0).sum()) < LEAST_TEXT or not _paper_about(page, paper):
        return None
    told = _shadow(page, paper) or _margins(page)
    if told is None:
        return None
    line, by, met = told
    return Spread(top=(left + line[0] + lean, float(top)), foot=(left + line[1] - lean, float(foot)), by=by, met=met)


def _times(point: tuple[float, float], times: float) -> tuple[float, float]:
    return point[0] * times, point[1] * times


def _upright(page: np.ndarray, tilt: float) -> np.ndarray:
    """The page with its rows moved sideways so that what leans with its text stands upright."""
    if abs(tilt) < 0.05:
        return page
    lean = float(np.tan(np.deg2rad(tilt)))
    back = np.array([[1.0, -lean, lean * page.shape[0] / 2], [0.0, 1.0, 0.0]])
    return cv2.warpAffine(
        page, back, (page.shape[1], page.shape[0]), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip


def _field(grey: np.ndarray, paper: float) -> tuple[int, int, int, int] | None:
    """The box that holds paper: left, top, right, foot."""
    light = cv2.blur(grey, (9, 9)) > PAPER * paper
    across, down = light.mean(axis=0) > 0.12, light.mean(axis=1) > 0.12
    if not across.any() or not down.any():
        return None
    xs, ys = np.flatnonzero(across), np.flatnonzero(down)
    return int(xs[0]), int(ys[0]), int(xs[-1]) + 1, int(ys[-1]) + 1


def _paper_about(page: np.ndarray, paper: float) -> bool:
    """Whether most of both halves is a ground of one lightness: a picture across both is not told."""
    small = cv2.resize(cv2.dilate(page, np.ones((9, 9), np.uint8)), (32, 16), interpolation=cv2.INTER_AREA)
    light = small > 0.72 * paper
    return bool(light[:, :15].mean() > 0.6 and light[:, 17:].mean() > 0.6)


def _levels(page: np.ndarray) -> np.ndarray:
    """Lightness of the paper in each column of each band: shape (BANDS, columns)."""
    bands = np.array_split(page, BANDS)
    levels = np.stack([np.percentile(band, 80, axis=0) for band in bands]).astype(np.float32)
    reach = max(1, int(0.0015 * page.shape[1]))
    return cv2.blur(levels, (2 * reach + 1, 1))


def _shadow(page: np.ndarray, paper: float) -> tuple[tuple[float, float], str, float] | None:
    """A dark strip near the middle, wide enough for a fold or for ground between two sheets."""
    width = page.shape[1]
    levels = _levels(page)
    low, high = int((0.5 - OFF_MIDDLE) * width), int((0.5 + OFF_MIDDLE) * width)
    dips = [_dip(row, low, high, width, paper) for row in levels]
    at = np.array([n for n, dip in enumerate(dips) if dip is not None])
    if at.size < MET * BANDS:
        return None
    places = np.array([dips[n][0] for n in at])  # type: ignore[index]
    line = _line(at, places, width, page.shape[0])
    if line is None:
        return None
    slope, start = line
    near = np.abs(places - (start + slope * (at + 0.5))) <= STRAIGHT * width
    if near.sum() < MET * BANDS:
        return None
    widths = np.array([dips[n][1] for n in at])[near] / width  # type: ignore[index]
    depths = np.array([dips[n][2] for n in at])[near]  # type: ignore[index]
    wide = float(np.median(widths))
    by = "ground" if np.median(depths) > 0.6 * paper and wide > 0.02 else "shadow"
    thin = wide < SHADOW[0]
    if wide > SHADOW[1] or (thin and not _has_margins(page, start + slope * BANDS / 2, FREE_LINED)):
        return None
    return (start, start + slope * BANDS), by, float(near.sum() / BANDS)


def _dip(row: np.ndarray, low: int, high: int, width: int, paper: float) -> tuple[float, float, float] | None:
    """The darkest place of one band near the middle: its middle, its width at half depth, its depth."""
    at = low + int(np.argmin(row[low:high]))
    reach = int(0.16 * width)
    left, right = row[max(0, at - reach) : at + 1], row[at : at + reach]
    about = min(np.percentile(left, 75), np.percentile(right, 75))
    depth = float(about - row[at])
    if depth < DEEP * paper or about < 0.65 * paper:
        return None
    half = about - depth / 2
    first = at - int(np.argmax(left[::-1] > half)) if (left > half).any() else at - reach
    last = at + int(np.argmax(right > half)) if (right > half).any() else at + reach
    return (first + last) / 2, float(last - first - 1), depth


def _line(at: np.ndarray, places: np.ndarray, width: int, height: int) -> tuple[float, float] | None:
    """Slope per band and start of the line that most places lie on (median of the slopes of all pairs)."""
    first, second = np.triu_indices(at.size, 1)
    slope = float(np.median((places[second] - places[first]) / (at[second] - at[first])))
    if abs(slope) * BANDS > STEEPEST * height:
        return None
    return slope, float(np.median(places - slope * (at + 0.5)))


def _ink(page: np.ndarray) -> np.ndarray:
    """Share of each column that carries ink: darker than the paper about it."""
    about = cv2.blur(cv2.dilate(page, np.ones((15, 15), np.uint8)), (31, 31)).astype(np.float32)
    edge = max(2, page.shape[0] // 50)
    return (page < 0.8 * about)[edge:-edge].mean(axis=0)


def _free_about(ink: np.ndarray, at: float, width: int, line: int) -> tuple[float, float]:
    """How far the paper is free of ink to the left and to the right of a place, beyond a line of some pixels there."""
    quiet = cv2.blur(ink.reshape(1, -1).astype(np.float32), (5, 1)).ravel() < 0.012
    left, right = quiet[: max(0, int(at) - line)][::-1], quiet[int(at) + line :]
    to_left = int(np.argmin(left)) if not left.all() else left.size
    to_right = int(np.argmin(right)) if not right.all() else right.size
    return float(to_left), float(to_right)


def _has_margins(page: np.ndarray, at: float, least: float) -> bool:
    """Whether the paper about a line is free of ink on both sides as inner margins are, wider than columns stand."""
    width = page.shape[1]
    ink = _ink(page)
    left, right = _free_about(ink, at, width, int(0.006 * width))
    outer = _outer(ink, width)
    both = left + right
    return both >= least * width and min(left, right) >= 0.3 * both and (outer is None or both >= AS_OUTER * outer)


def _outer(ink: np.ndarray, width: int) -> float | None:
    """The mean of the outer margins; None where the picture ends in the text."""
    text = np.flatnonzero(cv2.blur(ink.reshape(1, -1).astype(np.float32), (9, 1)).ravel() > 0.03)
    inner = text[(text > 0.01 * width) & (text < 0.99 * width)]
    return None if inner.size == 0 else float(inner[0] + width - 1 - inner[-1]) / 2


def _margins(page: np.ndarray) -> tuple[tuple[float, float], str, float] | None:
    """Two inner margins without any line between them: a strip of paper near the middle, wider than columns stand."""
    width = page.shape[1]
    ink = _ink(page)
    quiet = cv2.blur(ink.reshape(1, -1).astype(np.float32), (5, 1)).ravel() < 0.012
    low, high = int((0.5 - OFF_MIDDLE) * width), int((0.5 + OFF_MIDDLE) * width)
    best, start = (0, 0), None
    for x in range(width + 1):
        free = x < width and quiet[x]
        if free and start is None:
            start = x
        elif not free and start is not None:
            if x - start > best[0] and low <= (x + start) / 2 <= high:
                best = (x - start, (x + start) // 2)
            start = None
    if best[0] < FREE * width or not _has_margins(page, best[1], FREE):
        return None
    signs = text_blocks(page)
    half = signs.shape[1] // 2
    if min((signs[:, :half] > 0).sum(), (signs[:, half:] > 0).sum()) < LEAST_TEXT:
        return None  # one blank half is a page that was written on one side of its middle
    return (float(best[1]), float(best[1])), "margins", 1.0
