"""Where the pictures of a bed lie, as a check found them and as a person set them right. Pure.

A picture keeps its number for good: taking one away does not rename the others, and a number is never given twice,
because descriptions and finished files are named by it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any

from takeup.errors import NotPossible
from takeup.streams import Report

Corners = tuple[tuple[float, float], ...]
LEAST_PX = 16  # a picture's shortest side: less is a slip of the hand, not a picture
MOST_PICTURES = 200  # a glass full of stamps
ROUND = 2  # decimals of a corner that are kept [px]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One picture on the glass.

    ``corners``: clockwise from the top left as it lies on the glass [px]. ``turn``: quarter turns clockwise that its
    everyday copy is turned by. ``back_of``: the id of the picture whose back this is, or nothing.
    """

    number: int
    corners: Corners
    turn: int = 0
    back_of: str = ""
    gone: bool = False  # taken away by a person; its number stays taken


def found_pictures(report: Report | None) -> tuple[Placed, ...]:
    """What the check found, numbered in its reading order: prints on the glass, or a page that fills the scan."""
    measured = report.measures.get("pictures") if report else None
    if measured is None or not measured.value:
        return ()
    if measured.extra.get("ground") not in ("lid", "frames") and not measured.extra.get("page"):
        return ()
    return tuple(
        Placed(number=number, corners=tuple((float(x), float(y)) for x, y in one["corners"]))
        for number, one in enumerate(measured.value, 1)
    )


def placed_from(facts: Sequence[Mapping[str, Any]]) -> tuple[Placed, ...]:
    """Pictures as a fact of the record holds them."""
    return tuple(
        Placed(
            number=int(one["number"]), corners=tuple((float(x), float(y)) for x, y in one["corners"]),
            turn=int(one.get("turn", 0)), back_of=one.get("back_of", ""), gone=bool(one.get("gone")),
        )
        for one in facts
    )  # fmt: skip


def facts_of(pictures: Sequence[Placed]) -> list[dict[str, Any]]:
    """Pictures as a fact of the record holds them."""
    return [
        {"number": one.number, "corners": [list(corner) for corner in one.corners], "turn": one.turn,
         "back_of": one.back_of, "gone": one.gone}
        for one in pictures
    ]  # fmt: skip


def mark_of(picture: Placed) -> str:
    """Changes when a picture's files are to be made anew.

    Examples
    --------
    >>> one = Placed(number=1, corners=((0, 0), (9, 0), (9, 9), (0, 9)))
    >>> mark_of(one) == mark_of(one), mark_of(one) == mark_of(replace(one, turn=1))
    (True, False)
    """
    corners = [[round(x, ROUND), round(y, ROUND)] for x, y in picture.corners]
    told = [picture.number, corners, picture.turn % 4, picture.back_of]
    return sha256(json.dumps(told).encode()).hexdigest()[:12]


def next_number(pictures: Sequence[Placed]) -> int:
    """A number that no picture of this glass has or ever had."""
    return max((one.number for one in pictures), default=0) + 1


def set_right(pictures: Sequence[Placed], size: tuple[int, int]) -> tuple[Placed, ...]:
    """Pictures as they may be kept: corners in order and on the glass, turns from 0 to 3.

    Raises
    ------
    NotPossible
        ``arrange.no-picture``: corners that enclose no picture; ``arrange.back``: a back of itself or of a back;
        ``arrange.too-many``.
    """
    if sum(not one.gone for one in pictures) > MOST_PICTURES:
        raise NotPossible("arrange.too-many", most=MOST_PICTURES)
    return tuple(one if one.gone else _right(one, size) for one in pictures)


def _right(one: Placed, size: tuple[int, int]) -> Placed:
    if len(one.corners) != 4 or not all(math.isfinite(edge) for corner in one.corners for edge in corner):
        raise NotPossible("arrange.no-picture", number=one.number)
    inside = tuple(
        (round(min(max(x, 0.0), float(size[0])), ROUND), round(min(max(y, 0.0), float(size[1])), ROUND))
        for x, y in one.corners
    )
    corners = inside if is_clockwise(inside) else in_order(inside)
    sides = [math.dist(corners[at], corners[(at + 1) % 4]) for at in range(4)]
    if not is_clockwise(corners) or min(sides) < LEAST_PX:
        raise NotPossible("arrange.no-picture", number=one.number)
    return replace(one, corners=corners, turn=one.turn % 4)


def is_clockwise(corners: Corners) -> bool:
    """Whether four corners go round a picture without a dent, clockwise as seen (y runs down).

    Examples
    --------
    >>> is_clockwise(((0, 0), (9, 0), (9, 9), (0, 9))), is_clockwise(((0, 0), (0, 9), (9, 9), (9, 0)))
    (True, False)
    >>> is_clockwise(((0, 0), (9, 9), (9, 0), (0, 9)))
    False
    """
    turns = []
    for at in range(4):
        (ax, ay), (bx, by), (cx, cy) = (corners[(at + step) % 4] for step in range(3))
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    return all(turn > 0 for turn in turns)


def in_order(corners: Corners) -> Corners:
    """The same corners clockwise, from the one nearest the glass's top left."""
    middle_x, middle_y = sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4
    round_ = sorted(corners, key=lambda corner: math.atan2(corner[1] - middle_y, corner[0] - middle_x))
    first = min(range(4), key=lambda at: sum(round_[at]))
    return tuple(round_[first:] + round_[:first])


def squared(corners: Corners) -> tuple[Corners, float]:
    """The rectangle that four hand-set corners mean, and its turn clockwise [degrees].

    A print is a rectangle; corners set by hand are a pixel or two off. Its middle is theirs, its sides are as long as
    the mean of the two opposite ones, its turn the mean of all four, long sides weighing more.

    Examples
    --------
    >>> squared(((0, 0), (10, 0), (10, 20), (0, 20)))
    (((0.0, 0.0), (10.0, 0.0), (10.0, 20.0), (0.0, 20.0)), 0.0)
    """
    a, b, c, d = corners
    across = ((b[0] - a[0] + c[0] - d[0]) / 2, (b[1] - a[1] + c[1] - d[1]) / 2)
    down = ((d[0] - a[0] + c[0] - b[0]) / 2, (d[1] - a[1] + c[1] - b[1]) / 2)
    angle = math.atan2(across[1] - down[0], across[0] + down[1])
    wide, tall = math.hypot(*across), math.hypot(*down)
    middle = (sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4)
    right, foot = (math.cos(angle), math.sin(angle)), (-math.sin(angle), math.cos(angle))
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    made = tuple(
        (
            middle[0] + x * wide / 2 * right[0] + y * tall / 2 * foot[0],
            middle[1] + x * wide / 2 * right[1] + y * tall / 2 * foot[1],
        )
        for x, y in signs
    )
    return made, math.degrees(angle)


def middle_box(size: tuple[int, int]) -> Corners:
    """Where a picture that a person adds first lies: the middle of the glass, a third of it wide."""
    left, right = size[0] / 3, 2 * size[0] / 3
    top, foot = size[1] / 3, 2 * size[1] / 3
    return ((left, top), (right, top), (right, foot), (left, foot))
