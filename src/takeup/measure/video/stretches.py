"""Stretches of pictures of one kind, with their times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

EMPTY = {"flat": "no signal", "snow": "no signal"}
"""Kinds that make one stretch together: a player that finds nothing may mute its snow now and then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Pictures ``first`` to ``end`` (not in it) of one kind, from and to in seconds of the file."""

    kind: str  # of most of its pictures
    first: int
    end: int
    from_s: float
    to_s: float

    @property
    def seconds(self) -> float:
        return self.to_s - self.from_s


def stretches(kinds: Sequence[str], at_s: Sequence[float], picture_s: float, *, gap: int) -> list[Stretch]:
    """Runs of like kinds, in order; runs of ``picture`` are left out.

    Parameters
    ----------
    kinds, at_s : sequence
        kind and time stamp of every picture [s]
    picture_s : float
        how long one picture lasts [s]
    gap : int
        two stretches of like kind with up to so many other pictures between them are one
    """
    running, found = Running(picture_s, gap=gap), []
    for kind, at in zip(kinds, at_s):
        found += running.step(kind, float(at))
    return found + running.finish()


@dataclass(slots=True)
class _Open:
    """A stretch that may still go on."""

    first: int
    from_s: float
    end: int = 0
    to_s: float = 0.0
    kinds: dict[str, int] = field(default_factory=dict)

    def add(self, kind: str, number: int, to_s: float) -> None:
        self.end, self.to_s = number + 1, to_s
        self.kinds[kind] = self.kinds.get(kind, 0) + 1

    def over(self) -> Stretch:
        kind = max(self.kinds, key=lambda name: self.kinds[name])
        return Stretch(kind=kind, first=self.first, end=self.end, from_s=self.from_s, to_s=self.to_s)


class Running:
    """Tells of a stretch as soon as nothing can make it longer: the same runs as :func:`stretches`, while they come.

    Lifted black is told at the end only, when it is known whether it is any.
    """

    def __init__(self, picture_s: float, *, gap: int) -> None:
        self.picture_s, self.gap = picture_s, gap
        self.number = 0
        self.open: _Open | None = None
        self.like = ""

    def step(self, kind: str, at_s: float) -> list[Stretch]:
        """Take the next picture's kind; stretches that are over now."""
        number, self.number = self.number, self.number + 1
        empty = kind not in ("picture", "lifted")
        like = EMPTY.get(kind, kind)
        over: list[Stretch] = []
        if self.open is not None:
            goes_on = like == self.like and number - self.open.end <= self.gap
            if not goes_on and (empty or number + 1 - self.open.end > self.gap):
                over = self.finish()
        if empty:
            if self.open is None:
                self.open, self.like = _Open(number, at_s), like
            self.open.add(kind, number, at_s + self.picture_s)
        return over

    def finish(self) -> list[Stretch]:
        """The stretch that is still open, at the file's end."""
        over = [] if self.open is None else [self.open.over()]
        self.open = None
        return over
