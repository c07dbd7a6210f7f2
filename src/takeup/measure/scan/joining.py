"""Two passes over one original that is larger than the glass: how the second lies to the first, with proof, or not.

Features give a first guess, an affine fit of the detail sharpens it; then, all along the strip that both passes show,
each small block of detail must be found in its place. Print repeats itself, so features alone prove nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.same_print import AGREES, aligned, detail, detail_blocks
from takeup.measure.scan.sameness import similarity

LONG_PX = 1400  # long side at which passes are brought together
SAME_SCALE = 0.012  # two passes of one machine
MOST_TURN = 4.0  # degrees
LEAST_SHARED, MOST_SHARED = 0.06, 0.85  # of a pass, that the other shows too
LEAST_BLOCKS = 14
TYPICAL, CHANGED, MOVED = 0.75, 0.1, 0.05
AT_HOME_PX = 2.0  # of the miniature
ALONG = 0.5  # share of the shared strip's length that the proof must reach over
END = 0.35  # of a pass, in which features are looked for alone
NEAR_PX, OVERLAID = 12, 0.4  # of what both show, laid on itself elsewhere: least shift, share that still lies on it
AHEAD = 0.1  # of correlation: by so much the passes must agree better than that
PIECE_PX, SEEK_PX = 192, 24  # full pixels: pieces by which the fit is made exact, how far they are looked for
LEAST_PIECES = 5
FITS_PX = 1.5  # full pixels: what the pieces may disagree by; paper that lay otherwise does not fit


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """``onto``: 2 x 3 map from the second pass to the first [px of what was given]; None where it is refused.

    ``why``: "" or "apart" (they share nothing that could be found), "unlike" (something is shared, yet it does not
    agree, as where the original moved). ``likeness``, ``shared``: median correlation, share of the pass.
    """

    onto: np.ndarray | None
    why: str = ""
    likeness: float = 0.0
    shared: float = 0.0


def join_passes(one: np.ndarray, other: np.ndarray) -> Joint:
    """How the second pass lies to the first.

    Parameters
    ----------
    one, other : ndarray, shape (rows, columns), uint8
        Both at the same number of pixels per inch, about ``LONG_PX`` long.
    """
    guess = _guess(one, other)
    if guess is None:
        return Joint(onto=None, why="apart")
    margin = _canvas(one, other, guess)
    wide = cv2.copyMakeBorder(one, *margin, cv2.BORDER_REPLICATE)
    seen = cv2.copyMakeBorder(np.full_like(one, 255), *margin, cv2.BORDER_CONSTANT, value=0)
    shift = np.array([[0, 0, margin[2]], [0, 0, margin[0]]], float)
    moved, covered, back = aligned(wide, other, guess + shift, seen)
    covered &= seen > 0
    shared = float(covered.sum() / min(one.size, other.size))
    if not LEAST_SHARED <= shared <= MOST_SHARED:
        return Joint(onto=None, why="apart", shared=shared)
    agree, off, places = detail_blocks(wide, moved, covered)
    if agree.size < LEAST_BLOCKS:
        return Joint(onto=None, why="apart", shared=shared)
    likeness = float(np.median(agree))
    ys, xs = np.nonzero(covered)
    strip = max(np.ptp(ys), np.ptp(xs))
    reach = np.ptp(places[:, int(np.ptp(xs) > np.ptp(ys))]) / max(strip, 1)
    lost, gone = float((agree < AGREES).mean()), float(((agree >= AGREES) & (off > AT_HOME_PX)).mean())
    onto = cv2.invertAffineTransform(np.asarray(back, float)) - shift
    final = float(np.sqrt(abs(np.linalg.det(onto[:, :2]))))
    if likeness < TYPICAL or lost > CHANGED or gone > MOVED or reach < ALONG or abs(final - 1) > SAME_SCALE:
        return Joint(onto=None, why="unlike", likeness=likeness, shared=shared)
    if likeness < _like_itself(wide, covered) + AHEAD:
        return Joint(onto=None, why="unlike", likeness=likeness, shared=shared)
    return Joint(onto=onto, likeness=likeness, shared=shared)


def _guess(one: np.ndarray, other: np.ndarray) -> np.ndarray | None:
    """A first guess by features of the whole of both, else of their ends: a narrow strip has few among all of them."""
    whole = similarity(one, other)
    if whole is not None and _is_likely(whole):
        return whole
    for axis in (1, 0):
        near, far = (slice(0, round(END * side.shape[axis])) for side in (one, other))
        last = [slice(side.shape[axis] - end.stop, None) for side, end in ((one, near), (other, far))]
        for here, there in ((last[0], far), (near, last[1])):
            cuts = (here, there) if axis == 0 else ((slice(None), here), (slice(None), there))
            guess = similarity(np.ascontiguousarray(one[cuts[0]]), np.ascontiguousarray(other[cuts[1]]))
            if guess is not None and _is_likely(guess):
                guess[:, 2] -= guess[:, 1 - axis] * there.start
                guess[1 - axis, 2] += here.start
                return guess
    return None


def _is_likely(guess: np.ndarray) -> bool:
    scale, turn = np.hypot(guess[0, 0], guess[1, 0]), np.degrees(np.arctan2(guess[1, 0], guess[0, 0]))
    return bool(abs(scale - 1) <= 3 * SAME_SCALE and abs(turn) <= MOST_TURN)


def _like_itself(wide: np.ndarray, covered: np.ndarray) -> float:
    """How well what both show lies on itself somewhere else: of a pattern nothing tells which place is the true one.

    Correlation of the fine detail. Made trials: photographs 0.1 to 0.6, columns of text 0.7, repeated patterns and
    rules 0.99 and more.
    """
    ys, xs = np.nonzero(covered)
    box = slice(ys.min(), ys.max() + 1), slice(xs.min(), xs.max() + 1)
    mask = covered[box].astype(float)
    fine = detail(wide)[box] * mask
    size = [cv2.getOptimalDFTSize(2 * side) for side in fine.shape]

    def against(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return np.fft.irfft2(np.fft.rfft2(a, size) * np.conj(np.fft.rfft2(b, size)), size)

    energy, area = against(fine**2, mask), against(mask, mask)
    own = np.sqrt(np.maximum(energy, 0) * np.maximum(energy[_turned(size)], 0))
    alike = against(fine, fine) / np.maximum(own, 1e-6 * energy[0, 0])
    down, across = (np.abs(np.fft.fftfreq(side, 1 / side)) for side in size)
    elsewhere = (np.maximum(down[:, None], across[None]) > NEAR_PX) & (area > OVERLAID * area[0, 0])
    return float(alike[elsewhere].max()) if elsewhere.any() else 0.0


def _turned(size: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """Places of the opposite shifts."""
    down, across = (-np.arange(side) % side for side in size)
    return down[:, None], across[None]


def _canvas(one: np.ndarray, other: np.ndarray, onto: np.ndarray) -> tuple[int, int, int, int]:
    """How much wider the picture must be on top, at the foot, left and right to hold both, a few pixels more."""
    rows, columns = other.shape
    corners = np.array([(0, 0, 1), (columns, 0, 1), (columns, rows, 1), (0, rows, 1)], float) @ onto.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    sides = (-low[1], high[1] - one.shape[0], -low[0], high[0] - one.shape[1])
    return tuple(max(0, int(np.ceil(side)) + 4) for side in sides)  # type: ignore[return-value]


def pieces_wanted(onto: np.ndarray, one: tuple[int, int], other: tuple[int, int]) -> list[tuple[int, int]]:
    """Middles of pieces of the first pass that the second shows too [px, (x, y)], spread over what they share."""
    edge = PIECE_PX // 2 + SEEK_PX + 2
    corners = np.array([(0, 0, 1), (other[0], 0, 1), (other[0], other[1], 1), (0, other[1], 1)], float) @ onto.T
    low, high = corners.min(axis=0), corners.max(axis=0)
    xs, ys = (np.linspace(max(edge, low[n] + edge), max(edge, min(one[n] - edge, high[n] - edge)), 13) for n in (0, 1))
    back = cv2.invertAffineTransform(onto)
    inside = []
    for y in ys:
        for x in xs:
            u, v = back @ [x, y, 1]
            if edge <= u <= other[0] - edge and edge <= v <= other[1] - edge:
                inside.append((int(x), int(y)))
    step = max(1, len(inside) // 24)
    return inside[::step]


def exact(onto: np.ndarray, pieces: Sequence[tuple[np.ndarray, np.ndarray, tuple[int, int]]]) -> np.ndarray | None:
    """The map made exact by pieces at full size; None where they do not agree on one.

    Parameters
    ----------
    onto : ndarray, shape (2, 3)
        From the second pass to the first [px].
    pieces : sequence of (piece, about, middle)
        ``PIECE_PX`` of the first pass about its middle, and of the second what lies about the same place, moved onto
        the first by ``onto``, wider by ``SEEK_PX`` on every side.
    """
    at, lies = [], []
    for piece, about, middle in pieces:
        if piece.std() < 4:
            continue
        scores = cv2.matchTemplate(about, piece, cv2.TM_CCOEFF_NORMED)
        row, column = np.unravel_index(int(scores.argmax()), scores.shape)
        if scores[row, column] < 0.7 or not (0 < row < scores.shape[0] - 1 and 0 < column < scores.shape[1] - 1):
            continue
        dy, dx = _peak(scores[row - 1 : row + 2, column]), _peak(scores[row, column - 1 : column + 2])
        at.append(middle)
        lies.append((middle[0] + column + dx - SEEK_PX, middle[1] + row + dy - SEEK_PX))
    if len(at) < LEAST_PIECES:
        return None
    cv2.setRNGSeed(1)
    source, target = np.array(lies, np.float32), np.array(at, np.float32)
    more, good = cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=FITS_PX)
    if more is None or good.mean() < 0.7:
        return None
    whole = np.vstack([more, [0, 0, 1]]) @ np.vstack([onto, [0, 0, 1]])
    return np.asarray(whole[:2])


def _peak(three: np.ndarray) -> float:
    low, middle, high = (float(score) for score in three)
    bend = low - 2 * middle + high
    return 0.0 if bend >= 0 else 0.5 * (low - high) / bend
