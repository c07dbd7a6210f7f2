"""Which quarter turn sets a picture upright, by what was read of its lettering in each; and by its neighbours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from takeup.measure.scan.mirrored import Words, signs_read

TURNS = (0, 1, 2, 3)  # quarter turns clockwise


@dataclass(frozen=True, slots=True, kw_only=True)
class WayUp:
    """A turn [quarters clockwise], and how it is known: ``words`` that were read so, or none where neighbours tell."""

    turn: int
    words: tuple[str, ...] = ()


def turn_read(told: Mapping[int, Sequence[Words]], sure: float, least: float, other_share: float) -> WayUp | None:
    """The turn in which lettering reads; None where too little is read, or nearly as much in another turn.

    Parameters
    ----------
    told : mapping
        Turn -> lines of words with how sure they are [0..100], as read when the picture is turned so.
    sure : float
        How sure a word must be to count [0..100].
    least, other_share : float
        Signs that must be read, and at most which share of them in any other turn.
    """
    read = {turn: signs_read([word for line in told.get(turn, ()) for word in line], sure) for turn in TURNS}
    first, second = sorted(read, key=lambda turn: -read[turn][0])[:2]
    signs, words = read[first]
    if signs < least or read[second][0] > other_share * signs:
        return None
    return WayUp(turn=first, words=words)


def turns_of_neighbours(
    read: Sequence[WayUp | None], wide: Sequence[bool], least: int
) -> tuple[WayUp | None, ...]:  # fmt: skip
    """The turns of all pictures on a glass: read ones as read; others as those of their shape, where these agree.

    Parameters
    ----------
    read : sequence
        Of each picture, what was read.
    wide : sequence of bool
        Whether it lies across the glass: people lay pictures of one shape the same way.
    least : int
        How many of a shape must have been read, all alike, before the rest follows them.

    Examples
    --------
    >>> down = WayUp(turn=2, words=("HARBOUR",))
    >>> [one and one.turn for one in turns_of_neighbours([down, None, down, None], [True, True, True, False], 2)]
    [2, 2, 2, None]
    >>> [one and one.turn for one in turns_of_neighbours([down, None, WayUp(turn=0)], [True] * 3, 2)]
    [2, None, 0]
    """
    found = list(read)
    for shape in (True, False):
        known = [one.turn for one, across in zip(read, wide, strict=True) if one is not None and across is shape]
        if len(known) < least or len({*known}) != 1:
            continue
        for number, (one, across) in enumerate(zip(read, wide, strict=True)):
            if one is None and across is shape:
                found[number] = WayUp(turn=known[0])
    return tuple(found)
