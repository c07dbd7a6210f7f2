"""What shows through paper from its other side: where the other side lies, how much of it shows, and taking it off.

The other side's ink adds density, blurred by the paper: front + w (h * a), where a is the share of light the other side
keeps back (Sharma, IEEE Trans. Image Process. 10(5), 2001, after its abstract). Each side shows the other's ghost, so
both are solved together: fitted against a side that still has its ghost, w comes out a third too small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan.density import DARKEST, density
from takeup.measure.scan.mask import with_neighbours

BLANK = 0.16  # density over paper up to which a place counts as paper, ghost and all
TILE, STEP, REACH, FAR = 192, 96, 6, 48  # px: of a tile, between tiles, searched about a tile, searched at first
CLEAR = 0.12  # correlation of a tile at its best place; tiles that stray are outvoted
LEAST_TILES = 6
BLURS = np.arange(0.8, 6.1, 0.4)  # widths of the paper's blur that are tried [px]
ROUNDS = 6
LEAST, MOST = 0.01, 0.4  # share of the other side's ink that may show
TOUCHED = 0.001  # density of a ghost that changes no code
SURE = 0.15  # correlation of a ghost with the other side, on paper alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Ghost:
    """``share``: w. ``blur``: of the paper, its standard deviation [px]. ``paper``: densities of both sides' paper.

    ``warp``: shape (2, 6), where in the mirrored back a point of the front lies: x and y as sums of
    1, x, y, x², xy, y² over ``size``. ``why``: why nothing is told, or "": "unsure".
    """

    share: float = 0.0
    blur: float = 0.0
    paper: tuple[float, float] = (0.0, 0.0)
    warp: np.ndarray | None = None
    size: float = 1.0
    clear: float = 0.0
    why: str = ""


def find_ghost(front: np.ndarray, back: np.ndarray) -> Ghost:
    """How the back shows on the front.

    Parameters
    ----------
    front, back : ndarray, shape (rows, columns), float
        Linear light of both sides at one resolution; the back mirrored, so that both lie alike. It is moved as light,
        not as density: between ink and paper a scanner's pixel holds the mean of their light.
    """
    light = np.maximum(back, DARKEST).astype(np.float32)
    front, back = density(front).astype(np.float32), density(light).astype(np.float32)
    papers = _paper(front), _paper(back)
    warp, size = _register(front, back, papers)
    if warp is None:
        return Ghost(why="unsure")
    laid = density(warped(light, warp, size, front.shape, 10 ** -papers[1])).astype(np.float32)
    share, blur, clear = _fit(front, laid, papers)
    if not LEAST <= share <= MOST or clear < SURE:
        return Ghost(why="unsure")
    return Ghost(share=share, blur=blur, paper=papers, warp=warp, size=size, clear=clear)


def _paper(d: np.ndarray) -> float:
    """Density of the paper: the fullest step of the lighter half."""
    light = d[d < np.median(d) + 0.02]
    counts, edges = np.histogram(light, bins=np.arange(-0.1, 2.0, 0.005))
    return float(edges[int(np.argmax(np.convolve(counts, np.ones(3), "same")))] + 0.0025)


def kept_back(d: np.ndarray, paper: float) -> np.ndarray:
    """Share of the paper's light that ink keeps back."""
    return (1 - 10 ** np.minimum(paper - d, 0)).astype(np.float32)


def _register(front: np.ndarray, back: np.ndarray, papers: tuple[float, float]) -> tuple[np.ndarray | None, float]:
    """Where each point of the front lies on the back: one shift, then tile by tile."""
    size = float(max(front.shape))
    trace = np.where(front - papers[0] < BLANK, np.clip(front - papers[0], -0.05, BLANK), 0).astype(np.float32)
    trace = trace - cv2.blur(trace, (65, 65))
    ink = cv2.GaussianBlur(kept_back(back, papers[1]), (0, 0), 2)
    ink = ink - cv2.blur(ink, (65, 65))
    warp = np.zeros((2, 6))
    warp[0, 1] = warp[1, 2] = size
    warp[:, 0] = _first_shift(trace, ink)
    for reach in (2 * REACH, REACH, 3):
        laid = warped(ink, warp, size, front.shape, 0.0)
        places, moves = _tiles(trace, laid, reach)
        if len(places) < LEAST_TILES:
            return None, size
        fitted = _smooth(places / size, moves, rich=len(places) >= 4 * LEAST_TILES)
        if fitted is None:
            return None, size
        warp = warp + fitted
    return warp, size


def _first_shift(trace: np.ndarray, ink: np.ndarray) -> np.ndarray:
    """The shift of the whole, within ``FAR``."""
    rows, columns = (min(a, b) for a, b in zip(trace.shape, ink.shape))
    inside = ink[FAR : rows - FAR, FAR : columns - FAR]
    if min(inside.shape) < TILE:
        return np.zeros(2)
    match = cv2.matchTemplate(trace[:rows, :columns], np.ascontiguousarray(inside), cv2.TM_CCORR_NORMED)
    y, x = np.unravel_index(int(np.argmax(match)), match.shape)
    return np.array([FAR - x, FAR - y], float)


def _tiles(trace: np.ndarray, laid: np.ndarray, reach: int) -> tuple[np.ndarray, np.ndarray]:
    places, moves = [], []
    for top in range(reach, trace.shape[0] - TILE - reach, STEP):
        for left in range(reach, trace.shape[1] - TILE - reach, STEP):
            ink = laid[top : top + TILE, left : left + TILE]
            about = trace[top - reach : top + TILE + reach, left - reach : left + TILE + reach]
            if ink.std() < 0.01:
                continue
            match = cv2.matchTemplate(about, np.ascontiguousarray(ink), cv2.TM_CCORR_NORMED)
            y, x = np.unravel_index(int(np.argmax(match)), match.shape)
            if not (0 < y < 2 * reach and 0 < x < 2 * reach):
                continue
            if match[y, x] < CLEAR:
                continue
            places.append((left + TILE / 2, top + TILE / 2))
            moves.append((reach - (x + _top(match[y, x - 1 : x + 2])), reach - (y + _top(match[y - 1 : y + 2, x]))))
    return np.array(places).reshape(-1, 2), np.array(moves).reshape(-1, 2)


def _top(three: np.ndarray) -> float:
    """Where a parabola through three values is highest, from the middle one."""
    a, b, c = (float(v) for v in np.ravel(three))
    bent = a - 2 * b + c
    return 0.0 if bent >= 0 else float(np.clip(0.5 * (a - c) / bent, -0.5, 0.5))


def _smooth(places: np.ndarray, moves: np.ndarray, *, rich: bool) -> np.ndarray | None:
    """A smooth field through the tiles' moves; tiles that say something else count for nothing."""
    terms = _terms(places[:, 0], places[:, 1])
    terms = terms if rich else terms[:, :3]
    weight, fitted = np.ones(len(places)), np.zeros((terms.shape[1], 2))
    middle = np.median(moves, axis=0)
    weight = 1 / (1 + (np.abs(moves - middle).max(axis=1) / 2) ** 2)
    for _ in range(15):
        root = np.sqrt(weight)[:, None]
        fitted = np.linalg.lstsq(root * terms, root * moves, rcond=None)[0]
        off = np.hypot(*(moves - terms @ fitted).T)
        weight = 1 / (1 + (off / 0.3) ** 2) ** 2
    if (off < 0.8).sum() < LEAST_TILES or (off < 0.8).mean() < 0.4:
        return None
    field = np.zeros((2, 6))
    field[:, : terms.shape[1]] = fitted.T
    return field


def _terms(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def warped(
    back: np.ndarray, warp: np.ndarray, size: float, shape: tuple[int, int], outside: float, top: int = 0
) -> np.ndarray:
    """The back laid under rows ``top`` to ``top + shape[0]`` of the front."""
    y, x = np.mgrid[top : top + shape[0], 0 : shape[1]].astype(np.float32) / np.float32(size)
    terms = [np.ones_like(x), x, y, x * x, x * y, y * y]
    across, down = (np.sum([np.float32(k) * term for k, term in zip(row, terms)], axis=0) for row in warp)
    return cv2.remap(back, across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=outside)


def _fit(front: np.ndarray, laid: np.ndarray, papers: tuple[float, float]) -> tuple[float, float, float]:
    """Share, blur and how surely (correlation), both sides solved together."""
    clean = [front, laid]
    share, blur, clear = 0.0, 2.5, 0.0
    for _ in range(ROUNDS):
        inks = [kept_back(one, paper) for one, paper in zip(clean, papers)]
        share, blur, clear = _share(front, inks[1], papers[0], share, blur)
        clean = [
            side - share * cv2.GaussianBlur(ink, (0, 0), blur) for side, ink in zip((front, laid), (inks[1], inks[0]))
        ]
    return share, blur, clear


def _share(front: np.ndarray, ink: np.ndarray, paper: float, before: float, blur: float) -> tuple[float, float, float]:
    """Least squares on paper alone: places without ink of the front's own, nor near any."""
    best = (np.inf, 0.0, blur, 0.0)
    own = cv2.dilate((front - paper > max(BLANK, 1.3 * before + 0.05)).astype(np.uint8), np.ones((7, 7), np.uint8))
    rows = np.flatnonzero(own.ravel() == 0)[:: max(1, front.size // 400_000)]
    if rows.size < 1000:
        return 0.0, blur, 0.0
    seen = front.ravel()[rows].astype(float)
    near = BLURS if before == 0 else np.array([blur - 0.2, blur, blur + 0.2])
    for width in near[near > 0.4]:
        ghost = cv2.GaussianBlur(ink, (0, 0), float(width)).ravel()[rows].astype(float)
        middle, level = ghost - ghost.mean(), seen - seen.mean()
        spread = (middle**2).sum()
        if spread <= 0:
            continue
        share = float((middle * level).sum() / spread)
        left = float(((level - share * middle) ** 2).sum())
        if left < best[0]:
            clear = float((middle * level).sum() / np.sqrt(spread * (level**2).sum() + 1e-12))
            best = (left, share, float(width), clear)
    return best[1], best[2], best[3]


def ghost_of(front: np.ndarray, laid: np.ndarray, ghost: Ghost) -> np.ndarray:
    """The density that the back adds to the front, both sides solved together.

    Parameters
    ----------
    front, laid : ndarray, shape (rows, columns)
        Densities of a piece of both sides; the back as it lies under the front (``warped``). Rows and columns within
        ``margin_px`` of the piece's edge are not to be used.
    """
    clean, other = front.astype(np.float32), laid.astype(np.float32)
    seen = [clean, other]
    shown: np.ndarray = np.zeros_like(clean)
    for _ in range(3):
        inks = [kept_back(one, paper) for one, paper in zip((clean, other), ghost.paper)]
        shown = ghost.share * cv2.GaussianBlur(inks[1], (0, 0), ghost.blur)
        clean, other = seen[0] - shown, seen[1] - ghost.share * cv2.GaussianBlur(inks[0], (0, 0), ghost.blur)
    return shown


def margin_px(ghost: Ghost) -> int:
    """How far round a place its ghost rests on."""
    return int(np.ceil(12 * ghost.blur)) + 4


def at_full_size(ghost: Ghost, times: float) -> Ghost:
    """The same for pictures so many times as large as those it was found in."""
    assert ghost.warp is not None
    warp = ghost.warp * times
    return replace(ghost, blur=ghost.blur * times, warp=warp, size=ghost.size * times)


class GhostSweep:
    """Takes the ghost off strips of rows from top to bottom.

    Parameters
    ----------
    back : ndarray, shape (rows, columns, channels), uint8
        The other side, mirrored, as its copy shows it.
    light : ndarray, shape (256,)
        How much light each code means.
    ghost : Ghost
        At this size.
    papers : sequence of (float, float)
        Densities of both sides' paper in each channel.
    """

    def __init__(
        self, back: np.ndarray, light: np.ndarray, ghost: Ghost, papers: Sequence[tuple[float, float]]
    ) -> None:
        self.back, self.light, self.ghost, self.papers = back, light.astype(np.float32), ghost, papers
        self.steps = (self.light[1:] + self.light[:-1]) / 2

    def through(self, strips: Iterator[np.ndarray]) -> Iterator[np.ndarray]:
        """The same rows without the ghost; pixels that hold none are the very same."""
        reach, row = margin_px(self.ghost), 0
        for block, top, foot in with_neighbours(strips, reach):
            made = block[top:foot].copy()
            for channel in range(block.shape[2]):
                made[..., channel] = self._channel(block[..., channel], row - top, channel)[top:foot]
            row += foot - top
            yield made

    def _channel(self, codes: np.ndarray, first: int, channel: int) -> np.ndarray:
        assert self.ghost.warp is not None
        paper = self.papers[channel]
        at = min(channel, self.back.shape[2] - 1)
        other = self.light[self.back[..., at]]
        laid = warped(other, self.ghost.warp, self.ghost.size, codes.shape, 10 ** -paper[1], first)
        front = density(self.light[codes]).astype(np.float32)
        shown = ghost_of(front, density(laid).astype(np.float32), replace(self.ghost, paper=paper))
        cleared = np.searchsorted(self.steps, 10 ** -(front - shown)).astype(np.uint8)
        return np.where(shown < TOUCHED, codes, cleared)


def papers_of(front: np.ndarray, back: np.ndarray) -> list[tuple[float, float]]:
    """Densities of both sides' paper, channel by channel, of linear light (rows, columns, channels)."""
    last = back.shape[2] - 1
    return [(_paper(density(front[..., c])), _paper(density(back[..., min(c, last)]))) for c in range(front.shape[2])]
