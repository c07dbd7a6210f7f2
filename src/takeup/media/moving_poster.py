"""Chooses a telling picture of a video while its copy is made, and turns it into the JPEG that players show for it."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from takeup.measure.video.telling import telling

THIN = 8  # every so manieth pixel and line is looked at


@dataclass(slots=True)
class Poster:
    """The most telling picture so far. Moments in ``avoid`` are never taken. [s]"""

    every_s: float
    avoid: Sequence[tuple[float, float]] = ()
    head_s: float = 0.0  # pictures before it count half: tapes settle
    best: float = 0.0
    at_s: float | None = None
    frame: Any = field(default=None, repr=False)
    next_s: float = 0.0

    def see(self, frame: Any, at_s: float) -> None:
        """Look at a picture of the copy (4:2:0), when one is due."""
        if at_s < self.next_s:
            return
        self.next_s = at_s + self.every_s
        if any(begin <= at_s <= end for begin, end in self.avoid):
            return
        luma, blue, red = (_thin(plane, THIN if at == 0 else THIN // 2) for at, plane in enumerate(frame.planes))
        worth = telling(luma, blue, red) * (0.5 if at_s < self.head_s else 1.0)
        if worth > self.best:
            self.best, self.at_s, self.frame = worth, at_s, frame

    def jpeg(self, shape: Fraction, long_side_px: int, quality: int, colours: str) -> bytes:
        """The picture in square pixels, no side over ``long_side_px``."""
        from PIL import Image

        wide, high = float(self.frame.width * shape), float(self.frame.height)
        scale = min(1.0, long_side_px / max(wide, high))
        size = max(2, 2 * round(wide * scale / 2)), max(2, 2 * round(high * scale / 2))
        shown = self.frame.reformat(
            width=size[0], height=size[1], format="rgb24", interpolation="AREA", src_colorspace=colours,
            src_color_range="MPEG", dst_color_range="JPEG",
        )  # fmt: skip
        stored = io.BytesIO()
        Image.fromarray(shown.to_ndarray()).save(stored, "JPEG", quality=quality)
        return stored.getvalue()


def _thin(plane: Any, step: int) -> np.ndarray:
    return np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: plane.height : step, : plane.width : step]
