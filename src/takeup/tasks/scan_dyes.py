"""How far the dyes of each picture on a scan have faded, read from its miniature."""

from __future__ import annotations

import numpy as np

from takeup.measure.scan.fade import Fade, find_fade
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.tone import tone_curve

INSET = 3.0  # miniature pixels from a picture's outline, where paper and lid mix
LEAST_PX = 5_000  # miniature pixels: of fewer nothing is told
MOST_PX = 12_000
MOST_PICTURES = 12


def dyes_seen(first: FirstLook, profile: str | None) -> tuple[Fade, ...]:
    """One per picture; nothing of scans without colour, and of a bed of a great many only the first."""
    small = first.small.pixels
    if small.ndim != 3 or small.shape[2] != 3:
        return ()
    curve = tone_curve(profile, 255)
    fades = []
    for one in first.pictures.prints[:MOST_PICTURES]:
        index = np.flatnonzero(first.inside(one, INSET))
        if index.size < LEAST_PX:
            fades.append(Fade(why="unsure"))
            continue
        pixels = small.reshape(-1, 3)[index[:: max(1, index.size // MOST_PX)]]
        fades.append(find_fade(np.asarray(pixels / 255.0 if curve is None else curve[pixels])))
    return tuple(fades)
