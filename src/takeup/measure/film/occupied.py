"""Occupied: which pictures of a film have something on them, and which are leader, empty gate or blank film."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.film.glances import Glances
from takeup.measure.film.stretches import Stretches, marks, stretches


@dataclass(frozen=True, slots=True, kw_only=True)
class Occupied:
    """What each picture is.

    ``pictures`` True where something is on it; ``head`` and ``tail`` pictures of leader, run-out and empty gate before
    the first and after the last of them; ``blank`` stretches inside the film with nothing on them.
    """

    pictures: np.ndarray
    head: int
    tail: int
    blank: Stretches


def occupied(seen: Glances, *, plain_span: float, least_run: int, least_blank: int) -> Occupied:
    """Tell picture from leader.

    A picture is plain where its even areas, lamp and vignette taken off, lie within ``plain_span``. Leader, run-out
    and empty gate are the plain pictures before the film's first and after its last scene; a splice, a punch or a
    stray mark shorter than ``least_run`` is no scene. Plain stretches inside the film count from ``least_blank`` on.

    Parameters
    ----------
    seen : Glances
        Of pictures without repeats.
    plain_span : float
        [code of 255]
    least_run, least_blank : int
        [pictures]
    """
    count = len(seen)
    something = seen.span >= plain_span
    for first, last in stretches(~something):  # a flash or a fade is not blank film
        if first > 0 and last < count - 1 and last - first + 1 < least_run:
            something[first : last + 1] = True
    scenes = tuple(run for run in stretches(something) if run[1] - run[0] + 1 >= min(least_run, count))
    if not scenes:
        return Occupied(pictures=np.zeros(count, dtype=bool), head=count, tail=0, blank=())
    first, last = scenes[0][0], scenes[-1][1]
    inside = marks(((first, last),), count)
    blank = tuple(
        run for run in stretches(inside & ~marks(scenes, count)) if run[1] - run[0] + 1 >= least_blank
    )  # fmt: skip
    return Occupied(pictures=inside & ~marks(blank, count), head=first, tail=count - 1 - last, blank=blank)
