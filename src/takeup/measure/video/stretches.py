"""Stretches of pictures of one kind, with their times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Pictures ``first`` to ``end`` (not in it) of one kind, from and to in seconds of the file."""

    kind: str
    first: int
    end: int
    from_s: float
    to_s: float

    @property
    def seconds(self) -> float:
        return self.to_s - self.from_s


def stretches(kinds: Sequence[str], at_s: Sequence[float], picture_s: float, *, gap: int) -> list[Stretch]:
    """Runs of equal kinds, in order; runs of ``picture`` are left out.

    Parameters
    ----------
    kinds, at_s : sequence
        kind and time stamp of every picture [s]
    picture_s : float
        how long one picture lasts [s]
    gap : int
        two stretches of one kind with up to so many other pictures between them are one
    """
    found: list[tuple[str, int, int]] = []
    for number, kind in enumerate(kinds):
        if kind == "picture":
            continue
        if found and found[-1][0] == kind and number - found[-1][2] <= gap:
            found[-1] = (kind, found[-1][1], number + 1)
        else:
            found.append((kind, number, number + 1))
    return [
        Stretch(kind=kind, first=first, end=end, from_s=at_s[first], to_s=at_s[end - 1] + picture_s)
        for kind, first, end in found
    ]


class Running:
    """Tells of a stretch as soon as nothing can make it longer: the same runs as :func:`stretches`, while they come."""

    def __init__(self, picture_s: float, *, gap: int) -> None:
        self.picture_s, self.gap = picture_s, gap
        self.number = 0
        self.open: Stretch | None = None

    def step(self, kind: str, at_s: float) -> list[Stretch]:
        """Take the next picture's kind; stretches that are over now."""
        number, self.number = self.number, self.number + 1
        over: list[Stretch] = []
        runs_on = self.open is not None and self.open.kind == kind and number - self.open.end <= self.gap
        other = kind not in ("picture", "lifted")
        if self.open is not None and not runs_on and (other or number + 1 - self.open.end > self.gap):
            over.append(self.open)
            self.open = None
        if other:
            first, from_s = (self.open.first, self.open.from_s) if self.open else (number, at_s)
            self.open = Stretch(kind=kind, first=first, end=number + 1, from_s=from_s, to_s=at_s + self.picture_s)
        return over
