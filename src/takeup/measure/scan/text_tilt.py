"""How far the lines of a page of text are turned: each line's own profile of ink, all lines together, or no answer."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples

REACH = 12.0  # degrees to either side
COARSE, NEAR, FINE = 0.25, 0.05, 0.025  # steps of the search [degrees]
POINTS, FEW_POINTS = 60_000, 20_000  # ink pixels that are turned, spread evenly over those there are
LEAST_LETTERS = 60  # fewer pieces of ink are no page of text
LOWEST, TALLEST, WIDEST = 0.35, 3.2, 9.0  # size of a letter or a word written in one, in median letter heights
LINKED = 1.6  # gap between pieces of one line, in letter heights; columns lie further apart
LONG = 8.0  # length of what counts as a line, in letter heights
LEAST_LINES, LEAST_LENGTH = 2, 60.0  # how many of them, and how long together, in letter heights
GROUPS = 8
SURELY_LEVEL = 0.6  # with so much of the ink in level lines nobody looks for upright ones
AXIS_AHEAD = 1.15  # how much more of the ink must stand in upright lines before they are taken for the lines


@dataclass(frozen=True, slots=True, kw_only=True)
class TextTilt:
    """``tilt`` is clockwise as seen [degrees]; ``clear``: how far the best direction stands out (1: not at all).

    ``within``: how far off it may be, from how much the lines disagree among themselves (one standard error, and half
    of what parts of the page differ by) [degrees]. ``upright``: whether the lines run up the page.
    """

    tilt: float
    clear: float
    within: float = 0.0
    upright: bool = False


@dataclass(frozen=True, slots=True)
class _Ink:
    """Pixels of ink, each from the middle of its line."""

    x: np.ndarray
    y: np.ndarray
    weight: np.ndarray
    line: np.ndarray  # which line each pixel belongs to
    lines: int
    places: np.ndarray  # middle of each line across the page

    def some(self, most: int) -> _Ink:
        """About so many of the pixels, spread evenly."""
        keep = slice(None, None, max(1, self.x.size // most))
        return _Ink(self.x[keep], self.y[keep], self.weight[keep], self.line[keep], self.lines, self.places)


def text_tilt(grey: np.ndarray) -> TextTilt | None:
    """The turn of a page's lines; None when there are too few letters in lines to tell.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        The page, best at 100 to 200 pixels per inch, dark on light or light on dark.

    Notes
    -----
    Known method (projection profile): ink is counted in strips along each candidate direction; lines of text give the
    sharpest profile (largest sum of squared differences of neighbouring strips) along themselves. Here every line has a
    profile of its own, so that columns whose baselines do not match do not pull at each other; rules, frames, pictures
    and a page's edge are left out by their size. Strips are one pixel wide, shared between neighbours by the exact
    place and smoothed, else pixels in rows would speak for no turn at all.
    """
    if grey.ndim != 2 or grey.size == 0:
        raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
    darkness = _darkness(grey)
    letters, height = _letters(darkness)
    if height == 0:
        return None
    level = _lines(letters, height)
    up = _lines(letters.T, height) if level[1] < SURELY_LEVEL else (letters, 0.0)
    upright = up[1] > AXIS_AHEAD * level[1]
    ink = _ink(darkness.T, up[0]) if upright else _ink(darkness, level[0])
    if ink is None:
        return None
    found = _turn(ink)
    if found is None:
        return None
    tilt, clear, within = found
    return TextTilt(tilt=-tilt if upright else tilt, clear=clear, within=within, upright=bool(upright))


def _darkness(grey: np.ndarray) -> np.ndarray:
    """How much darker each pixel is than the paper round it; 0 where it is not ink. Negative film is turned first."""
    if np.median(grey[::8, ::8]) < 110:
        grey = 255 - grey
    small = cv2.resize(grey, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    ground = cv2.resize(cv2.medianBlur(small, 15), grey.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    dark = cv2.subtract(ground, grey)
    some = dark[::3, ::3]
    paper = 1.48 * float(np.median(np.abs(ground[::3, ::3].astype(np.int16) - grey[::3, ::3])))
    inked = some[some > max(12.0, 5 * paper)]
    least = max(12.0, 5 * paper, 0.3 * float(np.percentile(inked, 90)) if inked.size else 0.0)
    return np.asarray(cv2.threshold(dark, least, 255, cv2.THRESH_TOZERO)[1])


def _letters(dark: np.ndarray) -> tuple[np.ndarray, float]:
    """Where letters and words are, and how high letters usually are [px]; 0 when there are too few."""
    mask = (dark > 0).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    width, height = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]
    body = (height >= 4) & (width >= 2) & (height <= 90) & (width <= 20 * height)
    body[0] = False
    if body.sum() < LEAST_LETTERS:
        return mask, 0.0
    usual = float(np.median(height[body]))
    keep = (height >= LOWEST * usual) & (height <= TALLEST * usual) & (width <= WIDEST * usual) & (width >= 2)
    keep[0] = False
    return keep.astype(np.uint8)[labels], usual if keep.sum() >= LEAST_LETTERS else 0.0


def _lines(letters: np.ndarray, height: float) -> tuple[np.ndarray, float]:
    """A number for each line that is long enough, on its ink, 0 elsewhere; and how much of the ink stands in them."""
    reach = max(3, int(round(LINKED * height)))
    joined = cv2.morphologyEx(np.ascontiguousarray(letters), cv2.MORPH_CLOSE, np.ones((1, reach), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    width, tall = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]
    keep = (width >= LONG * height) & (width >= 2 * tall)
    keep[0] = False
    if keep.sum() < LEAST_LINES or width[keep].sum() < LEAST_LENGTH * height:
        return np.zeros_like(labels), 0.0
    numbers = np.zeros(keep.size, np.int32)
    numbers[keep] = np.arange(1, keep.sum() + 1)
    lines = numbers[labels] * letters
    return lines, float((lines > 0).sum() / max(1, letters.sum()))


def _ink(dark: np.ndarray, lines: np.ndarray) -> _Ink | None:
    many = int(lines.max(initial=0))
    if many < LEAST_LINES:
        return None
    y, x = np.nonzero(lines)
    keep = slice(None, None, max(1, x.size // POINTS))
    y, x = y[keep], x[keep]
    line = lines[y, x] - 1
    in_line = np.maximum(1, np.bincount(line, minlength=many))
    middle_x, middle_y = np.bincount(line, x, many) / in_line, np.bincount(line, y, many) / in_line
    return _Ink(
        x=(x - middle_x[line]).astype(np.float32), y=(y - middle_y[line]).astype(np.float32),
        weight=dark[y, x].astype(np.float32), line=line.astype(np.int32), lines=many, places=middle_x,
    )  # fmt: skip


def _turn(ink: _Ink) -> tuple[float, float, float] | None:
    """Turn, clearness and how far off it may be."""
    coarse = np.arange(-REACH, REACH + COARSE / 2, COARSE)
    few = ink.some(FEW_POINTS)
    scores = np.array([_sharpness(few, angle).sum() for angle in coarse])
    clear = float(scores.max() / max(float(np.median(scores)), 1e-9))
    best = float(coarse[int(np.argmax(scores))])
    for step, reach in ((NEAR, COARSE), (NEAR / 2, NEAR)):
        near = best + np.arange(-reach, reach + step / 2, step)
        best = float(near[int(np.argmax([_sharpness(few, angle).sum() for angle in near]))])
    fine = best + np.arange(-6, 7) * FINE
    by_line = np.array([_sharpness(ink, angle) for angle in fine])
    tilt = _peak(fine, by_line.sum(1))
    if tilt is None:
        return None
    apart = _apart(fine, by_line, ink)
    return None if apart is None else (tilt, clear, apart)


def _apart(angles: np.ndarray, by_line: np.ndarray, ink: _Ink) -> float | None:
    """How far off the turn may be, from groups of lines: taken in turns, and by where they stand."""
    lines = by_line.shape[1]
    count = min(GROUPS, lines)
    turns = [_peak(angles, by_line[:, start::count].sum(1)) for start in range(count)]
    known = [turn for turn in turns if turn is not None]
    if len(known) < max(2, count - 1):
        return None
    few = 1 + 1.2 / (len(known) - 1) ** 1.5  # one standard error of so few is that much wider (Student)
    error = few * float(np.std(known, ddof=1) / np.sqrt(len(known)))
    order = {"across": np.argsort(ink.places, kind="stable"), "down": np.arange(lines)}
    halves = []
    for places in order.values():
        half = [_peak(angles, by_line[:, part].sum(1)) for part in np.array_split(places, 2)]
        if half[0] is None or half[1] is None:
            return None
        halves.append(abs(half[0] - half[1]) / 2)
    return max(error, *(0.7 * half for half in halves))


def _peak(angles: np.ndarray, scores: np.ndarray) -> float | None:
    """Where a curve is highest, between its samples; None when that is at its end."""
    at = int(np.argmax(scores))
    if at == 0 or at == scores.size - 1:
        return None
    part = slice(max(0, at - 3), at + 4)
    curve = np.polyfit(angles[part] - angles[at], scores[part] / scores[at], 2)
    if curve[0] >= 0:
        return None
    off = float(-curve[1] / (2 * curve[0]))
    return float(angles[at]) + float(np.clip(off, angles[0] - angles[at], angles[-1] - angles[at]))


def _sharpness(ink: _Ink, angle: float) -> np.ndarray:
    """Of each line, how sharply its ink begins and ends across a direction."""
    a = np.deg2rad(angle)
    across = ink.y * np.float32(np.cos(a)) - ink.x * np.float32(np.sin(a))
    reach = int(max(across.max(), -across.min())) + 3
    across += reach
    cell = across.astype(np.int32)
    part = (across - cell) * ink.weight
    cell += ink.line * (2 * reach + 1)
    size = ink.lines * (2 * reach + 1)
    upper = np.bincount(cell, part, size)
    counts = np.bincount(cell, ink.weight, size) - upper
    counts[1:] += upper[:-1]
    smooth = counts.copy()
    smooth[1:-1] = (counts[:-2] + 2 * counts[1:-1] + counts[2:]) / 4
    steps = np.diff(smooth, append=0.0).reshape(ink.lines, -1)
    return np.einsum("ij,ij->i", steps, steps)
