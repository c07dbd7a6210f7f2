"""Finds a chart of 24 colour patches, or a row of grey steps, lying on the glass, and reads its patches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.colour import ciede2000
from takeup.measure.scan.windows import Place, Window, within

ToLab = Callable[[np.ndarray], np.ndarray]
PURPOSE = "chart"
LONG_PX = 1000  # the miniature is looked at at about this length
LEAST_SEEN = 14  # patches of 24 that must stand out as even squares; dark ones melt into a dark frame
MOST_SEEN = 40  # squares on one grid: with more of them it is a pattern
MOST_SQUARES = 500  # with more even squares in view it is a texture
ALIKE = (0.9, 0.8, 0.8)  # least correlation of L*, a*, b* with the chart's own
FAR = 25.0  # largest mean difference (CIEDE2000): beyond, it is something else in 24 squares
GREY_STEPS, GREY_RANGE, GREY_CHROMA = 8, 40.0, 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart on the glass. ``kind``: "24" or "grey"; ``lab``: patches in the chart's own order (grey: light to dark).

    ``middles``, ``side``: of the patches [miniature px]; ``turn``: quarter turns clockwise that the chart lies turned.
    """

    kind: str
    lab: np.ndarray
    middles: np.ndarray
    side: float
    turn: int = 0

    def outline(self) -> tuple[float, float, float, float]:
        """x, y, width, height round all patches [miniature px]."""
        low, high = self.middles.min(0) - self.side, self.middles.max(0) + self.side
        return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])


def find_chart(pixels: np.ndarray, to_lab: ToLab, reference: np.ndarray) -> Chart | None:
    """Find a chart of 24 patches, else a grey scale.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 3), uint8
        The miniature.
    to_lab : callable
        From codes in 0..1 to CIELAB.
    reference : ndarray, shape (24, 3)
        The chart's CIELAB, four rows of six.
    """
    if pixels.ndim != 3 or pixels.shape[2] != 3:
        return None
    scale = max(1.0, max(pixels.shape[:2]) / LONG_PX)
    small = cv2.resize(pixels, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA) if scale > 1 else pixels
    middles, sides, lean = _even_squares(small)
    if not GREY_STEPS <= len(middles) <= MOST_SQUARES:
        return None
    middles, sides = middles * scale, sides * scale
    return _patches(pixels, middles, sides, lean, to_lab, reference) or _steps(pixels, middles, sides, lean, to_lab)


def _even_squares(small: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Middles and sides of even, roughly square areas, and how each is turned clockwise [radians, within an eighth]."""
    small = cv2.GaussianBlur(small, (3, 3), 0)
    kernel = np.ones((3, 3), np.uint8)
    rough = cv2.subtract(cv2.dilate(small, kernel), cv2.erode(small, kernel)).max(axis=2)
    flat = (rough <= 9).astype(np.uint8)
    flat = cv2.morphologyEx(flat, cv2.MORPH_OPEN, kernel)
    _, labels, stats, middles = cv2.connectedComponentsWithStats(flat, connectivity=4)
    width, height, area = (stats[:, n].astype(float) for n in (2, 3, 4))
    long, short = np.maximum(width, height), np.minimum(width, height)
    may = (short >= 8) & (long <= 0.3 * max(flat.shape)) & (short > 0.45 * long) & (area > 0.34 * width * height)
    kept, lean = [], []
    for n in np.flatnonzero(may):
        x, y = int(stats[n, 0]), int(stats[n, 1])
        part = (labels[y : y + int(height[n]), x : x + int(width[n])] == n).astype(np.uint8)
        outlines, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        _, sides, degrees = cv2.minAreaRect(np.concatenate(outlines))
        one, other = max(sides) + 1, min(sides) + 1  # contours run through the middles of pixels
        if other >= 8 and one <= 0.2 * max(flat.shape) and other > 0.45 * one and area[n] > 0.68 * one * other:
            kept.append(n)
            lean.append(np.deg2rad(degrees))
    turned = np.array(lean)
    return middles[kept] + 0.5, np.sqrt(area[kept]) + 2, np.arctan2(np.sin(4 * turned), np.cos(4 * turned)) / 4


def _turned_back(lean: np.ndarray) -> np.ndarray:
    """What turns points (rows x, y) back by as much as most of the squares are turned."""
    a = float(np.angle(np.exp(4j * lean).mean())) / 4
    return np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])


def _patches(
    pixels: np.ndarray, middles: np.ndarray, sides: np.ndarray, lean: np.ndarray, to_lab: ToLab, reference: np.ndarray
) -> Chart | None:
    group = _alike(sides)
    if group.sum() < LEAST_SEEN:
        return None
    points, side = middles[group], float(np.median(sides[group]))
    back = _turned_back(lean[group])
    grid = _lattice(points @ back, side)
    if grid is None:
        return None
    base, step, index = grid
    base, step = base @ back.T, step @ back.T
    best: tuple[float, Chart] | None = None
    for wide, high in ((6, 4), (4, 6)):
        for i in range(index[:, 0].min() - 1, index[:, 0].max() + 1):
            for j in range(index[:, 1].min() - 1, index[:, 1].max() + 1):
                inside = (index >= [i, j]).all(axis=1) & (index < [i + wide, j + high]).all(axis=1)
                if inside.sum() < LEAST_SEEN:
                    continue
                rows, columns = np.mgrid[j : j + high, i : i + wide]
                places = base + np.stack([columns, rows], axis=-1) @ step
                lab = _read(pixels, places.reshape(-1, 2), side, to_lab)
                if lab is None:
                    continue
                for turn in (0, 2) if wide == 6 else (1, 3):
                    own = np.rot90(lab.reshape(high, wide, 3), turn).reshape(24, 3)
                    apart = _unlike(own, reference)
                    if apart is not None and (best is None or apart < best[0]):
                        order = np.rot90(places, turn).reshape(24, 2)
                        best = (apart, Chart(kind="24", lab=own, middles=order, side=side, turn=turn))
    return best[1] if best else None


def _alike(sides: np.ndarray) -> np.ndarray:
    """Which squares are of the size that most of them have (bool)."""
    groups = np.abs(sides[:, None] / sides[None, :] - 1) < 0.16
    most: np.ndarray = groups[int(np.argmax(groups.sum(axis=1)))]
    return most


def _unlike(lab: np.ndarray, reference: np.ndarray) -> float | None:
    """Mean difference from the chart's own colours; None where it is another thing in 24 squares."""
    if (lab.std(axis=0) < 3).any():
        return None
    alike = [float(np.corrcoef(lab[:, n], reference[:, n])[0, 1]) for n in range(3)]
    apart = float(ciede2000(lab, reference).mean())
    return apart if all(one >= least for one, least in zip(alike, ALIKE)) and apart <= FAR else None


def _lattice(points: np.ndarray, side: float) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Origin, steps (rows: to the right, down) and whole numbers of points on a grid near the upright."""
    between = points[None, :, :] - points[:, None, :]
    far = np.hypot(between[..., 0], between[..., 1])
    near = (far > 0.9 * side) & (far < 1.7 * side)
    steps = []
    for along, other in ((0, 1), (1, 0)):
        mine = between[near & (between[..., along] > 0) & (np.abs(between[..., other]) < 0.35 * between[..., along])]
        if len(mine) < 6:
            return None
        steps.append(np.median(mine, axis=0))
    step = np.array(steps)
    middle = points[int(np.argmin(((points - np.median(points, axis=0)) ** 2).sum(axis=1)))]
    base = middle
    for _ in range(3):
        place = (points - base) @ np.linalg.inv(step)
        index = np.rint(place)
        good = (np.abs(place - index) < 0.2).all(axis=1)
        if not LEAST_SEEN <= good.sum() <= MOST_SEEN:
            return None
        matrix = np.concatenate([index[good], np.ones((int(good.sum()), 1))], axis=1)
        found = np.linalg.lstsq(matrix, points[good], rcond=None)[0]
        step, base = found[:2], found[2]
    return base, step, index[good].astype(int)


def _read(pixels: np.ndarray, places: np.ndarray, side: float, to_lab: ToLab) -> np.ndarray | None:
    """CIELAB of the middle half of each patch; None where one lies outside the picture."""
    reach = max(1, int(side * 0.25))
    codes = []
    for x, y in places:
        left, top = int(x) - reach, int(y) - reach
        if left < 0 or top < 0 or left + 2 * reach >= pixels.shape[1] or top + 2 * reach >= pixels.shape[0]:
            return None
        codes.append(pixels[top : top + 2 * reach + 1, left : left + 2 * reach + 1].reshape(-1, 3).mean(axis=0))
    return to_lab(np.array(codes) / 255)


def _steps(pixels: np.ndarray, middles: np.ndarray, sides: np.ndarray, lean: np.ndarray, to_lab: ToLab) -> Chart | None:
    """A straight row of equal squares whose lightness falls from one end to the other and which have one hue."""
    best: Chart | None = None
    level = middles @ _turned_back(lean[_alike(sides)])
    for along, other in ((0, 1), (1, 0)):
        order = np.argsort(level[:, along])
        for first in order:
            near = np.abs(level[order, other] - level[first, other]) < 0.4 * sides[first]
            row = order[near & (np.abs(sides[order] / sides[first] - 1) < 0.15)]
            if len(row) < GREY_STEPS or (best is not None and len(row) <= len(best.lab)):
                continue
            side = float(np.median(sides[row]))
            points = _at_even_steps(middles[row], level[row, along], side)
            if len(points) < GREY_STEPS:
                continue
            lab = _read(pixels, points, side, to_lab)
            if lab is None:
                continue
            if lab[0, 0] < lab[-1, 0]:
                lab, points = lab[::-1], points[::-1]
            chroma = np.abs(lab[..., 1:] - np.median(lab[..., 1:], axis=0)).max()
            if np.diff(lab[:, 0]).max() < -0.8 and np.ptp(lab[:, 0]) >= GREY_RANGE and chroma <= GREY_CHROMA:
                best = Chart(kind="grey", lab=lab, middles=points, side=side)
    return best


def _at_even_steps(points: np.ndarray, along: np.ndarray, side: float) -> np.ndarray:
    """The longest stretch of a row whose patches stand at equal steps; one that its own frame hides, being as light, is
    put in between its neighbours."""
    gaps = np.diff(along)
    step = float(np.median(gaps))
    whole = np.rint(gaps / step)
    good = (whole >= 1) & (whole <= 2) & (np.abs(gaps / np.maximum(whole, 1) / step - 1) <= 0.1)
    if step > 1.8 * side or not good.any():
        return points[:0]
    ends = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    first, last = max(zip(ends[::2], ends[1::2], strict=True), key=lambda run: run[1] - run[0])
    kept = [points[first]]
    for n in range(first, last):
        kept += [(points[n] + points[n + 1]) / 2] if whole[n] == 2 else []
        kept.append(points[n + 1])
    return np.array(kept)


def places(chart: Chart, block: int, size: tuple[int, int], most_px: int = 96) -> list[Place]:
    """Where every pixel of a patch's middle is wanted, for its noise."""
    reach = min(most_px, max(8, int(chart.side * block * 0.5)))
    wanted = []
    for x, y in chart.middles * block:
        left, top = int(x - reach / 2), int(y - reach / 2)
        one = within(Place(y=top, x=left, width=reach, height=reach, purpose=PURPOSE), size)
        if one is not None:
            wanted.append(one)
    return wanted


def noise_of(windows: Sequence[Window], full_scale: int, to_lab: ToLab) -> tuple[float, ...]:
    """Standard deviation of L* in each window, a slope across it left out."""
    found = []
    for window in windows:
        pixels = window.pixels
        lab = to_lab(pixels.reshape(-1, pixels.shape[2]) / full_scale)
        rows, columns = int(pixels.shape[0]), int(pixels.shape[1])
        light = lab[:, 0]
        y, x = np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j]
        plane = np.stack([np.ones(light.size), x.ravel(), y.ravel()], axis=1)
        rest = light - plane @ np.linalg.lstsq(plane, light, rcond=None)[0]
        found.append(float(rest.std()))
    return tuple(found)
