"""Whether lettering reads the right way or only in a mirror: by what a recogniser made of it both ways."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

SHORT = 2  # signs of a word that counts only beside a longer one
FORM = re.compile(r"\d+|[^\W\d_][^\W\d_A-Z]*|[A-Z]+")  # a number, or letters of one case, the first perhaps a capital
Words = Sequence[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Reading:
    """How many signs of lettering were read surely: as the picture lies or turned, and in a mirror the better of both.
    ``words``: those of the better way."""

    straight: int = 0
    mirrored: int = 0
    words: tuple[str, ...] = ()


def signs_read(words: Words, least: float) -> tuple[int, tuple[str, ...]]:
    """Signs of words that were read at least so surely [0..100], and those words."""
    kept = [plain for word, sure in words if sure >= least and (plain := word.strip("\"'`.,:;!?()[]|-‘’“”—"))]
    kept = [word for word in kept if FORM.fullmatch(word) and len({*word.lower()}) >= min(3, len(word))]
    if all(len(word) <= SHORT for word in kept):
        return 0, ()
    kept = [word for word in kept if len(word) >= SHORT]
    return sum(map(len, kept)), tuple(kept)


def reading_of(straight: Sequence[Words], mirrored: Sequence[Words], least: float) -> Reading:
    """The best of several ways to hold a picture, and of as many to hold its mirror image.

    Parameters
    ----------
    straight, mirrored : sequence of (word, sure), one for each way of holding it
    least : float
        How sure a word must be to count [0..100].
    """
    ways = [[signs_read(words, least) for words in held] for held in (straight, mirrored)]
    best = [max(held, default=(0, ())) for held in ways]
    return Reading(best[0][0], best[1][0], max(best)[1])
