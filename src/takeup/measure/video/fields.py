"""The two fields of a picture, as eight-bit luma: what every measure of lines looks at, cut once for all of them."""

from __future__ import annotations

import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, TOP

SD_LINES = 640  # a picture with more lines than this did not come off a tape line by line


def fields(luma: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Even and odd lines of a uint8 plane, equally many, without half lines at the top and head switching below.

    Field line k of parity p is picture line ``TOP + 2 k + p``.
    """
    rows = luma.shape[0]
    part = luma[TOP : rows - HEAD_SWITCH] if rows >= 4 * HEAD_SWITCH else luma
    number = len(part) // 2
    return np.ascontiguousarray(part[0 : 2 * number : 2]), np.ascontiguousarray(part[1 : 2 * number : 2])
