"""How much a small view of a picture tells somebody who has not seen the tape."""

from __future__ import annotations

import numpy as np

WIDE = 160.0  # codes between the 5th and 95th percentile from which a picture has all the contrast it needs
COLOURFUL = 24.0  # codes of spread in the colour differences, likewise
DETAIL = 6.0  # codes from one pixel of a small view to the next, likewise


def telling(luma: np.ndarray, blue: np.ndarray, red: np.ndarray) -> float:
    """How telling a picture is: 0 for black, blue, grey, or snow; near 1 for a bright, colourful, detailed view.

    Parameters
    ----------
    luma, blue, red : numpy.ndarray
        Subsampled planes in codes of 8 bits.
    """
    view = luma.astype(np.float32)
    if min(view.shape) < 4:
        return 0.0
    low, high = np.percentile(view, (5, 95))
    contrast = min(1.0, float(high - low) / WIDE)
    structure = _alike(view[:-1], view[1:])  # snow is not alike from line to line
    detail = min(1.0, float(np.abs(np.diff(view, axis=1)).mean()) / DETAIL)
    colour = min(1.0, float(np.hypot(blue.astype(np.float32).std(), red.astype(np.float32).std())) / COLOURFUL)
    lit = 1.0 - abs(float(view.mean()) - 120.0) / 120.0  # neither night nor glare
    return max(0.0, contrast * max(0.0, structure) * (0.4 + 0.2 * colour + 0.2 * detail + 0.2 * max(0.0, lit)))


def _alike(one: np.ndarray, other: np.ndarray) -> float:
    """Correlation of two views; 0 where one has no contrast."""
    a, b = one - one.mean(), other - other.mean()
    power = float((a * a).sum()) * float((b * b).sum())
    return float((a * b).sum()) / power**0.5 if power > 1e-3 else 0.0
