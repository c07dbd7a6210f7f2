"""Rhythm: which frames of a file are pictures and which repeat one, by a pattern, oddly, or not to be told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from takeup.measure.film.cadence import cadence
from takeup.measure.film.odd_repeats import odd_repeats
from takeup.measure.film.phases import phases
from takeup.measure.film.stretches import Stretches, marks, stretches


@dataclass(frozen=True, kw_only=True)
class Rhythm:
    """What each frame of a file is.

    ``share`` pictures per frame by an even pattern (1: each frame a picture; None: repeats follow no pattern);
    ``new`` True where a frame is kept as a picture, undetermined frames too; ``undetermined`` stretches of which
    nothing can tell; ``slips`` frames where the pattern breaks; ``odds`` natural logarithm of the odds for the
    pattern; ``contrast`` natural logarithm of new over repeat; ``told`` False where nothing in the file moves
    enough to tell anything.
    """

    share: Fraction | None
    new: np.ndarray
    undetermined: Stretches
    slips: tuple[int, ...] = ()
    odds: float = 0.0
    contrast: float = 0.0
    told: bool = True

    @cached_property
    def kept(self) -> Stretches:
        """Frames that show a picture for the first time, as stretches."""
        return stretches(self.new)

    @property
    def repeats(self) -> int:
        return int((~self.new).sum())

    @property
    def pictures(self) -> int:
        """Pictures in the file: those kept, undetermined frames at their share of the pattern."""
        unsure = marks(self.undetermined, len(self.new))
        share = self.share if self.share is not None else Fraction(1)
        return int((self.new & ~unsure).sum()) + round(int(unsure.sum()) * share)


def rhythm(
    step: np.ndarray,
    ratios: Sequence[Fraction],
    *,
    window: int,
    least_contrast: float,
    least_per_repeat: float,
    odds: float,
    slip_every: int,
    odd_window: int,
    odd_level: float,
    odd_dip: float,
    odd_share: float,
    told_level: float,
) -> Rhythm:
    """Tell pictures from repeats over a whole file: first an even pattern, else odd repeats, else one per frame.

    Parameters
    ----------
    step : ndarray, shape (n_frames,), float
        Mean absolute difference of luma from the frame before; entry 0 is ignored. [code of 255]
    ratios, window, least_contrast, least_per_repeat, odds, slip_every
        As :func:`takeup.measure.film.cadence.cadence` takes them.
    odd_window, odd_level, odd_dip
        As :func:`takeup.measure.film.odd_repeats.odd_repeats` takes them.
    odd_share : float
        Fewer odd repeats than this share of all frames leave the file at one picture per frame.
    told_level : float
        Where frames differ by less than this from one another, a repeat would not have shown. [code]
    """
    count = len(step)
    found = cadence(
        step,
        ratios,
        window=window,
        least_contrast=least_contrast,
        least_per_repeat=least_per_repeat,
        odds=odds,
        slip_every=slip_every,
    )
    if found.ratio != 1:
        path = phases(step, found, window=window, odds=odds, slip_every=slip_every)
        return Rhythm(
            share=found.ratio,
            new=path.new,
            undetermined=path.undetermined,
            slips=path.slips,
            odds=found.evidence,
            contrast=found.contrast,
        )
    if count < 4:
        return Rhythm(share=Fraction(1), new=np.ones(count, dtype=bool), undetermined=())
    odd = odd_repeats(step, window=odd_window, least_level=odd_level, least_dip=odd_dip)
    if odd.many and odd.count > odd_share * count:
        return Rhythm(share=None, new=odd.new, undetermined=odd.undetermined)
    told = int((step[1:] >= told_level).sum()) >= min(window, count - 1) / 2
    return Rhythm(
        share=Fraction(1),
        new=odd.new,
        undetermined=() if told else ((0, count - 1),),
        slips=tuple(np.flatnonzero(~odd.new).tolist()),
        told=told,
    )
