"""Which backs belong to which fronts: by size, by the place on the glass, by what shines through, by order; or nobody
can say, and then nothing is paired.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

SIZE_MM = 0.3  # two scans of one print agree in size to this
PLACE_MM = 6.0  # a print that was turned over in its place lies this near
SHINES, AHEAD = 0.35, 0.15  # correlation of what shines through, and how much more than the next best
TONES = 48
EVEN = 14.0  # codes about a back's own paper
BACK_EVEN, FRONT_EVEN = 0.72, 0.5  # share of a picture that is so even: a back has more, a front has less
BACK_LIGHT, BACK_CHROMA = 120.0, 26.0  # codes: paper is light, and yellows at most


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One picture that may be a front or a back.

    Attributes
    ----------
    name : str
    size_mm : (float, float)
        Across and down as it lies.
    place_mm : (float, float)
        Its middle on the glass.
    scan : int
        Which scan it is on, in the order they were made.
    back : bool or None
        None where nothing tells.
    tones : ndarray, shape (TONES, TONES), float32
    """

    name: str
    size_mm: tuple[float, float]
    place_mm: tuple[float, float]
    scan: int
    back: bool | None
    tones: np.ndarray


@dataclass(frozen=True, slots=True)
class Pair:
    """A back and its front; ``by``: size, place, shines, order."""

    front: str
    back: str
    by: str


def is_back(cut: np.ndarray) -> bool | None:
    """Whether a picture is the back of a print: light even paper of little colour, written on perhaps; or None.

    Parameters
    ----------
    cut : ndarray, shape (rows, columns, channels), uint8
        The picture, cut straight.
    """
    rim = [max(1, side // 14) for side in cut.shape[:2]]
    inner = cut[rim[0] : -rim[0], rim[1] : -rim[1]]
    grey = (inner.mean(axis=2) if inner.shape[2] == 3 else inner[..., 0]).astype(np.float32)
    about = cv2.resize(cv2.medianBlur(cv2.resize(grey, (64, 64), interpolation=cv2.INTER_AREA), 5), grey.shape[::-1])
    middle = float(np.median(about))
    even = float((np.abs(grey - middle) <= EVEN).mean())
    chroma = float(np.median(inner.max(axis=2).astype(int) - inner.min(axis=2)))
    if even >= BACK_EVEN and middle >= BACK_LIGHT and chroma <= BACK_CHROMA:
        return True
    return False if even <= FRONT_EVEN or chroma > BACK_CHROMA else None


def tones_of(cut: np.ndarray) -> np.ndarray:
    """A picture's larger shapes, its own shading taken out, as ``TONES`` x ``TONES``."""
    grey = cut.mean(axis=2) if cut.shape[2] == 3 else cut[..., 0].astype(float)
    small = cv2.resize(grey.astype(np.float32), (TONES, TONES), interpolation=cv2.INTER_AREA)
    soft = cv2.medianBlur(small, 3)
    return np.asarray(soft - cv2.GaussianBlur(soft, (0, 0), TONES / 4), np.float32)


def pair_sides(sides: Sequence[Side]) -> tuple[Pair, ...]:
    """Backs with their fronts; a back that could belong to two fronts, or to none, is left out.

    A picture of which nothing tells may be a front as well as one that is busy: it counts wherever fronts are counted.
    """
    fronts = [side for side in sides if not side.back]
    backs = [side for side in sides if side.back]
    fits = {back.name: [front for front in fronts if _same_size(front, back)] for back in backs}
    pairs: list[Pair] = []
    taken: set[str] = set()
    for back in backs:
        front = _alone(back, fits, backs)
        if front is not None:
            pairs.append(Pair(front.name, back.name, "size"))
            taken |= {front.name, back.name}
    turned, alternate = _turned_over(sides), _alternate(sides)
    ways = [("place", lambda back, those: _by_place(back, those, turned)), ("shines", _by_light)]
    ways += [("order", _by_order)] if alternate else []
    for by, choose in ways:
        wishes: dict[str, list[str]] = {}
        for back in (one for one in backs if one.name not in taken):
            front = choose(back, [one for one in fits[back.name] if one.name not in taken])
            if front is not None:
                wishes.setdefault(front.name, []).append(back.name)
        for name, wanted in wishes.items():
            if len(wanted) == 1:
                pairs.append(Pair(name, wanted[0], by))
                taken |= {name, wanted[0]}
    return tuple(pairs)


def _same_size(front: Side, back: Side) -> bool:
    (w, h), (a, b) = front.size_mm, back.size_mm
    return min(max(abs(w - a), abs(h - b)), max(abs(w - b), abs(h - a))) <= SIZE_MM


def _alone(back: Side, fits: dict[str, list[Side]], backs: Sequence[Side]) -> Side | None:
    """The only front of its size, where no other back wants it."""
    if len(fits[back.name]) != 1:
        return None
    front = fits[back.name][0]
    rivals = [one for one in backs if one.name != back.name and front in fits[one.name]]
    return None if rivals else front


def _turned_over(sides: Sequence[Side]) -> set[tuple[int, int]]:
    """Neighbouring scans of which the first holds several fronts and the second as many backs: a glass turned over."""
    scans = {side.scan: [one.back for one in sides if one.scan == side.scan] for side in sides}
    return {
        (n, n + 1)
        for n, shown in scans.items()
        if len(shown) > 1 and not any(shown)
        and len(scans.get(n + 1, ())) == len(shown) and all(scans[n + 1])
    }  # fmt: skip


def _alternate(sides: Sequence[Side]) -> bool:
    """Whether every scan holds one picture, a front and a back in turn."""
    shown = [bool(side.back) for side in sorted(sides, key=lambda side: side.scan)]
    alone = len({side.scan for side in sides}) == len(sides)
    return alone and len(shown) % 2 == 0 and shown == [False, True] * (len(shown) // 2)


def _by_place(back: Side, fronts: Sequence[Side], turned: set[tuple[int, int]]) -> Side | None:
    """Turned over where it lay, with all that lay on the glass."""
    near = [
        one
        for one in fronts
        if (one.scan, back.scan) in turned
        and np.hypot(one.place_mm[0] - back.place_mm[0], one.place_mm[1] - back.place_mm[1]) <= PLACE_MM
    ]
    return near[0] if len(near) == 1 else None


def _by_light(back: Side, fronts: Sequence[Side]) -> Side | None:
    """The front whose mirrored picture shines through: turned over sideways, or over its head."""
    if not fronts:
        return None
    found = sorted(((_shining(back, one), n) for n, one in enumerate(fronts)), reverse=True)
    best = found[0][0]
    next_best = found[1][0] if len(found) > 1 else 0.0
    return fronts[found[0][1]] if best >= SHINES and best - next_best >= AHEAD else None


def _shining(back: Side, front: Side) -> float:
    mirrored = front.tones[:, ::-1]
    return max(_correlation(back.tones, np.rot90(mirrored, turn)) for turn in range(4))


def _correlation(a: np.ndarray, b: np.ndarray) -> float:
    if a.std() < 0.3 or b.std() < 0.3:
        return 0.0
    return float(np.corrcoef(a.ravel(), b.ravel())[0, 1])


def _by_order(back: Side, fronts: Sequence[Side]) -> Side | None:
    """Scanned just after its front."""
    before = [one for one in fronts if one.scan == back.scan - 1]
    return before[0] if len(before) == 1 else None
