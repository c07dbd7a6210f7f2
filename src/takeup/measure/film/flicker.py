"""Flicker: quick changes of a film's brightness that no scene has."""

from __future__ import annotations

import numpy as np
from scipy.fft import dct, idct

from takeup.measure.film.stretches import Stretches


def flicker(mean: np.ndarray, scenes: Stretches, counted: np.ndarray, rate: float, *, floor: float) -> float | None:
    """Root mean square of the brightness's quick part, as a share.

    Parameters
    ----------
    mean : ndarray, shape (n,), float
        Mean luma of each picture, without repeats. [code of 255]
    scenes : pairs (first, last)
        Runs without a cut; each is taken for itself, so cuts are left out.
    counted : ndarray, shape (n,), bool
        Pictures with something on them.
    rate : float
        Pictures per second as the film is shown. Periods under 1 s are told.
    floor : float
        The code of black. [code of 255]

    Returns
    -------
    float or None
        Share (0.05: 5 %) of mean luma; None where no scene lasts a second.
    """
    power, pictures = 0.0, 0
    for first, last in scenes:
        here = slice(first, last + 1)
        if last - first + 1 < rate or not counted[here].all():
            continue
        bright = np.log(np.maximum(mean[here] - floor, 1.0))
        waves = dct(bright, norm="ortho")
        waves[np.arange(len(waves)) * rate / (2 * len(waves)) < 1.0] = 0.0
        power += float((idct(waves, norm="ortho") ** 2).sum())
        pictures += len(bright)
    return float(np.sqrt(power / pictures)) if pictures else None
