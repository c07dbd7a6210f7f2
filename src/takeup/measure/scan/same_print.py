"""Is it the same photograph, scanned twice? Told apart from the next picture of the same scene, taken a second later.

Two scans of one print differ by its place on the glass, by exposure, focus, dust, and by what was cropped; what the
picture shows is the same to its last detail everywhere. Two pictures of one scene differ somewhere: a hand has moved,
a head has turned. So after one is brought onto the other, the detail of every small block must agree.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.errors import UnusableSamples
from takeup.measure.scan.sameness import similarity

SIDE = 16  # of the small square that is remembered of each picture
LIKE = 0.6  # correlation of two such squares, to be worth a closer look
LONG_PX = 640  # long side at which two pictures are compared
BLOCK, REACH = 26, 9  # pixels; how far a block's detail is looked for
TEXTURE = 1.6  # codes: a block with less detail than that, in either, says nothing of how well it agrees
PLAINLY = 3  # times so much detail in one where the other has none: there they differ
BARE = 0.15  # share of the blocks in which only one has detail: a hair on plain sky crosses some
SPECKS = 0.08  # share of a block that dust may hide
AGREES = 0.5  # correlation of one block's detail
HOME = 0.8  # of a block's detail at its own place, dust left out: it has not moved
TYPICAL = 0.7  # and of half of them
AT_HOME = 1.5  # pixels by which a block may lie off: paper is never quite flat on the glass
NEARER = 0.02  # correlation that a nearer place may lack: an edge lies as well anywhere along itself
LEAST_BLOCKS = 12  # clear of the rim
RIM = 0.13  # of either side, where a border may end
CHANGED, ALONE = 0.02, 0.03  # share of the blocks that may differ, that may lie elsewhere where no two of them touch
AT_FRAME = 0.01  # of the long side, by which what a print shows may lie off against its outline
COVERED = 0.72  # of the smaller picture, where it is cropped
SHAPE = 0.03  # by which the sides of one print may differ between two scans of it
STEPS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class SamePrint:
    """``likeness``: median correlation of the blocks; ``changed``, ``moved``: share of them that do not agree, that
    lie elsewhere; ``bare``: share of all in which only one picture shows anything; ``blocks``: how many had detail.
    ``turn``: quarter turns clockwise that bring the other upright."""

    same: bool
    likeness: float = 0.0
    changed: float = 1.0
    moved: float = 1.0
    bare: float = 0.0
    blocks: int = 0
    turn: int = 0


def small_square(grey: np.ndarray) -> bytes:
    """``SIDE`` x ``SIDE`` grey bytes of one picture without its rim, whatever its shape."""
    if grey.ndim != 2 or min(grey.shape) < 4:
        raise UnusableSamples("samples.unusable", reason=f"shape {grey.shape}")
    rim = [side // 20 for side in grey.shape]
    inner = grey[rim[0] : grey.shape[0] - rim[0], rim[1] : grey.shape[1] - rim[1]]
    return cv2.resize(inner, (SIDE, SIDE), interpolation=cv2.INTER_AREA).tobytes()


def same_print(one: np.ndarray, other: np.ndarray, *, framed: bool, turn: int = 0) -> SamePrint:
    """Compare two pictures, each cut to its print and straight.

    Parameters
    ----------
    one, other : ndarray, shape (rows, columns), uint8
        About ``LONG_PX`` long.
    framed : bool
        Whether the outline of both is the print's own on all sides: then they must fit edge to edge.
    turn : int
        Quarter turns clockwise by which the other is turned first.
    """
    other = np.ascontiguousarray(np.rot90(other, -turn))
    if framed:
        shapes = one.shape[1] / one.shape[0], other.shape[1] / other.shape[0]
        if abs(shapes[0] / shapes[1] - 1) > SHAPE:
            return SamePrint(same=False, turn=turn)
        other = cv2.resize(other, (one.shape[1], one.shape[0]), interpolation=cv2.INTER_AREA)
        start: np.ndarray | None = np.eye(2, 3)
    else:
        start = similarity(one, other)
    if start is None:
        return SamePrint(same=False, turn=turn)
    moved, covered, onto = aligned(one, other, start)
    share = covered.mean() * one.size / min(one.size, other.size * abs(np.linalg.det(start[:, :2])))
    if share < (0.9 if framed else COVERED) or (framed and _off_frame(onto, one.shape) > AT_FRAME * max(one.shape)):
        return SamePrint(same=False, turn=turn)
    agree, off, places = detail_blocks(one, moved, covered)
    size = int(agree.size)
    inner = int(_inner(places, one.shape).sum())
    if inner < LEAST_BLOCKS:
        return SamePrint(same=False, blocks=size, turn=turn)
    changed, gone = agree < AGREES, (agree >= AGREES) & (off > AT_HOME)
    likeness = float(np.median(agree))
    lone = bare_blocks(one, moved, covered)
    bare = lone / (inner + lone)
    still = gone.sum() <= max(1, ALONE * size) and _are_alone(places[gone])
    same = bare <= BARE and likeness >= TYPICAL and changed.sum() <= max(1, CHANGED * size) and still
    return SamePrint(
        same=bool(same), likeness=likeness, changed=float(changed.mean()), moved=float(gone.mean()), bare=bare,
        blocks=size, turn=turn,
    )  # fmt: skip


def _inner(places: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Which blocks lie clear of a white border: its edge lies alike in all prints of one make."""
    middles = places + BLOCK / 2
    return np.all((middles >= RIM * np.array(shape)) & (middles <= (1 - RIM) * np.array(shape)), axis=1)


def _are_alone(places: np.ndarray) -> bool:
    """Whether no two blocks are neighbours: what moves in a scene is larger than a block, a misread edge is not."""
    apart = np.abs(places[:, None] - places[None]).max(axis=2)
    return not bool((apart[np.triu_indices(len(places), 1)] <= BLOCK).any())


def _off_frame(onto: np.ndarray, shape: tuple[int, ...]) -> float:
    """How far a map moves the corners of a picture [px]."""
    corners = np.array([(0, 0, 1), (shape[1], 0, 1), (shape[1], shape[0], 1), (0, shape[0], 1)], float)
    return float(np.hypot(*(corners @ onto.T - corners[:, :2]).T).max())


def aligned(
    one: np.ndarray, other: np.ndarray, start: np.ndarray, seen: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The other moved onto the one as exactly as an affine map can, where it covers it, and by which map."""
    onto = cv2.invertAffineTransform(start).astype(np.float32)
    a, b = _middle(one), _middle(other)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, STEPS, 1e-5)
    everywhere = np.full(a.shape, 255, np.uint8) if seen is None else seen
    with suppress(cv2.error):  # where it does not converge they stay as they were brought together
        onto = np.asarray(cv2.findTransformECC(a, b, onto, cv2.MOTION_AFFINE, stop, everywhere, 5)[1])
    size = (one.shape[1], one.shape[0])
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(other, onto, size, flags=how, borderMode=cv2.BORDER_REPLICATE)
    covered = cv2.warpAffine(np.full_like(other, 255), onto, size, flags=how) == 255
    return moved, covered, onto


def _middle(grey: np.ndarray) -> np.ndarray:
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.5)
    return soft - cv2.GaussianBlur(soft, (0, 0), 24)


def detail(grey: np.ndarray) -> np.ndarray:
    """What is fine in a picture, without its tones."""
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.2)
    return soft - cv2.GaussianBlur(soft, (0, 0), 7)


def detail_blocks(one: np.ndarray, moved: np.ndarray, covered: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each block with detail in both: its correlation where it fits best without dust, how far off, its place."""
    agree, off, places = [], [], []
    for place, block, about in _blocks(one, moved, covered):
        if min(float(block.std()), float(about.std())) < TEXTURE:
            continue
        told = _fits(block, about)
        if told is not None:
            agree.append(told[0])
            off.append(told[1])
            places.append(place)
    return np.array(agree), np.array(off), np.array(places).reshape(-1, 2)


def bare_blocks(one: np.ndarray, moved: np.ndarray, covered: np.ndarray) -> int:
    """How many blocks clear of the rim plainly show something in one picture, dust left out, the other nothing."""
    count = 0
    for place, block, about in _blocks(one, moved, covered):
        if not _inner(np.array([place]), one.shape).all():
            continue
        here = about[REACH : REACH + BLOCK, REACH : REACH + BLOCK]
        for shown, blank in ((block, about), (here, block)):
            if blank.std() < TEXTURE <= shown.std() / PLAINLY:
                level = np.abs(shown)
                count += bool(shown[level <= np.quantile(level, 1 - SPECKS)].std() >= PLAINLY * TEXTURE)
    return count


def _blocks(
    one: np.ndarray, moved: np.ndarray, covered: np.ndarray
) -> Iterator[tuple[tuple[int, int], np.ndarray, np.ndarray]]:
    """Each block that is covered: its place, its detail, and the other's detail there and about."""
    a, b = detail(one), detail(moved)
    inside = cv2.erode(covered.astype(np.uint8), np.ones((13, 13), np.uint8), borderValue=0) > 0
    rim = max(REACH + 2, int(0.02 * max(a.shape)))
    for y in range(rim, a.shape[0] - rim - BLOCK + 1, BLOCK):
        for x in range(rim, a.shape[1] - rim - BLOCK + 1, BLOCK):
            if inside[y : y + BLOCK, x : x + BLOCK].all():
                block = a[y : y + BLOCK, x : x + BLOCK]
                yield (y, x), block, b[y - REACH : y + BLOCK + REACH, x - REACH : x + BLOCK + REACH]


def _fits(block: np.ndarray, about: np.ndarray) -> tuple[float, float] | None:
    """Where a block fits best in what is about its place; None where nothing but dust is seen in it."""
    scores = cv2.matchTemplate(about, block, cv2.TM_CCOEFF_NORMED)
    ys, xs = np.nonzero(scores >= scores.max() - NEARER)
    away = np.hypot(ys - REACH, xs - REACH)
    near = int(np.argmin(away))
    there = about[ys[near] : ys[near] + BLOCK, xs[near] : xs[near] + BLOCK]
    score = float(scores[ys[near], xs[near]])
    if score >= 0.9 and away[near] <= AT_HOME:
        return score, float(away[near])
    home = _without_specks(block, about[REACH : REACH + BLOCK, REACH : REACH + BLOCK])
    if home is None:
        return None
    if home >= HOME:
        return home, 0.0
    told = _without_specks(block, there)
    return None if told is None else (max(score, told), float(away[near]))


def _without_specks(p: np.ndarray, q: np.ndarray) -> float | None:
    """Correlation of two blocks where their few most different pixels, and those about them, are left out."""
    gain = float((p * q).sum() / max((q * q).sum(), 1e-6))
    rest = np.abs(p - min(max(gain, 0.3), 3.0) * q)
    clean = rest <= np.quantile(rest, 1 - SPECKS)
    clean &= cv2.erode(clean.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=1) > 0
    p, q = p[clean], q[clean]
    if min(float(p.std()), float(q.std())) < 0.75 * TEXTURE:
        return None
    return _correlation(p, q)


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a**2).sum() * (b**2).sum()))
    return float((a * b).sum() / size) if size else 0.0


def straight(grey: np.ndarray, corners: tuple[tuple[float, float], ...], long_px: int = LONG_PX) -> np.ndarray:
    """One picture cut along its outline and set straight, at most ``long_px`` long.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
    corners : four (x, y)
        Clockwise from its top left [px], origin at the outer corner of the top left pixel.
    """
    points = np.asarray(corners, np.float32)
    sides = np.hypot(*(points[1] - points[0])), np.hypot(*(points[3] - points[0]))
    scale = min(1.0, long_px / max(*sides, 1.0))
    width, height = max(4, round(float(sides[0]) * scale)), max(4, round(float(sides[1]) * scale))
    target = np.array([(0, 0), (width, 0), (width, height)], np.float32) - 0.5
    onto = cv2.getAffineTransform(points[[0, 1, 2]] - np.float32(0.5), target)
    return cv2.warpAffine(grey, onto, (width, height), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE)


def alike_pairs(first: np.ndarray, second: np.ndarray) -> list[tuple[int, int, float, int]]:
    """Which small squares of two stacks (n, ``SIDE``, ``SIDE``) are worth a closer look: numbers, correlation, turn."""

    def flat(stack: np.ndarray) -> np.ndarray:
        level = stack.reshape(len(stack), -1).astype(float)
        level -= level.mean(axis=1, keepdims=True)
        return level / np.maximum(np.linalg.norm(level, axis=1, keepdims=True), 1e-9)

    ahead = flat(first)
    turns = np.stack([ahead @ flat(np.rot90(second, -turn, axes=(1, 2))).T for turn in range(4)])
    best = turns.max(axis=0)
    return [(int(n), int(m), float(best[n, m]), int(turns[:, n, m].argmax())) for n, m in np.argwhere(best >= LIKE)]
